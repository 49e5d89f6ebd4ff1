/** One visit: what to do, what was found, what stands in the book. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { keyOf, stateOf } from "../book.ts";
import type { Reading, Visit } from "../book.ts";
import { Desk, speakerFor } from "../desk.ts";
import { Unknown } from "../engine/index.ts";
import type { Calculator, Checklist } from "../generated/bundle.ts";
import { uuid4 } from "../ledger/uuid.ts";
import { Screen } from "../parts/element.ts";
import { back, bar, clock } from "../parts/frame.ts";
import "../parts/notes.ts";
import { line } from "../parts/result.ts";
import { sayValue } from "../parts/say.ts";
import type { Shown } from "../bundle/reading.ts";
import type { Speaker } from "../parts/say.ts";
import type { Sign } from "../parts/sign.ts";
import type { Phone, Rules } from "../phone.ts";
import { earlierVisits } from "../past.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { calculatorsBegun, checklistsOf, isAnswered } from "../told.ts";
import {
  collectionOf,
  evaluate,
  groundOn,
  nextStep,
  quantityOf,
  readingsInOrder,
  snapshotOf,
  worst,
} from "../work.ts";
import type { Ground, Work } from "../work.ts";
import { words } from "../words/index.ts";
import { progressOf } from "./checklist.ts";

/** So many further checklists stand open. */
const FEW = 4;

/** The worst verdict of a calculator's checks in a visit. */
export function signOf(work: Work, { checks = [] }: Calculator): Sign {
  const verdicts = work.answer.checks([...checks]).map(({ verdict }) => verdict);
  return verdicts.length === 0 ? "todo" : worst(verdicts);
}

export async function addMember(
  phone: Phone,
  { site, system }: Visit,
  collection: string,
  label: string,
): Promise<void> {
  const body = { collection, member: uuid4(), label };
  const about = { site, system, visit: null };
  await phone
    .write({ kind: "member-added", about, edition: phone.rules?.hash ?? null, body })
    .catch(() => undefined);
}

class VisitScreen extends Screen {
  static override properties = {
    ...Screen.properties,
    route: { attribute: false },
    closing: { state: true },
  };
  declare route: Extract<Route, { at: "visit" }>;
  declare closing: boolean;
  #desk: Desk | null = null;

  constructor() {
    super();
    this.closing = false;
  }

  protected override render(): TemplateResult {
    this.#desk ??= new Desk(this.phone, this.route.visit, "", () => this.requestUpdate());
    const desk = this.#desk;
    const { visit } = desk;
    const up = back("/", words.places.visits);
    if (!visit)
      return html`<main tabindex="-1">
        ${up}
        <h1>${words.visit.gone}</h1>
      </main>`;
    const ground = desk.ground();
    const work = ground && evaluate(ground);
    const site = this.phone.book.sites.get(visit.site);
    const system = this.phone.book.systems.get(visit.system);
    return html`<main tabindex="-1">
        ${up}
        <h1>${visit.title || words.visit.kinds[visit.visitKind ?? "maintenance"]}</h1>
        <p class="sub">${[site?.name, site?.address, system?.label].filter(Boolean).join(" · ")}</p>
        <p class="sub">
          ${[visit.date && words.date(visit.date), words.visit.states[stateOf(visit)]]
            .filter(Boolean)
            .join(" · ")}
        </p>
        ${work ? this.#work(work, ground.rules) : this.#lacking(visit)} ${this.#earlier(visit)}
        <kw-notes .phone=${this.phone} .visit=${visit} .open=${desk.open}></kw-notes>
        ${work && desk.open ? this.#members(visit, work) : nothing}
        ${work && desk.open ? this.#close(work) : work && this.#report(visit)}
      </main>
      ${work && desk.open ? this.#bar(work) : nothing}`;
  }

  #work(work: Work, rules: Rules): TemplateResult {
    const to = speakerFor(this.phone, work);
    const { bundle } = work.engine;
    const visit = work.visit!;
    const lists = bundle.checklists ?? [];
    const mine = checklistsOf(bundle, visit);
    const begun = calculatorsBegun(work);
    const done = begun.filter((each) => isAnswered(work, each));
    const open = begun.filter((each) => !done.includes(each));
    const others = lists.filter((each) => !mine.includes(each));
    return html`
      ${
        mine.length
          ? html`<h2>${words.visit.checklists}</h2>
              <ul class="lines">
                ${mine.map((each) => this.#checklist(work, each))}
              </ul>`
          : nothing
      }
      <h2>${words.visit.found}</h2>
      <ul class="lines">
        ${done.map((each) => this.#calculator(to, work, each))}
        ${line({
          ...{ sign: "on", title: words.visit.allCalculators },
          href: pathOf({ at: "calculators", visit: visit.id }),
        })}
      </ul>
      ${
        open.length
          ? html`<details class="fold">
              <summary>${words.visit.unanswered(open.length)}</summary>
              <ul class="lines">
                ${open.map((each) => this.#calculator(to, work, each))}
              </ul>
            </details>`
          : nothing
      }
      ${this.#readings(to, work)}
      ${
        others.length && this.#desk!.open
          ? html`<details class="fold" ?open=${others.length <= FEW}>
              <summary>${words.visit.moreChecklists(others.length)}</summary>
              <ul class="lines">
                ${others.map((each) => this.#checklist(work, each))}
              </ul>
            </details>`
          : nothing
      }
      ${this.#otherRules(visit, rules)}
    `;
  }

  #checklist(work: Work, checklist: Checklist): TemplateResult {
    const { done, skipped, all } = progressOf(work, checklist);
    const through = done + skipped === all;
    return line({
      sign: through ? (skipped ? "caution" : "pass") : done + skipped ? "on" : "todo",
      title: checklist.title,
      more: words.visit.doneOf(done, all, skipped),
      href: pathOf({ at: "checklist", visit: work.visit!.id, checklist: checklist.id }),
    });
  }

  #calculator(to: Speaker, work: Work, calculator: Calculator): TemplateResult {
    const first = calculator.show[0]!;
    const quantity = to.quantity(first)!;
    const collection = collectionOf(work.engine, first);
    const members = collection === null ? [undefined] : (work.members[collection] ?? []);
    const values = members.map((member) => work.answer.value(first, member));
    const known = values.find((value) => !(value instanceof Unknown));
    const one = members.length === 1 && known !== undefined && !(known instanceof Unknown);
    const failed = work.answer
      .checks([...(calculator.checks ?? [])])
      .filter(({ verdict }) => verdict === "fail" || verdict === "caution")
      .map(({ id }) => work.engine.bundle.checks.find((each) => each.id === id)?.label);
    return line({
      sign: signOf(work, calculator),
      title: calculator.title,
      more: failed.length ? words.visit.lookAt(failed.join(", ")) : quantity.label,
      figure: one ? sayValue(to, quantity, known) : undefined,
      href: pathOf({ at: "calculator", visit: work.visit!.id, calculator: calculator.id }),
    });
  }

  #readings(to: Speaker, ground: Ground): TemplateResult | typeof nothing {
    const { readings, engine, visit } = ground;
    if (readings.size === 0) return nothing;
    const one = (reading: Reading): TemplateResult => {
      const { quantity: id, member, text, unit, source, conflicts } = reading;
      const quantity = quantityOf(engine, id);
      const own = visit?.readings.has(keyOf(id, member));
      const time = clock(source.when.corrected);
      const more = [
        member ? to.labelOf(member) : "",
        own ? time : words.field.keptBefore(time),
        ...conflicts.map((other) => words.field.conflict(other.text)),
      ];
      const shown: Shown = quantity
        ? sayValue(to, quantity, reading.si!, unit)
        : { text, unit: unit ?? "" };
      const entry = own && pathOf({ at: "entry", visit: visit!.id, record: source.record });
      return line({
        ...{ sign: conflicts.length ? "caution" : "pass", title: quantity?.label ?? id },
        ...{ more: more.filter(Boolean).join(" · "), figure: shown },
        ...(entry ? { href: entry } : {}),
      });
    };
    return html`<details class="fold">
      <summary>${words.visit.readings(readings.size)}</summary>
      <ul class="lines">
        ${readingsInOrder(ground).map(one)}
      </ul>
    </details>`;
  }

  #otherRules(visit: Visit, rules: Rules): TemplateResult | typeof nothing {
    const newer = this.phone.rules;
    if (!newer || visit.edition === null || newer.hash === rules.hash || !this.#desk!.open) {
      return nothing;
    }
    return html`<p class="sub">${words.visit.otherRules(newer.pointer.number)}</p>
      <button type="button" class="press wide" @click=${() => void this.#moveTo(visit, newer)}>
        ${words.visit.moveRules(newer.pointer.number)}
      </button>`;
  }

  #lacking(visit: Visit): TemplateResult {
    const newer = this.phone.rules;
    if (!this.#desk!.lacking) return html`<p class="sub">${words.loading}</p>`;
    const known = newer && { ...groundOn(this.phone.book, visit, newer.engine), rules: newer };
    return html`<p class="sub">${newer ? words.visit.rulesLacking : words.calculators.noRules}</p>
      ${known ? this.#readings(speakerFor(this.phone, known), known) : nothing}
      ${
        newer && visit.edition !== null
          ? html`<button
              type="button"
              class="press wide"
              @click=${() => void this.#moveTo(visit, newer)}
            >
              ${words.visit.moveRules(newer.pointer.number)}
            </button>`
          : nothing
      }`;
  }

  #earlier(visit: Visit): TemplateResult | typeof nothing {
    const earlier = earlierVisits(this.phone.book, visit);
    if (earlier.length === 0) return nothing;
    return html`<h2>${words.visit.earlier}</h2>
      <ul class="lines">
        ${earlier.map((each) =>
          line({
            sign: each.closed ? "pass" : "on",
            title: each.title || words.visit.kinds[each.visitKind ?? "maintenance"],
            more: [each.date && words.day(each.date), words.visit.states[stateOf(each)]]
              .filter(Boolean)
              .join(" · "),
            href: pathOf({ at: "visit", visit: each.id }),
          }),
        )}
      </ul>`;
  }

  #report({ id, first }: Visit): TemplateResult | typeof nothing {
    if (!first) return nothing;
    return html`<a class="press wide" href=${pathOf({ at: "report", visit: id })}
      >${words.report.open}</a
    >`;
  }

  #members(visit: Visit, { engine, members, system }: Work): TemplateResult | typeof nothing {
    if (engine.collections.length === 0) return nothing;
    return html`<h2>${words.visit.system}</h2>
      <ul class="lines">
        ${(system?.members ?? []).map(({ label, collection }) =>
          line({ sign: "none", title: label, more: engine.bundle.collections[collection]?.label }),
        )}
      </ul>
      <div class="needs">
        ${engine.collections.map((collection) => {
          const { label = collection } = engine.bundle.collections[collection] ?? {};
          const name = `${label} ${(members[collection]?.length ?? 0) + 1}`;
          const add = (): void => void addMember(this.phone, visit, collection, name);
          return html`<button type="button" class="press small" @click=${add}>
            ${words.visit.addMember(label)}
          </button>`;
        })}
      </div>`;
  }

  #close(work: Work): TemplateResult {
    const signed = work.visit!.signatures.length > 0;
    if (!this.closing) {
      const ask = (): void => void (this.closing = true);
      return html`<h2>${words.visit.end}</h2>
        ${this.#report(work.visit!)}
        <a class="press wide" href=${pathOf({ at: "sign", visit: work.visit!.id })}
          >${signed ? words.sign.again : words.sign.title}</a
        >
        <button type="button" class="press wide" @click=${ask}>${words.visit.close}</button>`;
    }
    return html`<h2>${words.visit.end}</h2>
      <p>${words.visit.closeAsk}</p>
      <button type="button" class="press wide" @click=${() => void this.#closeVisit(work)}>
        ${words.visit.closeYes}
      </button>
      <button type="button" class="press wide" @click=${() => void (this.closing = false)}>
        ${words.cancel}
      </button>`;
  }

  #bar(work: Work): TemplateResult | typeof nothing {
    const visit = work.visit!;
    for (const list of checklistsOf(work.engine.bundle, visit)) {
      const step = nextStep(work, list);
      if (step) {
        const href = pathOf({ at: "step", visit: visit.id, checklist: list.id, step: step.id });
        return bar([{ label: words.visit.next(step.title), href }]);
      }
    }
    return bar([
      { label: words.visit.allCalculators, href: pathOf({ at: "calculators", visit: visit.id }) },
    ]);
  }

  async #moveTo({ id, site, system, edition }: Visit, rules: Rules): Promise<void> {
    const about = { site, system, visit: id };
    const body = { left: edition! };
    await this.phone
      .write({ kind: "edition-moved", about, edition: rules.hash, body })
      .catch(() => undefined);
  }

  async #closeVisit(work: Work): Promise<void> {
    const { id, site, system, edition } = work.visit!;
    const about = { site, system, visit: id };
    const body = { note: "", results: snapshotOf(work) };
    const of = edition ?? this.phone.rules?.hash ?? null;
    await this.phone.write({ kind: "closed", about, edition: of, body }).then(
      () => (this.closing = false),
      () => undefined,
    );
  }
}

customElements.define("kw-visit", VisitScreen);
