/** The page: strip, the screen that the address names, places. */
import { LitElement, html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { keyed } from "lit/directives/keyed.js";
import { focusOn } from "./parts/element.ts";
import { strip } from "./parts/frame.ts";
import type { Phone } from "./phone.ts";
import { pathOf, routeOf } from "./routes.ts";
import type { Route } from "./routes.ts";
import { words } from "./words/index.ts";
import "./screens/calculator.ts";
import "./screens/calculators.ts";
import "./screens/checklist.ts";
import "./screens/enrol.ts";
import "./screens/entry.ts";
import "./screens/handbook.ts";
import "./screens/new_visit.ts";
import "./screens/papers.ts";
import "./screens/report.ts";
import "./screens/result.ts";
import "./screens/sign.ts";
import "./screens/step.ts";
import "./screens/this_phone.ts";
import "./screens/visit.ts";
import "./screens/visits.ts";

/** How long a screen is waited for, in frames. */
const FRAMES = 120;

const PLACES = [
  { at: "visits", label: words.places.visits },
  { at: "calculators", label: words.places.calculators },
  { at: "phone", label: words.places.phone },
] as const;

export class App extends LitElement {
  static override properties = { phone: { attribute: false }, route: { state: true } };
  declare phone: Phone;
  declare route: Route;

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    this.route = routeOf(location);
    void this.#arrive();
    this.phone.addEventListener("change", () => this.requestUpdate());
    addEventListener("popstate", () => this.#show(true));
    document.addEventListener("click", (event) => this.#follow(event));
    document.addEventListener("kw-go", (event) => this.#go((event as CustomEvent<string>).detail));
  }

  protected override render(): TemplateResult {
    const { phone, route } = this;
    const place = PLACES.find(({ at }) => at === route.at);
    const path = pathOf(route);
    return html`${strip(phone)}
    ${
      phone.start === "starting"
        ? html`<main><p class="sub">${words.loading}</p></main>`
        : phone.start === "no-store"
          ? noStore()
          : keyed(path, screen(phone, route))
    }
    ${
      place
        ? html`<nav class="places" aria-label=${words.places.label}>
            ${PLACES.map(
              ({ at, label }) =>
                html`<a href=${pathOf({ at })} aria-current=${at === place.at ? "page" : nothing}
                  >${label}</a
                >`,
            )}
          </nav>`
        : nothing
    }`;
  }

  #follow(event: MouseEvent): void {
    const link = (event.target as Element).closest("a");
    if (!link || event.defaultPrevented || event.button !== 0) return;
    if (
      event.metaKey ||
      event.ctrlKey ||
      event.shiftKey ||
      link.target ||
      link.hasAttribute("download")
    )
      return;
    const url = new URL(link.href);
    if (url.origin !== location.origin || /^\/(api|office)(\/|$)|\.txt$/.test(url.pathname)) return;
    event.preventDefault();
    this.#go(url.pathname + url.search + url.hash);
  }

  #go(path: string): void {
    const here = location.pathname + location.search;
    const url = new URL(path, location.href);
    if (url.pathname + url.search === here) {
      if (url.hash) focusOn(idIn(url.hash));
      return;
    }
    history.pushState(null, "", url);
    this.#show(false);
  }

  #show(back: boolean): void {
    this.route = routeOf(location);
    if (!back) scrollTo(0, 0);
    void this.#arrive();
  }

  /** Once the screen stands, the reader and the caret go there. */
  async #arrive(): Promise<void> {
    const { route } = this;
    await this.updateComplete;
    // Rules and what was typed come from the database.
    for (let frame = 0; frame < FRAMES && !this.querySelector("main h1"); frame += 1) {
      await new Promise(requestAnimationFrame);
    }
    if (this.route !== route) return;
    const heading = this.querySelector("main h1")?.textContent?.trim();
    document.title = heading ? `${heading} · ${words.name}` : words.name;
    if (location.hash && focusOn(idIn(location.hash))) return;
    this.querySelector("main")?.focus({ preventScroll: true });
  }
}

function idIn(hash: string): string {
  return decodeURIComponent(hash.slice(1));
}

function noStore(): TemplateResult {
  return html`<main tabindex="-1">
    <h1>${words.store.gone}</h1>
    <p class="sub">${words.store.goneHelp}</p>
    <button type="button" class="press wide" @click=${() => location.reload()}>
      ${words.store.again}
    </button>
  </main>`;
}

function screen(phone: Phone, route: Route): TemplateResult {
  switch (route.at) {
    case "visits":
      return html`<kw-visits .phone=${phone}></kw-visits>`;
    case "new-visit":
      return html`<kw-new-visit .phone=${phone}></kw-new-visit>`;
    case "visit":
      return html`<kw-visit .phone=${phone} .route=${route}></kw-visit>`;
    case "checklist":
      return html`<kw-checklist .phone=${phone} .route=${route}></kw-checklist>`;
    case "step":
      return html`<kw-step .phone=${phone} .route=${route}></kw-step>`;
    case "sign":
      return html`<kw-sign .phone=${phone} .route=${route}></kw-sign>`;
    case "entry":
      return html`<kw-entry .phone=${phone} .route=${route}></kw-entry>`;
    case "report":
      return html`<kw-report .phone=${phone} .route=${route}></kw-report>`;
    case "calculators":
      return html`<kw-calculators .phone=${phone} .route=${route}></kw-calculators>`;
    case "calculator":
      return html`<kw-calculator .phone=${phone} .route=${route}></kw-calculator>`;
    case "result":
      return html`<kw-result .phone=${phone} .route=${route}></kw-result>`;
    case "handbook":
      return html`<kw-handbook .phone=${phone} .route=${route}></kw-handbook>`;
    case "phone":
      return html`<kw-this-phone .phone=${phone}></kw-this-phone>`;
    case "parked":
      return html`<kw-parked .phone=${phone}></kw-parked>`;
    case "log":
      return html`<kw-log .phone=${phone}></kw-log>`;
    case "enrol":
      return html`<kw-enrol .phone=${phone}></kw-enrol>`;
    case "nowhere":
      return html`<main tabindex="-1">
        <h1>${words.nowhere}</h1>
        <a class="press wide" href="/">${words.places.visits}</a>
      </main>`;
  }
}

customElements.define("kw-app", App);
