/** The steps of a checklist in a visit. */
import { html } from "lit";
import type { TemplateResult } from "lit";
import { keyOf } from "../book.ts";
import type { StepState } from "../book.ts";
import { plainly } from "../bundle/reading.ts";
import type { Shown } from "../bundle/reading.ts";
import { Desk, membersFor, speakerFor } from "../desk.ts";
import { Unknown } from "../engine/index.ts";
import type { Checklist, Step } from "../generated/bundle.ts";
import { Screen } from "../parts/element.ts";
import { back, bar } from "../parts/frame.ts";
import { line } from "../parts/result.ts";
import { sayValue } from "../parts/say.ts";
import type { Sign } from "../parts/sign.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import {
  evaluate,
  heldBackBy,
  isDone,
  nextStep,
  quantityOf,
  stepsOf,
  waitOf,
  worst,
} from "../work.ts";
import type { Work } from "../work.ts";
import { words } from "../words/index.ts";

/** Readings named below a step that is done. */
const VALUES = 3;

class ChecklistScreen extends Screen {
  static override properties = { ...Screen.properties, route: { attribute: false } };
  declare route: Extract<Route, { at: "checklist" }>;
  #desk: Desk | null = null;

  protected override render(): TemplateResult {
    const { visit, checklist: id } = this.route;
    this.#desk ??= new Desk(this.phone, visit, "", () => this.requestUpdate());
    const ground = this.#desk.ground();
    const checklist = ground?.engine.bundle.checklists?.find((each) => each.id === id);
    const up = back(pathOf({ at: "visit", visit }), this.#desk.visit?.title || words.places.visits);
    if (!ground || !checklist) {
      return html`<main tabindex="-1">
        ${up}
        <p class="sub">${words.loading}</p>
      </main>`;
    }
    const work = evaluate(ground);
    const steps = stepsOf(work, checklist);
    const signs = steps.map((step) => stepSign(work, checklist, step));
    const { done, skipped } = progressOf(work, checklist);
    const failed = signs.filter((each) => each === "fail").length;
    const next = nextStep(work, checklist);
    return html`<main tabindex="-1">
        ${up}
        <h1>${checklist.title}</h1>
        <p class="sub">${[ground.site?.name, ground.system?.label].filter(Boolean).join(" · ")}</p>
        <div class="progress" aria-hidden="true">
          ${steps.map(
            ({ id: step }, index) =>
              html`<i
                class=${
                  signs[index] === "fail" ? "failed" : isDone(ground.visit!, id, step) ? "done" : ""
                }
              ></i>`,
          )}
        </div>
        <p class="sub">${words.checklist.progress(done, steps.length, skipped, failed)}</p>
        <ol class="lines">
          ${steps.map((step, index) => this.#step(work, checklist, step, signs[index]!))}
        </ol>
      </main>
      ${bar([
        next && this.#desk.open
          ? {
              label: words.visit.next(next.title),
              href: pathOf({ at: "step", visit, checklist: id, step: next.id }),
            }
          : { label: words.checklist.toVisit, href: pathOf({ at: "visit", visit }) },
      ])}`;
  }

  #step(work: Work, checklist: Checklist, step: Step, of: Sign): TemplateResult {
    const { visit, checklist: id } = this.route;
    const state = stateOfStep(work, checklist, step.id);
    const held = state ? [] : heldBackBy(work, checklist, step);
    const unsure = step.when != null && work.answer.holds(step.when) instanceof Unknown;
    // One reason at a time: the step itself says them all.
    const waits = held[0]
      ? words.step.heldBy(held[0].title)
      : state
        ? ""
        : (waitOf(work, step)?.held ?? "");
    const values = state ? this.#values(work, step) : [];
    const [first] = values;
    const more = [
      state?.outcome === "done" && first
        ? values
            .slice(1, 1 + VALUES)
            .map(plainly)
            .join(", ")
        : state
          ? words.step.outcomes[state.outcome]
          : words.step.acts[step.act],
      state?.reason ?? "",
      waits,
      unsure && !waits ? words.step.unsure : "",
    ];
    return line({
      sign: of,
      title: step.title,
      more: more.filter(Boolean).join(" · "),
      figure: first,
      href: pathOf({ at: "step", visit, checklist: id, step: step.id }),
    });
  }

  /** What came of a step, the result before the readings. */
  #values(work: Work, { show = [], enter = [], if_known: maybe = [], keeps }: Step): Shown[] {
    const to = speakerFor(this.phone, work);
    return [...(keeps ? [keeps] : []), ...show, ...enter, ...maybe].flatMap((id) => {
      const quantity = quantityOf(work.engine, id);
      const [member, ...others] = membersFor(work, id, {});
      if (!quantity || member === undefined || others.length > 0) return [];
      const kept = work.readings.get(keyOf(id, member));
      if (quantity.tree == null && !kept) return [];
      const value = work.answer.value(id, member ?? undefined);
      return value instanceof Unknown ? [] : [sayValue(to, quantity, value, kept?.unit)];
    });
  }
}

/** A step that was skipped with a reason is dealt with, and not done. */
export function progressOf(
  work: Work,
  checklist: Checklist,
): { done: number; skipped: number; all: number } {
  const steps = stepsOf(work, checklist);
  const done = steps.filter(({ id }) => isDone(work.visit!, checklist.id, id)).length;
  const skipped = steps.filter(
    ({ id }) => stateOfStep(work, checklist, id)?.outcome === "skipped",
  ).length;
  return { done, skipped, all: steps.length };
}

export function stateOfStep(
  { visit }: Work,
  { id }: Checklist,
  step: string,
): StepState | undefined {
  return visit?.steps.get(keyOf(id, step, null));
}

/** What a step came to: its verdicts where it was done, else whether it can be done. */
export function stepSign(work: Work, checklist: Checklist, step: Step): Sign {
  const state = stateOfStep(work, checklist, step.id);
  const verdicts = work.answer.checks([...(step.checks ?? [])]).map(({ verdict }) => verdict);
  const of = worst(verdicts);
  if (of === "fail") return "fail";
  if (!state) {
    return waitOf(work, step) || heldBackBy(work, checklist, step).length ? "held" : "todo";
  }
  if (state.outcome === "skipped") return "caution";
  if (state.outcome === "not-applicable") return "not-applicable";
  return of === "caution" ? "caution" : "pass";
}

customElements.define("kw-checklist", ChecklistScreen);
