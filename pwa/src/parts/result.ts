/** A result as a worked line, a verdict, a caution: what the rules say, in the field book's form. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { Unknown } from "../engine/index.ts";
import type { Answer, CheckResult, Need, Step } from "../engine/index.ts";
import type { Bundle, Quantity, SourceRef, Value } from "../generated/bundle.ts";
import { words } from "../words/index.ts";
import { plainly } from "../bundle/reading.ts";
import {
  sayAmended,
  sayDisputed,
  sayFilled,
  sayNeed,
  sayParts,
  sayReplaced,
  saySource,
  sayUnknown,
  sayValue,
} from "./say.ts";
import type { Shown } from "../bundle/reading.ts";
import type { Speaker } from "./say.ts";
import { sign } from "./sign.ts";
import type { Sign } from "./sign.ts";

/** Where a missing value can be entered. */
export type WayTo = (need: Need) => string;

const LONG = 9;
/** Longer than this it is no figure for the margin. */
const SENTENCE = 24;
/** So many of the missing values are named; the fields stand on the same screen. */
const NAMED = 3;

/** A figure at the right margin, its unit below. */
export function figure({ text, unit }: Shown): TemplateResult {
  const long = text.length > LONG || /[a-z]{3}/i.test(text);
  return html`<div class="figure ${long ? "words" : ""}">
    ${text} ${unit ? html`<small>${unit}</small>` : nothing}
  </div>`;
}

export function line(of: {
  sign: Sign;
  title: unknown;
  more?: unknown;
  figure?: Shown | undefined;
  href?: string | undefined;
}): TemplateResult {
  const inside = html`${sign(of.sign)}
    <span
      ><span class="title">${of.title}</span
      >${of.more ? html`<span class="more">${of.more}</span>` : nothing}</span
    >${of.figure ? figure(of.figure) : nothing}`;
  return html`<li>
    ${
      of.href
        ? html`<a class="line" href=${of.href}>${inside}</a>`
        : html`<div class="line">${inside}</div>`
    }
  </li>`;
}

/** The answer of a calculator: large, with its work below. */
export function answer(
  to: Speaker,
  step: Step,
  disputes: readonly SourceRef[],
  quantity: Quantity,
  href: string,
  way: WayTo,
): TemplateResult {
  const { value } = step;
  if (value instanceof Unknown) {
    return html`<section class="answer">
      <p class="name">${quantity.label}</p>
      <div class="verdict ${value.why === "not-applicable" ? "not-applicable" : "unknown"}">
        ${sign(value.why === "not-applicable" ? "not-applicable" : "unknown")}
        <div>
          <b>${sayUnknown(to, value)}</b>
          ${needs(to, value.needs, way)}
        </div>
      </div>
    </section>`;
  }
  const shown = sayValue(to, quantity, value);
  const worded = shown.text.length > LONG || /[a-z]{3}/i.test(shown.text);
  return html`<section class="answer">
    <p class="name">${quantity.label}</p>
    <p class="big ${worded ? "words" : ""}">
      ${shown.text} ${shown.unit ? html`<small>${shown.unit}</small>` : nothing}
    </p>
    ${work(to, step, disputes, quantity, value)}
    <a class="press small" href=${href}>${words.result.open}</a>
  </section>`;
}

/** The formula with the values filled in, and where it comes from. */
export function work(
  to: Speaker,
  step: Step,
  disputes: readonly SourceRef[],
  quantity: Quantity,
  value: Value,
): TemplateResult {
  const filled = sayFilled(to, step.pieces);
  return html`<div class="work">
    ${filled ? html`<code>${filled}</code>` : nothing}
    <code>= ${plainly(sayValue(to, quantity, value))}</code>
    ${step.source ? html`<p class="from">${saySource(to.bundle, step.source)}</p>` : nothing}
    ${disputed(to, disputes)} ${defaults(to, step.defaults)} ${amendments(to, step)}
  </div>`;
}

/** What was changed by a later pack, and until when a rule holds. */
export function amendments(to: Speaker, { amended, until: [until] }: Step): TemplateResult[] {
  const said = amended.map((each) => sayAmended(to, each));
  return [...said, ...(until ? [words.amended.until(words.date(until))] : [])].map(
    (each) => html`<p class="from">${each}</p>`,
  );
}

/** What is not settled among the sources is said wherever it counts. */
export function disputed(
  to: Speaker,
  sources: readonly SourceRef[],
): TemplateResult | typeof nothing {
  const said = sayDisputed(to.bundle, sources);
  return said ? html`<p class="from disputed">${sign("caution")} ${said}</p>` : nothing;
}

export function defaults(to: Speaker, ids: readonly string[]): TemplateResult | typeof nothing {
  if (ids.length === 0) return nothing;
  const said = ids.map((id) => {
    const quantity = to.quantity(id);
    if (!quantity || quantity.default == null) return id;
    return `${quantity.label} ${plainly(sayValue(to, quantity, quantity.default))}`;
  });
  return html`<p class="from">${words.result.defaults(said.join("; "))}</p>`;
}

export function needs(
  to: Speaker,
  all: readonly Need[],
  way: WayTo,
): TemplateResult | typeof nothing {
  if (all.length === 0) return nothing;
  const named = all.slice(0, NAMED);
  return html`<p>${words.result.needs}</p>
    <div class="needs">
      ${named.map((need) => html`<a class="press small" href=${way(need)}>${sayNeed(to, need)}</a>`)}
    </div>
    ${all.length > named.length ? html`<p>${words.result.moreNeeds(all.length - named.length)}</p>` : nothing}`;
}

/** A result among others: a ruled line that can be opened. */
export function resultLine(
  to: Speaker,
  quantity: Quantity,
  value: Value | Unknown,
  href: string,
  member: string | null = null,
  disputes: readonly SourceRef[] = [],
): TemplateResult {
  const title = ofMember(to, quantity.label, member);
  if (value instanceof Unknown) {
    const off = value.why === "not-applicable";
    const asked = sayNeeds(to, value.needs);
    const more =
      value.why === "missing" && asked ? words.result.needsThese(asked) : sayUnknown(to, value);
    return line({ sign: off ? "not-applicable" : "unknown", title, more, href });
  }
  const shown = sayValue(to, quantity, value);
  const sentence = shown.text.length > SENTENCE;
  const mark = disputes.length > 0 ? words.result.disputedMark : "";
  return line({
    ...{ sign: mark ? "caution" : "none", title, href },
    ...(sentence
      ? { more: html`<b>${plainly(shown)}</b> ${mark}` }
      : { more: mark, figure: shown }),
  });
}

/** With whose it is, where there are several. */
function ofMember(to: Speaker, label: string, member: string | null | undefined): string {
  const of = member ? to.labelOf(member) : "";
  return of ? words.ofMember(label, of) : label;
}

function sayNeeds(to: Speaker, all: readonly Need[]): string {
  const named = all.slice(0, NAMED).map((need) => sayNeed(to, need));
  return words.result.andMore(named.join(", "), all.length - named.length);
}

/** Verdicts stand in boxes; what cannot be judged yet is a line with what it lacks. */
export function verdicts(
  to: Speaker,
  of: Answer,
  checks: readonly CheckResult[],
  labelOf: (check: string) => string,
  way: WayTo,
): TemplateResult {
  const name = ({ id, member }: CheckResult): string => ofMember(to, labelOf(id), member);
  const lacking = checks.filter(({ unknown }) => unknown?.why === "missing");
  const judged = checks.filter((check) => !lacking.includes(check));
  return html`${judged.map((check) => verdict(to, of, check, name(check), way))}
  ${
    lacking.length
      ? html`<ul class="lines">
          ${lacking.map((check) =>
            line({
              sign: "unknown",
              title: name(check),
              more: words.result.needsThese(sayNeeds(to, check.unknown?.needs ?? [])),
              href: check.unknown?.needs[0] ? way(check.unknown.needs[0]) : undefined,
            }),
          )}
        </ul>`
      : nothing
  }`;
}

function verdict(
  to: Speaker,
  of: Answer,
  check: CheckResult,
  label: string,
  way: WayTo,
): TemplateResult {
  const said = sayParts(to, check.pieces);
  const { unknown } = check;
  const rule = to.bundle.checks.find(({ id }) => id === check.id);
  const changed = sayReplaced(to.bundle, rule ?? {});
  const until = check.verdict === "unknown" ? "" : rule?.holds?.until;
  const why =
    unknown && unknown.why !== "missing" && check.verdict === "unknown"
      ? sayUnknown(to, unknown)
      : "";
  return html`<div class="verdict ${check.verdict}">
    ${sign(check.verdict)}
    <div>
      <b>${label}: ${words.verdict[check.verdict]}</b>
      ${said ? html`<p>${said}</p>` : nothing} ${why ? html`<p>${why}</p>` : nothing}
      ${check.verdict === "unknown" ? nothing : disputed(to, of.disputedIn(check))}
      ${check.borderline ? html`<p>${words.verdict.borderline}</p>` : nothing}
      ${changed ? html`<p class="note">${changed}</p>` : nothing}
      ${until ? html`<p class="note">${words.amended.until(words.date(until))}</p>` : nothing}
      ${check.verdict === "unknown" && unknown ? needs(to, unknown.needs, way) : nothing}
    </div>
  </div>`;
}

export function caution(bundle: Bundle, id: string): TemplateResult | typeof nothing {
  const found = bundle.cautions?.find((each) => each.id === id);
  if (!found) return nothing;
  return html`<div class="warn" role="note">
    ${sign("caution")}
    <div>
      <p>${found.text}</p>
      ${found.replaced ? html`<p class="note">${sayReplaced(bundle, found)}</p>` : nothing}
    </div>
  </div>`;
}
