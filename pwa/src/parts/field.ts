/** One field: label, hint, the control for its type, what was read, what is wrong with it. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { live } from "lit/directives/live.js";
import type { Entry } from "../form.ts";
import type { Quantity } from "../generated/bundle.ts";
import { words } from "../words/index.ts";
import { plainly } from "../bundle/reading.ts";
import type { Offer } from "../offers.ts";
import { sayProblem, sayValue, unitOf } from "./say.ts";
import type { Speaker } from "./say.ts";
import { sign } from "./sign.ts";
import { listRows, seriesRows } from "./rows.ts";

export interface FieldEvents {
  /** Typed, picked or switched to another unit. */
  set(entry: Entry, text: string, unit?: string): void;
  /** "Yes, that is right", of a value outside the usual. */
  sure(entry: Entry): void;
  /** A result taken for this field. */
  take(entry: Entry, text: string): void;
}

const OPEN_CHOICES = 6;

export function fieldId({ quantity, member }: Entry): string {
  return `f-${quantity.id}-${member ?? ""}`;
}

/** What rules and earlier visits say of a field. */
export interface Beside {
  offers: readonly Offer[];
  past: readonly string[];
}

export function field(
  to: Speaker,
  entry: Entry,
  { offers, past }: Beside,
  on: FieldEvents,
): TemplateResult {
  const { quantity, member, problem } = entry;
  const id = fieldId(entry);
  const of = member ? to.labelOf(member) : "";
  const label = of ? words.ofMember(quantity.label, of) : quantity.label;
  const under = html`
    <div id="${id}-says">
      ${quantity.note ? html`<p class="note">${quantity.note}</p>` : nothing}
      ${
        problem
          ? html`<p class="problem">${sayProblem(to, quantity, problem)}</p>`
          : html`<p class="note">${echo(to, entry)}</p>`
      }
      ${past.length ? html`<p class="note">${past.join(" · ")}</p>` : nothing}
    </div>
    ${entry.ask ? askAgain(to, entry, on) : nothing}
    ${offers.map((offer) => offered(entry, offer, on))}
  `;
  const wrong = problem || entry.ask ? "wrong" : "";
  if (isGroup(to, quantity)) {
    return html`<fieldset class="ask ${wrong}" id=${id} aria-describedby="${id}-says" tabindex="-1">
      <legend>${label}</legend>
      ${control(to, entry, on)} ${under}
    </fieldset>`;
  }
  return html`<div class="ask ${wrong}">
    <label for=${id}>${label}</label>
    ${control(to, entry, on)} ${under}
  </div>`;
}

/** Several controls under one label. */
function isGroup(to: Speaker, { type = "number", choices = "" }: Quantity): boolean {
  const options = to.bundle.choices[choices]?.options.length ?? 0;
  if (type === "choice") return options <= OPEN_CHOICES;
  return type === "flag" || type === "list" || type === "series";
}

function control(to: Speaker, entry: Entry, on: FieldEvents): TemplateResult {
  const { quantity } = entry;
  switch (quantity.type) {
    case "choice":
      return choice(to, entry, on);
    case "flag":
      return open(entry, on, [
        { value: "yes", label: words.field.yes },
        { value: "no", label: words.field.no },
      ]);
    case "date":
      return html`<input
        class="wide"
        type="date"
        id=${fieldId(entry)}
        aria-describedby="${fieldId(entry)}-says"
        .value=${live(entry.text)}
        @change=${(event: Event) => on.set(entry, valueOf(event))}
      />`;
    case "text":
      return html`<input
        class="wide"
        type="text"
        id=${fieldId(entry)}
        aria-describedby="${fieldId(entry)}-says"
        .value=${live(entry.text)}
        @input=${(event: Event) => on.set(entry, valueOf(event))}
      />`;
    case "list":
      return listRows(to, entry, on);
    case "series":
      return seriesRows(to, entry, on);
    default:
      return figure(to, entry, on);
  }
}

function choice(to: Speaker, entry: Entry, on: FieldEvents): TemplateResult {
  const options = to.bundle.choices[entry.quantity.choices ?? ""]?.options ?? [];
  if (options.length <= OPEN_CHOICES) return open(entry, on, options);
  return html`<select
    id=${fieldId(entry)}
    aria-describedby="${fieldId(entry)}-says"
    @change=${(event: Event) => on.set(entry, valueOf(event))}
  >
    <option value="" ?selected=${entry.text === ""}>${words.field.choose}</option>
    ${options.map(
      ({ value, label }) =>
        html`<option value=${value} ?selected=${chosen(entry) === value}>${label}</option>`,
    )}
  </select>`;
}

function open(
  entry: Entry,
  on: FieldEvents,
  options: readonly { value: string; label: string }[],
): TemplateResult {
  const long = options.some(({ label }) => label.length > 22);
  return html`<div class="choices ${long ? "stack" : ""}">
    ${options.map(
      ({ value, label }) =>
        html`<label class="choice">
          <input
            type="radio"
            name=${fieldId(entry)}
            value=${value}
            .checked=${live(chosen(entry) === value)}
            @change=${() => on.set(entry, value)}
          />
          <span>${chosen(entry) === value ? sign("pass", "") : nothing}${label}</span>
        </label>`,
    )}
  </div>`;
}

/** The option taken, by its value; what is kept may have been shown with its label. */
function chosen({ si, text }: Entry): string {
  if (typeof si === "boolean") return si ? "yes" : "no";
  return typeof si === "string" ? si : text;
}

function figure(to: Speaker, entry: Entry, on: FieldEvents): TemplateResult {
  const { quantity, text } = entry;
  const { scale = 1, offset = 0 } = to.bundle.units[unitOf(to, entry)] ?? {};
  const negative = ((quantity.limits?.[0] ?? -Infinity) - offset) / scale < 0;
  const id = fieldId(entry);
  return html`<div class="field">
    ${
      negative
        ? html`<button
            type="button"
            class="signkey"
            aria-label=${words.field.sign(quantity.label)}
            @click=${() => on.set(entry, otherSign(text))}
          >
            ±
          </button>`
        : nothing
    }
    <input
      type="text"
      inputmode="decimal"
      autocomplete="off"
      enterkeyhint="done"
      id=${id}
      aria-describedby="${id}-says"
      aria-invalid=${entry.problem ? "true" : "false"}
      .value=${live(text)}
      @input=${(event: Event) => on.set(entry, valueOf(event))}
    />
    ${unitSwitch(to, entry, on)}
  </div>`;
}

export function otherSign(text: string): string {
  const bare = text.trimStart().replace(/^[-−+]\s*/, "");
  return /^\s*[-−]/.test(text) ? bare : `−${bare}`;
}

function unitSwitch(to: Speaker, entry: Entry, on: FieldEvents): TemplateResult | typeof nothing {
  const unit = unitOf(to, entry);
  const known = to.bundle.units[unit];
  if (!known) return nothing;
  const declared = entry.quantity.unit ?? "";
  const partner = to.bundle.units[declared]?.partner ?? "";
  const other = unit === declared ? partner : declared;
  const otherLabel = to.bundle.units[other]?.label;
  if (!otherLabel || otherLabel === known.label) {
    return html`<span class="unit">${known.label}</span>`;
  }
  return html`<button
    type="button"
    class="unit"
    aria-label=${words.field.switchUnit(entry.quantity.label, known.label, otherLabel)}
    @click=${() => on.set(entry, entry.text, other)}
  >
    ${known.label} ⇄
  </button>`;
}

/** What the text was read as; in both systems, because the unit may be the mistake. */
function echo(to: Speaker, entry: Entry): string {
  const { quantity, si, text, kept, changed } = entry;
  if (changed && text.trim() === "" && kept) return words.field.emptied;
  if (si === null && quantity.default != null && text.trim() === "") {
    return words.field.default(plainly(sayValue(to, quantity, quantity.default)));
  }
  if (si === null || !isFigure(quantity)) return "";
  const unit = entry.unit ?? unitOf(to, entry);
  const read = plainly(sayValue(to, quantity, si, unit));
  const partner = to.bundle.units[unit]?.partner;
  const other = partner ? plainly(sayValue(to, quantity, si, partner)) : "";
  return words.field.read(read, other === read ? "" : other);
}

function isFigure({ type = "number" }: Quantity): boolean {
  return type === "number" || type === "count";
}

function askAgain(to: Speaker, entry: Entry, on: FieldEvents): TemplateResult {
  const { quantity } = entry;
  const ends = (quantity.usual ?? []).map((end) =>
    plainly(sayValue(to, quantity, end, unitOf(to, entry))),
  );
  const said = `${entry.text} ${to.bundle.units[unitOf(to, entry)]?.label ?? ""}`.trim();
  return html`<p class="problem">${words.field.unusual(ends[0] ?? "", ends[1] ?? "")}</p>
    <div class="needs">
      <button type="button" class="press" @click=${() => on.sure(entry)}>
        ${words.field.sure(said)}
      </button>
    </div>`;
}

/** What rules find for this field: to be taken, or, where something else stands there, to be seen. */
function offered(
  entry: Entry,
  { by, text, said: value, href, is }: Offer,
  on: FieldEvents,
): TemplateResult {
  const said = {
    free: words.field.foundBy(by),
    other: words.field.finds(by, value),
    same: words.field.asFoundBy(by),
  }[is];
  const take = (): void => on.take(entry, text);
  return html`<div class="offer">
    ${
      is === "same"
        ? nothing
        : html`<button
            type="button"
            class="press small"
            aria-label=${words.field.take(value)}
            @click=${take}
          >
            ${is === "free" ? words.field.take(value) : words.field.takeIt}
          </button>`
    }
    ${
      href
        ? html`<a class="quiet" href=${href}>${said}</a>`
        : by
          ? html`<span class="note">${said}</span>`
          : nothing
    }
  </div>`;
}

export function valueOf(event: Event): string {
  return (event.target as HTMLInputElement).value;
}
