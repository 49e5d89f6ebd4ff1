/** The notes of a visit and what the office said to it; one begun outlives a page that the phone drops. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Visit } from "../book.ts";
import { pathOf } from "../routes.ts";
import { words } from "../words/index.ts";
import { Screen } from "./element.ts";
import { valueOf } from "./field.ts";
import { clock } from "./frame.ts";
import { line } from "./result.ts";

export class Notes extends Screen {
  static override properties = {
    ...Screen.properties,
    visit: { attribute: false },
    open: { attribute: false },
    note: { state: true },
  };
  declare visit: Visit;
  /** Notes can still be added. */
  declare open: boolean;
  declare note: string;

  constructor() {
    super();
    this.note = "";
  }

  override connectedCallback(): void {
    super.connectedCallback();
    void this.phone.drafts.text(this.#key).then(
      (begun) => (this.note ||= begun),
      () => undefined,
    );
  }

  protected override render(): TemplateResult {
    const { id, notes, comments } = this.visit;
    return html`<h2>${words.visit.notes}</h2>
      <ul class="lines">
        ${notes.map(({ text, source }) =>
          line({
            ...{ sign: "none", title: text, more: clock(source.when.corrected) },
            href: pathOf({ at: "entry", visit: id, record: source.record }),
          }),
        )}
        ${comments.map(({ body, source }) =>
          line({
            ...{ sign: "none", title: body.text },
            more: words.visit.fromOffice(clock(source.when.corrected)),
          }),
        )}
      </ul>
      ${this.open ? this.#add() : nothing}`;
  }

  #add(): TemplateResult {
    return html`<div class="ask">
      <label for="note">${words.visit.newNote}</label>
      <textarea
        id="note"
        rows="2"
        .value=${this.note}
        @input=${(event: Event) => this.#write(valueOf(event))}
      ></textarea>
      ${
        this.note.trim()
          ? html`<button type="button" class="press wide" @click=${() => void this.#keep()}>
              ${words.visit.keepNote}
            </button>`
          : nothing
      }
    </div>`;
  }

  get #key(): string {
    return `note/${this.visit.id}`;
  }

  #write(note: string): void {
    this.note = note;
    void this.phone.drafts.keepText(this.#key, note).catch(() => undefined);
  }

  async #keep(): Promise<void> {
    const { id, site, system, edition } = this.visit;
    const about = { site, system, visit: id };
    const of = edition ?? this.phone.rules?.hash ?? null;
    const body = { text: this.note.trim() };
    await this.phone.write({ kind: "note", about, edition: of, body }).then(
      () => this.#write(""),
      () => undefined,
    );
  }
}

customElements.define("kw-notes", Notes);
