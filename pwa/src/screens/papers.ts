/** What the office set aside, and the phone's log: for finding out what went wrong. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { LogEntry } from "../ledger/schema.ts";
import { Screen } from "../parts/element.ts";
import { back, bar, clock } from "../parts/frame.ts";
import { line } from "../parts/result.ts";
import { offerFiles, textFile } from "../parts/share.ts";
import { words } from "../words/index.ts";

class Parked extends Screen {
  protected override render(): TemplateResult {
    const { parked } = this.phone.ledger;
    const retry = (): void => {
      void this.phone.queue.retryParked().then(() => this.phone.contact());
    };
    return html`<main tabindex="-1">
        ${back("/phone", words.places.phone)}
        <h1>${words.parked.title}</h1>
        <p class="sub">${parked.length ? words.parked.what : words.parked.none}</p>
        <ul class="lines">
          ${parked.map(({ record, stored }) =>
            line({
              sign: "caution",
              title: words.parked.kind(record.kind, clock(Date.parse(record.at.wall))),
              more: stored.parked || words.parked.noAnswer,
            }),
          )}
        </ul>
      </main>
      ${parked.length ? bar([{ label: words.parked.retry, press: retry }]) : nothing}`;
  }
}

class Log extends Screen {
  static override properties = { ...Screen.properties, entries: { state: true } };
  declare entries: LogEntry[];

  constructor() {
    super();
    this.entries = [];
  }

  override connectedCallback(): void {
    super.connectedCallback();
    void this.phone.ledger.log.all().then(
      (entries) => (this.entries = entries.reverse()),
      () => undefined,
    );
  }

  protected override render(): TemplateResult {
    const text = this.entries
      .map(({ at, what, detail }) => `${new Date(at).toISOString()}\t${what}\t${detail}`)
      .join("\n");
    return html`<main tabindex="-1">
        ${back("/phone", words.places.phone)}
        <h1>${words.log.title}</h1>
        <ul class="lines">
          ${this.entries.map(({ at, what, detail }) =>
            line({ sign: "todo", title: what, more: `${clock(at)} ${detail}` }),
          )}
        </ul>
      </main>
      ${bar([
        {
          label: words.log.share,
          press: () => void offerFiles(textFile("kneewall-log.txt", [`${text}\n`])),
        },
      ])}`;
  }
}

customElements.define("kw-parked", Parked);
customElements.define("kw-log", Log);
