/** What stands round every screen: the strip above, the things to press below. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Phone } from "../phone.ts";
import { words } from "../words/index.ts";
import { sign } from "./sign.ts";

export interface Act {
  label: string;
  /** Either an address or what to do. */
  href?: string;
  press?: (() => void) | undefined;
  disabled?: boolean;
  /** Not what to do next, though it stands last. */
  quiet?: boolean;
}

/** The bar at the bottom; the last act is what to do next. */
export function bar(
  acts: readonly Act[],
  above: TemplateResult | typeof nothing = nothing,
): TemplateResult {
  return html`<footer class="bar actions">
    ${above}
    <div class="acts">
      ${acts.map((act, index) => {
        const style = index === acts.length - 1 && !act.quiet ? "press go" : "press";
        return act.href !== undefined
          ? html`<a class=${style} href=${act.href}>${act.label}</a>`
          : html`<button type="button" class=${style} ?disabled=${act.disabled} @click=${act.press}>
              ${act.label}
            </button>`;
      })}
    </div>
  </footer>`;
}

export function back(href: string, label: string): TemplateResult {
  return html`<a class="back" href=${href}>${sign("back", "")}${label}</a>`;
}

/** How much the office has not, when it last answered, which rules are in use. */
export function strip(phone: Phone): TemplateResult {
  const { ledger, sync, rules, message, trouble } = phone;
  const unsent = ledger.unsent.length + ledger.parked.length;
  const contact = sync.lastContact;
  const last = contact === null ? words.strip.noContact : words.strip.lastContact(clock(contact));
  return html`<header class="strip">
    <div class="facts">
      <span
        ><b data-unsent=${unsent}
          >${ledger.enrolment ? words.strip.unsent(unsent) : words.strip.notEnrolled}</b
        >
        <span role="status"
          >${message ? ` · ${message}` : ledger.enrolment ? ` · ${last}` : ""}</span
        ></span
      >
      <span>${rules ? words.strip.rules(rules.pointer.number) : words.strip.noRules}</span>
    </div>
    <p class="trouble" role="alert">${trouble}</p>
  </header>`;
}

/** Time of day; with the day when it is another than today. */
export function clock(ms: number, now = Date.now()): string {
  const at = new Date(ms);
  const time = `${two(at.getHours())}:${two(at.getMinutes())}`;
  return day(ms) === day(now) ? time : `${day(ms)} ${time}`;
}

export function day(ms: number): string {
  const at = new Date(ms);
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
}

function two(n: number): string {
  return String(n).padStart(2, "0");
}
