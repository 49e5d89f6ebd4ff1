/** One step: what to do, its caution beside it, what to enter, what comes of it, what is next. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { TimerState } from "../book.ts";
import { chartsOfStep } from "../charts.ts";
import { decidedAt } from "../decided.ts";
import type { Place } from "../decided.ts";
import { Desk } from "../desk.ts";
import type { View } from "../desk.ts";
import type { Entry } from "../form.ts";
import type { Checklist, Step } from "../generated/bundle.ts";
import type { StepDone } from "../generated/records.ts";
import type { Draft } from "../ledger/ledger.ts";
import { charts } from "../parts/curve.ts";
import { Screen, focusOn, go } from "../parts/element.ts";
import { field, fieldId } from "../parts/field.ts";
import { back, bar } from "../parts/frame.ts";
import type { Act } from "../parts/frame.ts";
import { caution } from "../parts/result.ts";
import { sayReplaced } from "../parts/say.ts";
import { sign } from "../parts/sign.ts";
import "../parts/photo.ts";
import "../parts/timed.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { clearedBy, heldBackBy, nextStep, waitOf } from "../work.ts";
import type { Wait } from "../work.ts";
import { words } from "../words/index.ts";
import { stateOfStep } from "./checklist.ts";
import { heldBack, placeOf, results, waits, wayFrom } from "./step_said.ts";

type Outcome = StepDone["outcome"];

/** Where the verdicts stand. */
const SAID = "said";

class StepScreen extends Screen {
  static override properties = {
    ...Screen.properties,
    route: { attribute: false },
    skipping: { state: true },
    reason: { state: true },
    asked: { state: true },
  };
  declare route: Extract<Route, { at: "step" }>;
  declare skipping: boolean;
  declare reason: string;
  /** It was to be done: what it still asks for is said. */
  declare asked: boolean;
  #desk: Desk | null = null;

  constructor() {
    super();
    this.skipping = false;
    this.reason = "";
    this.asked = false;
  }

  protected override render(): TemplateResult {
    const { visit, checklist: list, step: id } = this.route;
    this.#desk ??= new Desk(this.phone, visit, "", () => this.requestUpdate());
    const ground = this.#desk.ground();
    const checklist = ground?.engine.bundle.checklists?.find((each) => each.id === list);
    const step = checklist?.steps.find((each) => each.id === id);
    const up = back(
      pathOf({ at: "checklist", visit, checklist: list }),
      checklist?.title ?? words.places.visits,
    );
    if (!ground || !checklist || !step) {
      return html`<main tabindex="-1">
        ${up}
        <p class="sub">${words.loading}</p>
      </main>`;
    }
    const { enter = [], if_known: maybe = [], show = [], checks = [] } = step;
    const view = this.#desk.view(ground, {
      enter: [...enter, ...maybe],
      show,
      checks,
      members: {},
      extra: false,
    });
    const state = stateOfStep(view.work, checklist, id);
    const held = heldBackBy(view.work, checklist, step);
    const open = stillOpen(view, step);
    const way = wayFrom(view, checklist, visit);
    const wait = state ? null : waitOf(view.work, step);
    // What is missing has a way of its own.
    const decided = wait && !wait.needs.length ? decidedAt(view.work, checklist, step) : [];
    return html`<main tabindex="-1">
        ${up}
        <h1>${step.title}</h1>
        ${step.text ? html`<p class="sub">${step.text}</p>` : nothing}
        ${step.replaced ? html`<p class="note">${sayReplaced(view.to.bundle, step)}</p>` : nothing}
        ${step.caution ? caution(view.to.bundle, step.caution) : nothing}
        ${
          state
            ? html`<div class="verdict ${state.outcome === "skipped" ? "caution" : "pass"}">
                ${sign(state.outcome === "skipped" ? "caution" : "pass")}
                <div>
                  <b>${words.step.outcomes[state.outcome]}</b
                  >${state.reason ? html`<p>${state.reason}</p>` : nothing}
                </div>
              </div>`
            : held.length
              ? heldBack(held, this.route)
              : nothing
        }
        ${wait ? waits(view, wait, decided, visit, way) : nothing}
        ${this.#entry(view, checklist, step, (held.length > 0 && !state) || wait !== null)}
        <div id=${SAID} tabindex="-1">${results(view, step, visit, way)}</div>
        ${charts(view, chartsOfStep(view.work.engine.bundle, step), {})}
        ${this.#photos(view, checklist, step)}
        <p class="problem" role="alert">
          ${
            this.asked && open.length
              ? words.step.stillOpen(open.map(({ quantity }) => quantity.label).join(", "))
              : nothing
          }
        </p>
        ${this.#otherWays(view, checklist, step)}
      </main>
      ${this.#bar(view, checklist, step, held, wait, decided)}`;
  }

  #entry(view: View, checklist: Checklist, step: Step, heldBack: boolean): TemplateResult {
    const { events } = this.#desk!;
    const series = view.entries.find(({ quantity }) => quantity.type === "series");
    const timed = step.act === "time" && !heldBack && this.#desk!.open;
    // While its timer runs, and before, a series is read one figure at a time; after that it can be mended.
    const apart =
      timed &&
      series &&
      (series.text === "" || this.#timers(view, step).some(({ stopped }) => !stopped));
    const fields = [...view.entries, ...view.extra].filter((entry) => !(apart && entry === series));
    const asked = fields.filter(({ quantity }) => !step.if_known?.includes(quantity.id));
    const maybe = fields.filter((entry) => !asked.includes(entry));
    const show = (entry: Entry): TemplateResult =>
      field(view.to, entry, view.beside(entry), events);
    return html`
      ${asked.map(show)} ${maybe.length ? html`<h2>${words.step.whereKnown}</h2>` : nothing}
      ${maybe.map(show)}
      ${
        timed
          ? html`<kw-timed
              .phone=${this.phone}
              .view=${view}
              .checklist=${checklist.id}
              .step=${step}
              .series=${series ?? null}
            ></kw-timed>`
          : nothing
      }
    `;
  }

  /** Of a step to photograph the photos are the work; with any other they stand folded away. */
  #photos(
    { work, rules }: View,
    checklist: Checklist,
    step: Step,
  ): TemplateResult | typeof nothing {
    const visit = work.visit!;
    const own = visit.photos.filter(
      ({ body }) => body.checklist === checklist.id && body.step === step.id,
    );
    const open = this.#desk!.open;
    if (!open && own.length === 0) return nothing;
    const photos = html`<kw-photo
      .phone=${this.phone}
      .visit=${visit}
      .edition=${rules.hash}
      .checklist=${checklist.id}
      .step=${step.id}
      .open=${open}
    ></kw-photo>`;
    if (step.act === "photo" || !open) return photos;
    return html`<details class="fold" ?open=${own.length > 0}>
      <summary>${own.length ? words.photo.count(own.length) : words.photo.add}</summary>
      ${photos}
    </details>`;
  }

  /** Not by the book: does not apply here, left out with a reason, or to be done once more. */
  #otherWays(view: View, checklist: Checklist, step: Step): TemplateResult | typeof nothing {
    if (!this.#desk!.open) return nothing;
    const state = stateOfStep(view.work, checklist, step.id);
    const close = (outcome: Outcome, reason = ""): void =>
      void this.#record(view, checklist, step, outcome, reason, false);
    if (state) {
      return html`<button type="button" class="press aside" @click=${() => close("open-again")}>
        ${words.step.openAgain}
      </button>`;
    }
    if (!this.skipping) {
      return html`<button type="button" class="press aside" @click=${() => (this.skipping = true)}>
        ${words.step.notDone}
      </button>`;
    }
    const reason = this.reason.trim();
    return html`<div class="ask">
      <label for="reason">${words.step.reason}</label>
      <input
        class="wide"
        id="reason"
        type="text"
        maxlength="500"
        .value=${this.reason}
        @input=${(event: Event) => (this.reason = (event.target as HTMLInputElement).value)}
      />
      <button
        type="button"
        class="press wide"
        ?disabled=${!reason}
        @click=${() => close("skipped", reason)}
      >
        ${words.step.skip}
      </button>
      <button
        type="button"
        class="press wide"
        ?disabled=${!reason}
        @click=${() => close("not-applicable", reason)}
      >
        ${words.step.notApplicable}
      </button>
    </div>`;
  }

  #bar(
    view: View,
    checklist: Checklist,
    step: Step,
    held: Step[],
    wait: Wait | null,
    [again]: Place[],
  ): TemplateResult {
    const { visit, checklist: list } = this.route;
    const next = nextStep(view.work, checklist, step.id);
    const onward: Act = next
      ? {
          label: words.visit.next(next.title),
          href: pathOf({ at: "step", visit, checklist: list, step: next.id }),
        }
      : { label: words.checklist.all, href: pathOf({ at: "checklist", visit, checklist: list }) };
    const all: Act = {
      label: words.checklist.all,
      href: pathOf({ at: "checklist", visit, checklist: list }),
      quiet: true,
    };
    const drafts = this.#desk!.drafts(view, step.calculator || null);
    const state = stateOfStep(view.work, checklist, step.id);
    if (!this.#desk!.open || (state && drafts.length === 0)) {
      return bar(next ? [all, onward] : [onward]);
    }
    if (state) {
      return bar([all, { label: words.step.keep, press: () => void this.#keep(view, drafts) }]);
    }
    const first = held[0];
    if (first) {
      const href = pathOf({ at: "step", visit, checklist: list, step: first.id });
      return bar([all, { label: words.step.firstDo(first.title), href }]);
    }
    if (wait) {
      const keep = { label: words.step.keep, press: () => void this.#keep(view, drafts) };
      if (drafts.length) return bar([all, keep]);
      if (!again) return bar([all, onward]);
      const href = placeOf(again, visit);
      return bar([all, { label: words.step.again(again.step.title), href }]);
    }
    if (step.act === "sign") {
      const href = pathOf({ at: "sign", visit, checklist: list, step: step.id });
      return bar([all, { label: words.sign.title, href }]);
    }
    if (step.act === "time" && !this.#timeIsKept(view, step)) {
      const keep = { label: words.step.keep, press: () => void this.#keep(view, drafts) };
      return bar(drafts.length ? [all, keep] : [all]);
    }
    const press = (): void => void this.#finish(view, checklist, step, drafts);
    return bar([all, { label: words.step.done[step.act], press }]);
  }

  /** Done, unless something that the step asks for is still open: that is kept, said and shown. */
  async #finish(view: View, checklist: Checklist, step: Step, drafts: Draft[]): Promise<void> {
    const [first] = stillOpen(view, step);
    if (!first) {
      const judged = view.work.answer.checks([...(step.checks ?? [])]);
      // What fails is seen before the next step is.
      const fine = !judged.some(({ verdict }) => verdict === "fail" || verdict === "caution");
      await this.#record(view, checklist, step, "done", "", fine);
      if (!fine) focusOn(SAID);
      return;
    }
    if (drafts.length) await this.#keep(view, drafts);
    this.asked = true;
    focusOn(fieldId(first));
  }

  /** Another checklist may have a step of the same name. */
  #timers({ work }: View, step: Step): TimerState[] {
    const { checklist } = this.route;
    return work.visit!.timers.filter((of) => of.checklist === checklist && of.step === step.id);
  }

  /** A timed step is done when its timer was stopped. */
  #timeIsKept(view: View, step: Step): boolean {
    return this.#timers(view, step).some(({ stopped }) => stopped);
  }

  async #keep(view: View, drafts: Draft[]): Promise<boolean> {
    try {
      await this.phone.write(...drafts);
    } catch {
      // The phone has said so; what was typed stays.
      return false;
    }
    this.#desk!.forget(
      [...view.entries, ...view.extra].filter(({ problem, ask }) => !problem && !ask),
    );
    return true;
  }

  /** Values and step in one write, so that neither is there without the other. */
  async #record(
    view: View,
    checklist: Checklist,
    step: Step,
    outcome: Outcome,
    reason: string,
    onward: boolean,
  ): Promise<void> {
    const { visit, rules } = { visit: view.work.visit!, rules: view.rules };
    const about = { site: visit.site, system: visit.system, visit: visit.id };
    const body = { checklist: checklist.id, step: step.id, outcome, reason };
    const next = onward ? nextStep(view.work, checklist, step.id) : null;
    const values = this.#desk!.drafts(view, step.calculator || null);
    const cleared = outcome === "done" ? clearedBy(view.work, step) : [];
    const kept = await this.#keep(view, [
      ...values,
      ...cleared.map((of) => ({
        ...{ kind: "value-set" as const, about, edition: rules.hash, body: of },
      })),
      { kind: "step-done", about, edition: rules.hash, body },
    ]);
    if (!kept) return;
    this.skipping = false;
    if (next) go({ at: "step", visit: visit.id, checklist: checklist.id, step: next.id });
    else if (onward) go({ at: "checklist", visit: visit.id, checklist: checklist.id });
  }
}

/** What has to be entered before the step is done. */
function stillOpen({ entries }: View, { enter = [] }: Step): Entry[] {
  return entries.filter(
    ({ si, quantity }) => si === null && enter.includes(quantity.id) && quantity.default == null,
  );
}

customElements.define("kw-step", StepScreen);
