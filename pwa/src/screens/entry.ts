/** One thing that was written in a visit: who wrote it, what it said before, correct it, strike it out. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Correction, Reading, Visit } from "../book.ts";
import { plainly } from "../bundle/reading.ts";
import { Desk, speakerFor } from "../desk.ts";
import { Form } from "../form.ts";
import type { Entry } from "../form.ts";
import type { Draft } from "../ledger/ledger.ts";
import { offersFor } from "../offers.ts";
import type { Source } from "../order.ts";
import { Screen, focusOn, go } from "../parts/element.ts";
import { field, fieldId, valueOf } from "../parts/field.ts";
import { back, bar, clock } from "../parts/frame.ts";
import { line } from "../parts/result.ts";
import { sayValue, unitOf } from "../parts/say.ts";
import type { Speaker } from "../parts/say.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { evaluate, quantityOf } from "../work.ts";
import type { Ground } from "../work.ts";
import { words } from "../words/index.ts";

type Said = Pick<Reading, "text" | "unit" | "si" | "source"> & { reason?: string };

/** What was written, and what it is called. */
interface Written {
  title: string;
  said: string;
  source: Source;
  corrections: Correction[];
  earlier: Reading[];
  reading: Reading | null;
  /** A note is corrected as a text; a photo is not corrected. */
  note: boolean;
}

class EntryScreen extends Screen {
  static override properties = {
    ...Screen.properties,
    route: { attribute: false },
    doing: { state: true },
    text: { state: true },
    reason: { state: true },
    asked: { state: true },
  };
  declare route: Extract<Route, { at: "entry" }>;
  declare doing: "" | "correct" | "strike";
  /** The note as it should read; null while it is not touched. */
  declare text: string | null;
  declare reason: string;
  declare asked: boolean;
  #desk: Desk | null = null;
  #form: Form | null = null;

  constructor() {
    super();
    this.doing = "";
    this.text = null;
    this.reason = "";
    this.asked = false;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    const form = new Form(this.phone.drafts, `entry/${this.route.record}`);
    void form.load().then(() => {
      this.#form = form;
      this.requestUpdate();
    });
  }

  protected override render(): TemplateResult {
    const { visit: id, record } = this.route;
    this.#desk ??= new Desk(this.phone, id, "", () => this.requestUpdate());
    const ground = this.#desk.ground();
    const up = back(
      pathOf({ at: "visit", visit: id }),
      this.#desk.visit?.title || words.places.visits,
    );
    if (!ground?.visit || !this.#form) {
      return html`<main tabindex="-1">
        ${up}
        <p class="sub">${words.loading}</p>
      </main>`;
    }
    const to = speakerFor(this.phone, ground);
    const written = writtenAs(to, ground.visit, record);
    if (!written) {
      return html`<main tabindex="-1">
        ${up}
        <h1>${words.entry.gone}</h1>
      </main>`;
    }
    const { reading } = written;
    const quantity = reading && quantityOf(ground.engine, reading.quantity);
    const entry =
      reading && quantity
        ? this.#form.entry(to.bundle, { quantity, member: reading.member }, reading)
        : null;
    const last = written.corrections.at(-1);
    const past: Said[] = [
      ...written.corrections.slice(0, -1).reverse(),
      ...(last ? this.#first(written) : []),
      ...[...written.earlier].reverse(),
    ];
    return html`<main tabindex="-1">
        ${up}
        <h1>${written.title}</h1>
        <ul class="lines">
          ${line({
            ...{ sign: "none", title: written.said || words.entry.photo },
            more: words.entry.because(this.#by(last?.source ?? written.source), last?.reason ?? ""),
          })}
        </ul>
        ${reading?.origin === "offered" && entry ? this.#found(to, ground, entry) : nothing}
        ${
          past.length
            ? html`<h2>${words.entry.before}</h2>
                <ul class="lines">
                  ${past.map((each) =>
                    line({
                      sign: "none",
                      title: saidIn(to, each, reading),
                      more: words.entry.because(this.#by(each.source), each.reason ?? ""),
                    }),
                  )}
                </ul>`
            : nothing
        }
        ${this.#desk.open ? this.#acts(to, written, entry) : nothing}
      </main>
      ${this.#bar(ground.visit, written, entry)}`;
  }

  /** The working of what was taken. */
  #found(to: Speaker, ground: Ground, entry: Entry): TemplateResult[] {
    return offersFor(to, evaluate(ground), entry, "").map(
      ({ by, said, href }) =>
        html`<p>
          <a class="quiet" href=${href ?? nothing}>${words.field.finds(by, said)}</a>
        </p>`,
    );
  }

  /** What the record itself says, under its corrections. */
  #first({ source }: Written): Said[] {
    const entry = this.phone.ledger.entries.find(({ record }) => record.id === source.record);
    const record = entry?.record;
    if (record?.kind === "note") return [{ text: record.body.text, unit: null, si: null, source }];
    if (record?.kind !== "value-set" && record?.kind !== "timer-read") return [];
    const { text = "", unit = null, si = null } = record.body;
    return [{ text, unit, si, source }];
  }

  #by({ device, when }: Source): string {
    const own = this.phone.ledger.entries.some(
      ({ stored }) => stored.mine && stored.device === device,
    );
    const name = own ? (this.phone.ledger.enrolment?.name ?? words.entry.thisPhone) : "";
    return words.entry.by(name || words.entry.otherPhone, clock(when.corrected));
  }

  #acts(to: Speaker, written: Written, entry: Entry | null): TemplateResult {
    const choose = async (doing: typeof this.doing): Promise<void> => {
      this.doing = doing;
      this.asked = false;
      await this.updateComplete;
      focusOn(doing === "strike" ? "reason" : entry ? fieldId(entry) : "right");
    };
    if (this.doing === "") {
      return html`${
          entry || written.note
            ? html`<button type="button" class="press wide" @click=${() => void choose("correct")}>
                ${words.entry.correct}
              </button>`
            : nothing
        }
        <button type="button" class="press wide" @click=${() => void choose("strike")}>
          ${words.entry.strike}
        </button>`;
    }
    if (this.doing === "strike") {
      return html`<p class="sub">${words.entry.strikeHelp}</p>
        ${this.#reason(words.entry.whyStrike)}`;
    }
    return html`${entry ? this.#right(to, entry) : this.#rightNote(written)}
    ${this.#reason(words.entry.why)}`;
  }

  #right(to: Speaker, entry: Entry): TemplateResult {
    const set = (_: Entry, text: string, unit?: string, sure = false): void => {
      const meant = entry.quantity.unit ? (unit ?? unitOf(to, entry)) : null;
      this.#form!.set(entry, text, { unit: meant, ...(sure ? { sure } : {}) });
      this.requestUpdate();
    };
    return field(
      to,
      entry,
      { offers: [], past: [] },
      {
        set,
        sure: () => set(entry, entry.text, undefined, true),
        take: () => undefined,
      },
    );
  }

  #rightNote({ said }: Written): TemplateResult {
    return html`<div class="ask">
      <label for="right">${words.entry.right}</label>
      <textarea
        id="right"
        rows="3"
        maxlength="10000"
        .value=${this.text ?? said}
        @input=${(event: Event) => (this.text = valueOf(event))}
      ></textarea>
    </div>`;
  }

  #reason(label: string): TemplateResult {
    return html`<div class="ask">
        <label for="reason">${label}</label>
        <input
          class="wide"
          id="reason"
          type="text"
          maxlength="500"
          autocomplete="off"
          .value=${this.reason}
          @input=${(event: Event) => (this.reason = valueOf(event))}
        />
      </div>
      ${
        this.asked && !this.reason.trim()
          ? html`<p class="problem" role="alert">${words.entry.reason}</p>`
          : nothing
      }`;
  }

  #bar(
    { id, site, system, edition }: Visit,
    written: Written,
    entry: Entry | null,
  ): TemplateResult {
    const { record } = this.route;
    const away = { label: words.entry.back, href: pathOf({ at: "visit", visit: id }) };
    if (this.doing === "" || !this.#desk!.open) return bar([away]);
    const about = { site, system, visit: id };
    const of = { about, edition: edition ?? this.phone.rules?.hash ?? null };
    const cancel = { label: words.cancel, press: () => void (this.doing = "") };
    if (this.doing === "strike") {
      const draft = (reason: string): Draft => ({
        kind: "voided",
        ...of,
        body: { record, reason },
      });
      return bar([cancel, { label: words.entry.doStrike, press: () => void this.#write(draft) }]);
    }
    const text = this.text?.trim() ?? "";
    const right = entry
      ? entry.changed && !entry.problem && !entry.ask && entry.si !== null
        ? { text: entry.text, unit: entry.unit || null, si: entry.si }
        : null
      : text && text !== written.said
        ? { text }
        : null;
    const draft = (reason: string): Draft => ({
      ...{ kind: "corrected", ...of },
      body: { record, ...right!, reason },
    });
    const keep = {
      ...{ label: words.entry.keep, disabled: right === null },
      press: () => void this.#write(draft),
    };
    return bar([cancel, keep]);
  }

  async #write(draft: (reason: string) => Draft): Promise<void> {
    this.asked = true;
    const reason = this.reason.trim();
    if (!reason) return;
    try {
      await this.phone.write(draft(reason));
    } catch {
      // The phone has said so; what was typed stays.
      return;
    }
    this.#form?.forget();
    go({ at: "visit", visit: this.route.visit });
  }
}

function writtenAs(to: Speaker, visit: Visit, record: string): Written | null {
  const all = [...visit.readings.values()].flatMap((each) => [each, ...each.conflicts]);
  const reading = all.find(({ source }) => source.record === record);
  if (reading) {
    const label = to.quantity(reading.quantity)?.label ?? reading.quantity;
    const of = reading.member ? to.labelOf(reading.member) : "";
    return {
      title: of ? words.ofMember(label, of) : label,
      said: saidIn(to, reading, reading),
      ...{ source: reading.source, corrections: reading.corrections, earlier: reading.earlier },
      ...{ reading, note: false },
    };
  }
  const note = visit.notes.find(({ source }) => source.record === record);
  if (note) {
    const { text, source, corrections } = note;
    return {
      ...{ title: words.entry.note, said: text, source, corrections },
      ...{ earlier: [], reading: null, note: true },
    };
  }
  const photo = visit.photos.find(({ source }) => source.record === record);
  if (!photo) return null;
  return {
    ...{ title: words.entry.photo, said: photo.body.caption ?? "", source: photo.source },
    ...{ corrections: [], earlier: [], reading: null, note: false },
  };
}

function saidIn(to: Speaker, { text, unit, si }: Said, of: Reading | null): string {
  const quantity = of && to.quantity(of.quantity);
  return quantity && si !== null ? plainly(sayValue(to, quantity, si, unit)) : text;
}

customElements.define("kw-entry", EntryScreen);
