/** Visits: planned at the office, in work, closed. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { stateOf } from "../book.ts";
import type { Visit } from "../book.ts";
import { Screen } from "../parts/element.ts";
import { bar, day } from "../parts/frame.ts";
import { line } from "../parts/result.ts";
import { sign } from "../parts/sign.ts";
import { pathOf } from "../routes.ts";
import { words } from "../words/index.ts";

const CLOSED_SHOWN = 20;

class Visits extends Screen {
  protected override render(): TemplateResult {
    const { phone } = this;
    const { device } = phone.ledger.enrolment ?? {};
    const visits = [...phone.book.visits.values()].filter(
      ({ assignedTo }) => assignedTo === null || assignedTo === device,
    );
    const of = (state: ReturnType<typeof stateOf>): Visit[] =>
      visits
        .filter((visit) => stateOf(visit) === state)
        .sort((a, b) => (a.date ?? "").localeCompare(b.date ?? ""));
    const planned = of("planned");
    const inWork = of("in work");
    const closed = of("closed").reverse().slice(0, CLOSED_SHOWN);
    return html`<main tabindex="-1">
        <h1>${words.places.visits}</h1>
        ${this.#notices()}
        ${
          phone.ledger.enrolment
            ? html`${visits.length === 0 ? html`<p class="sub">${words.visits.none}</p>` : nothing}
              ${this.#group(words.visits.inWork, inWork)}
              ${this.#group(words.visits.planned, planned)}
              ${this.#group(words.visits.closed, closed)}`
            : html`<p class="sub">${words.visits.enrolFirst}</p>
                ${phone.rules ? html`<p class="sub">${words.visits.calculatorsWork}</p>` : nothing}`
        }
      </main>
      ${
        phone.ledger.enrolment
          ? bar([{ label: words.visits.add, href: pathOf({ at: "new-visit" }) }])
          : bar([{ label: words.enrol.title, href: pathOf({ at: "enrol" }) }])
      }`;
  }

  #group(title: string, visits: Visit[]): TemplateResult | typeof nothing {
    if (visits.length === 0) return nothing;
    return html`<h2>${title}</h2>
      <ul class="lines">
        ${visits.map((visit) => this.#visit(visit))}
      </ul>`;
  }

  #visit(visit: Visit): TemplateResult {
    const { book } = this.phone;
    const site = book.sites.get(visit.site);
    const system = book.systems.get(visit.system);
    const state = stateOf(visit);
    const today = visit.date === day(Date.now());
    return line({
      sign: state === "closed" ? "pass" : state === "planned" ? "todo" : "on",
      title: visit.title || words.visit.kinds[visit.visitKind ?? "maintenance"],
      more: [
        site?.name,
        system?.label,
        today ? words.visits.today : visit.date && words.date(visit.date),
      ]
        .filter(Boolean)
        .join(" · "),
      href: pathOf({ at: "visit", visit: visit.id }),
    });
  }

  /** What a person must know before recording anything. */
  #notices(): TemplateResult {
    const { phone } = this;
    const { alarm } = phone.ledger;
    const inTab = "standalone" in navigator && navigator.standalone === false;
    return html`${
      alarm
        ? html`<div class="verdict fail">
            ${sign("fail")}
            <div>
              <b>${words.alarm.title}</b>
              <p>${words.alarm.text(alarm)}</p>
              <div class="needs">
                <button
                  type="button"
                  class="press small"
                  @click=${() => void phone.ledger.alarmSeen().catch(() => undefined)}
                >
                  ${words.alarm.seen}
                </button>
              </div>
            </div>
          </div>`
        : nothing
    }
    ${
      inTab
        ? html`<div class="warn">
            ${sign("caution")}
            <p>${words.visits.inTab}</p>
          </div>`
        : nothing
    }
    ${
      phone.release.waiting && !phone.timing
        ? html`<div class="needs">
            <button type="button" class="press" @click=${() => phone.release.takeOver()}>
              ${words.release.waiting} ${words.release.takeOver}
            </button>
          </div>`
        : nothing
    }`;
  }
}

customElements.define("kw-visits", Visits);
