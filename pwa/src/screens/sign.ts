/** A name under the visit, with what this phone found at that moment. */
import { html, nothing, svg } from "lit";
import type { TemplateResult } from "lit";
import { Desk } from "../desk.ts";
import type { Draft } from "../ledger/ledger.ts";
import { Screen, go } from "../parts/element.ts";
import { valueOf } from "../parts/field.ts";
import { back, bar } from "../parts/frame.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import type { Rules } from "../phone.ts";
import { evaluate, snapshotOf } from "../work.ts";
import type { Ground } from "../work.ts";
import { words } from "../words/index.ts";

const BOX = { width: 600, height: 200 };
const LONGEST = 60_000;

interface Begun {
  name: string | null;
  statement: string;
  strokes: string;
}

class Sign extends Screen {
  static override properties = {
    ...Screen.properties,
    route: { attribute: false },
    name: { state: true },
    statement: { state: true },
    strokes: { state: true },
    asked: { state: true },
  };
  declare route: Extract<Route, { at: "sign" }>;
  declare name: string | null;
  declare statement: string;
  declare strokes: string;
  declare asked: boolean;
  #desk: Desk | null = null;
  #drawing = false;

  constructor() {
    super();
    this.name = null;
    this.statement = words.sign.statement;
    this.strokes = "";
    this.asked = false;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    void this.phone.drafts.text(this.#key).then(
      (begun) => begun && Object.assign(this, JSON.parse(begun) as Begun),
      () => undefined,
    );
  }

  get #key(): string {
    return `sign/${this.route.visit}`;
  }

  /** What is not signed yet outlives a page that the phone drops. */
  #set(change: Partial<Begun>): void {
    Object.assign(this, change);
    const { name, statement, strokes } = this;
    const begun = JSON.stringify({ name, statement, strokes });
    void this.phone.drafts.keepText(this.#key, begun).catch(() => undefined);
  }

  protected override render(): TemplateResult {
    const { visit } = this.route;
    this.#desk ??= new Desk(this.phone, visit, "", () => this.requestUpdate());
    const ground = this.#desk.ground();
    if (!ground) return html`<main tabindex="-1"><p class="sub">${words.loading}</p></main>`;
    const of = ground.visit;
    const name = this.name ?? this.phone.ledger.enrolment?.name ?? "";
    return html`<main tabindex="-1">
        ${back(pathOf({ at: "visit", visit }), of?.title || words.places.visits)}
        <h1>${words.sign.title}</h1>
        <div class="ask">
          <label for="signer">${words.sign.name}</label>
          <input
            class="wide"
            id="signer"
            type="text"
            maxlength="200"
            .value=${name}
            @input=${(event: Event) => this.#set({ name: valueOf(event) })}
          />
        </div>
        <div class="ask">
          <label for="statement">${words.sign.says}</label>
          <textarea
            id="statement"
            rows="3"
            maxlength="2000"
            .value=${this.statement}
            @input=${(event: Event) => this.#set({ statement: valueOf(event) })}
          ></textarea>
        </div>
        <div class="ask">
          <span class="label">${words.sign.draw}</span>
          <svg
            class="strokes"
            viewBox="0 0 ${BOX.width} ${BOX.height}"
            role="img"
            aria-label=${this.strokes ? words.sign.drawn : words.sign.notDrawn}
            @pointerdown=${(event: PointerEvent) => this.#begin(event)}
            @pointermove=${(event: PointerEvent) => this.#draw(event)}
            @pointerup=${() => this.#lift()}
            @pointercancel=${() => this.#lift()}
          >
            ${svg`<path d=${this.strokes} />`}
          </svg>
          ${
            this.strokes
              ? html`<div class="needs">
                  <button
                    type="button"
                    class="press small"
                    @click=${() => this.#set({ strokes: "" })}
                  >
                    ${words.sign.wipe}
                  </button>
                </div>`
              : nothing
          }
        </div>
        ${
          this.asked && !(name.trim() && this.statement.trim())
            ? html`<p class="problem" role="alert">${words.sign.incomplete}</p>`
            : nothing
        }
      </main>
      ${bar([
        { label: words.cancel, href: pathOf({ at: "visit", visit }) },
        { label: words.sign.do, press: () => void this.#sign(ground, name.trim()) },
      ])}`;
  }

  #begin(event: PointerEvent): void {
    event.preventDefault();
    (event.currentTarget as Element).setPointerCapture(event.pointerId);
    this.#drawing = true;
    this.#point("M", event);
  }

  #draw(event: PointerEvent): void {
    if (this.#drawing) this.#point("L", event);
  }

  /** Saved at the end of a stroke, not at each of its points. */
  #lift(): void {
    this.#drawing = false;
    this.#set({});
  }

  #point(command: "M" | "L", event: PointerEvent): void {
    const box = (event.currentTarget as Element).getBoundingClientRect();
    const x = Math.round(((event.clientX - box.left) / box.width) * BOX.width);
    const y = Math.round(((event.clientY - box.top) / box.height) * BOX.height);
    const next = `${this.strokes}${command}${x} ${y}`;
    if (next.length <= LONGEST) this.strokes = next;
  }

  async #sign(ground: Ground & { rules: Rules }, name: string): Promise<void> {
    this.asked = true;
    const statement = this.statement.trim();
    const { visit, rules } = ground;
    if (!name || !statement || !visit) return;
    const about = { site: visit.site, system: visit.system, visit: visit.id };
    const results = snapshotOf(evaluate(ground));
    const drafts: Draft[] = [
      {
        ...{ kind: "signed" as const, about, edition: rules.hash },
        body: { name, statement, results, strokes: this.strokes || null },
      },
    ];
    const { checklist, step } = this.route;
    if (checklist !== undefined && step !== undefined) {
      const body = { checklist, step, outcome: "done" as const };
      drafts.push({ kind: "step-done", about, edition: rules.hash, body });
    }
    try {
      await this.phone.write(...drafts);
    } catch {
      // The phone has said so; what was drawn stays.
      return;
    }
    await this.phone.drafts.keepText(this.#key, "").catch(() => undefined);
    go({ at: "visit", visit: visit.id });
  }
}

customElements.define("kw-sign", Sign);
