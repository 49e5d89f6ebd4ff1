/** The calculators of an edition, by topic; alone, or for a visit. */
import { html } from "lit";
import type { TemplateResult } from "lit";
import type { Bundle, Calculator } from "../generated/bundle.ts";
import { grouped } from "../order.ts";
import { Screen } from "../parts/element.ts";
import { back, bar } from "../parts/frame.ts";
import { line } from "../parts/result.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { Desk } from "../desk.ts";
import { calculatorsUsed, evaluate } from "../work.ts";
import type { Work } from "../work.ts";
import { words } from "../words/index.ts";
import { signOf } from "./visit.ts";

/** More calculators than fit a screen or two. */
const MANY = 12;

class Calculators extends Screen {
  static override properties = {
    ...Screen.properties,
    route: { attribute: false },
    wanted: { state: true },
  };
  declare route: Extract<Route, { at: "calculators" }>;
  declare wanted: string;
  #desk: Desk | null = null;

  constructor() {
    super();
    this.wanted = "";
  }

  protected override render(): TemplateResult {
    const { visit } = this.route;
    this.#desk ??= new Desk(this.phone, visit ?? null, "", () => this.requestUpdate());
    const ground = this.#desk.ground();
    const of = this.#desk.visit;
    return html`<main tabindex="-1">
        ${
          visit === undefined
            ? ""
            : back(pathOf({ at: "visit", visit }), of?.title || words.places.visits)
        }
        <h1>${words.places.calculators}</h1>
        ${
          ground
            ? this.#topics(ground.engine.bundle, of ? evaluate(ground) : null)
            : html`<p class="sub">
                ${this.phone.ledger.enrolment ? words.calculators.noRules : words.calculators.enrolFirst}
              </p>`
        }
      </main>
      ${
        this.phone.ledger.enrolment || ground
          ? ""
          : bar([{ label: words.enrol.title, href: pathOf({ at: "enrol" }) }])
      }`;
  }

  #topics(bundle: Bundle, work: Work | null): TemplateResult[] {
    const calculators = found(bundle, this.wanted);
    const many = bundle.calculators.length > MANY;
    const used = new Set(work ? calculatorsUsed(work) : []);
    const topics = [...grouped(calculators, ({ topic }) => topic)];
    const jumps = html`<nav class="needs" aria-label=${words.calculators.topics}>
      ${topics.map(
        ([topic]) => html`<a class="press small" href="#topic-${topic}">${words.topic(topic)}</a>`,
      )}
    </nav>`;
    const lists = topics.map(
      ([topic, all]) =>
        html`<h2 id="topic-${topic}" tabindex="-1">${words.topic(topic)}</h2>
          <ul class="lines">
            ${all.map((calculator) =>
              line({
                sign: work && used.has(calculator) ? signOf(work, calculator) : "none",
                title: calculator.title,
                href: pathOf({
                  at: "calculator",
                  calculator: calculator.id,
                  ...visitOf(this.route),
                }),
              }),
            )}
          </ul>`,
    );
    const handbook = html`<p>
      <a class="press wide" href=${pathOf({ at: "handbook" })}>${words.handbook.title}</a>
    </p>`;
    const search = html`<div class="ask" role="search">
      <label for="find">${words.calculators.find}</label>
      <input
        class="wide"
        id="find"
        type="search"
        autocomplete="off"
        .value=${this.wanted}
        @input=${(event: Event) => (this.wanted = (event.target as HTMLInputElement).value)}
      />
      <p class="note" role="status">
        ${this.wanted.trim() ? words.calculators.found(calculators.length) : ""}
      </p>
    </div>`;
    return [
      ...(many ? [search] : []),
      ...(many && !this.wanted.trim() ? [jumps] : []),
      ...lists,
      handbook,
    ];
  }
}

/** Calculators of which title, note, or the label of something they ask for or show has every word. */
export function found({ calculators, quantities }: Bundle, wanted: string): Calculator[] {
  const asked = plain(wanted).split(/\s+/).filter(Boolean);
  if (asked.length === 0) return [...calculators];
  const labels = new Map(quantities.map(({ id, label, note = "" }) => [id, `${label} ${note}`]));
  return calculators.filter(({ title, topic, note = "", enter, if_known: maybe = [], show }) => {
    const named = [...enter, ...maybe, ...show].map((id) => labels.get(id) ?? "");
    const text = plain([title, words.topic(topic), note, ...named].join(" "));
    return asked.every((word) => text.includes(word));
  });
}

/** Small letters without accents. */
function plain(text: string): string {
  return text.normalize("NFD").replaceAll(/\p{M}/gu, "").toLowerCase();
}

function visitOf({ visit }: { visit?: string }): { visit?: string } {
  return visit === undefined ? {} : { visit };
}

customElements.define("kw-calculators", Calculators);
