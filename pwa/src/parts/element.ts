import { LitElement } from "lit";
import { isEnglish } from "../bundle/tongue.ts";
import type { Phone } from "../phone.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";

/** Base of every screen: in the page's own tree, so that one stylesheet and one label serve all. */
export abstract class Screen extends LitElement {
  static override properties: Record<string, object> = { phone: { attribute: false } };
  declare phone: Phone;

  readonly #changed = (): void => this.requestUpdate();

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    this.phone.addEventListener("change", this.#changed);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.phone.removeEventListener("change", this.#changed);
  }

  protected override updated(): void {
    markEnglish(this);
  }
}

/** Texts that stand in English in the midst of another language are read out as English. */
function markEnglish(screen: Element): void {
  if (document.documentElement.lang === "en") return;
  for (const element of screen.querySelectorAll("*")) {
    const texts = [...element.childNodes].filter(
      (node) => node.nodeType === Node.TEXT_NODE && node.textContent?.trim(),
    );
    if (texts.length > 0 && texts.every((node) => isEnglish(node.textContent!.trim()))) {
      element.setAttribute("lang", "en");
    } else {
      element.removeAttribute("lang");
    }
  }
}

/** Leads on to another screen, as a press on a link to it would. */
export function go(route: Route): void {
  document.dispatchEvent(new CustomEvent("kw-go", { detail: pathOf(route) }));
}

/** Brings a field into sight and the caret into it. False when there is none of that id. */
export function focusOn(id: string): boolean {
  const found = document.getElementById(id);
  found?.closest("details")?.setAttribute("open", "");
  found?.scrollIntoView({ block: "center" });
  const input = found?.matches("fieldset") ? (found.querySelector("input") ?? found) : found;
  input?.focus({ preventScroll: true });
  return found !== null;
}
