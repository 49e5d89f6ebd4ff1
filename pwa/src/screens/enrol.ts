/** A phone becomes the office's: a short code, typed here in the installed app. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { Screen, go } from "../parts/element.ts";
import { valueOf } from "../parts/field.ts";
import { back, bar } from "../parts/frame.ts";
import { NoContact, NotKnown, Refused, Wait } from "../sync/office.ts";
import { words } from "../words/index.ts";

class Enrol extends Screen {
  static override properties = {
    ...Screen.properties,
    code: { state: true },
    name: { state: true },
    problem: { state: true },
    busy: { state: true },
  };
  declare code: string;
  declare name: string;
  declare problem: string;
  declare busy: boolean;

  constructor() {
    super();
    this.code = "";
    this.name = "";
    this.problem = "";
    this.busy = false;
  }

  protected override render(): TemplateResult {
    return html`<main tabindex="-1">
        ${back("/phone", words.places.phone)}
        <h1>${words.enrol.title}</h1>
        <p class="sub">${words.enrol.how}</p>
        <div class="ask">
          <label for="code">${words.enrol.code}</label>
          <input
            class="wide code"
            id="code"
            type="text"
            autocomplete="one-time-code"
            autocapitalize="characters"
            spellcheck="false"
            maxlength="40"
            .value=${this.code}
            @input=${(event: Event) => (this.code = valueOf(event))}
          />
        </div>
        <div class="ask">
          <label for="holder">${words.enrol.name}</label>
          <input
            class="wide"
            id="holder"
            type="text"
            autocomplete="name"
            maxlength="80"
            .value=${this.name}
            @input=${(event: Event) => (this.name = valueOf(event))}
          />
        </div>
        ${this.problem ? html`<p class="problem" role="alert">${this.problem}</p>` : nothing}
        ${
          this.phone.ledger.enrolment
            ? html`<p class="sub">${words.enrol.again(this.phone.ledger.enrolment.office)}</p>`
            : nothing
        }
      </main>
      ${bar([{ label: words.enrol.do, disabled: this.busy, press: () => void this.#enrol() }])}`;
  }

  async #enrol(): Promise<void> {
    const code = this.code.trim();
    const name = this.name.trim();
    if (!code || !name) {
      this.problem = words.enrol.incomplete;
      return;
    }
    this.busy = true;
    try {
      await this.phone.enrol(code, name);
      go({ at: "visits" });
    } catch (error) {
      this.problem = explain(error);
    } finally {
      this.busy = false;
    }
  }
}

function explain(error: unknown): string {
  if (error instanceof NoContact) return words.enrol.noContact;
  if (error instanceof Wait) return words.enrol.wait(Math.ceil(error.seconds / 60));
  if (error instanceof NotKnown) return words.enrol.wrongCode;
  if (error instanceof Refused) return `${error.problem.error} ${error.problem.mend}`;
  return words.store.notSaved;
}

customElements.define("kw-enrol", Enrol);
