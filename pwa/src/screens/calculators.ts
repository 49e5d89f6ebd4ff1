/** The calculators of an edition, by topic; alone, or for a visit. */
import { html } from "lit";
import type { TemplateResult } from "lit";
import type { Calculator } from "../generated/bundle.ts";
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
  static override properties = { ...Screen.properties, route: { attribute: false } };
  declare route: Extract<Route, { at: "calculators" }>;
  #desk: Desk | null = null;

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
            ? this.#topics(ground.engine.bundle.calculators, of ? evaluate(ground) : null)
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

  #topics(calculators: readonly Calculator[], work: Work | null): TemplateResult[] {
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
    return [...(calculators.length > MANY ? [jumps] : []), ...lists, handbook];
  }
}

function visitOf({ visit }: { visit?: string }): { visit?: string } {
  return visit === undefined ? {} : { visit };
}

customElements.define("kw-calculators", Calculators);
