/** What a step says beside its fields: what holds it back, where what is missing is asked, and what came of it. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Place } from "../decided.ts";
import { membersFor } from "../desk.ts";
import type { View } from "../desk.ts";
import { Unknown } from "../engine/index.ts";
import type { Checklist, Step } from "../generated/bundle.ts";
import { line, needs, resultLine, verdicts } from "../parts/result.ts";
import type { WayTo } from "../parts/result.ts";
import { sign } from "../parts/sign.ts";
import { pathOf } from "../routes.ts";
import { quantityOf } from "../work.ts";
import type { Wait } from "../work.ts";
import { words } from "../words/index.ts";

/** Ids of the visit and of the checklist in it. */
interface At {
  visit: string;
  checklist: string;
}

export function heldBack(held: readonly Step[], { visit, checklist }: At): TemplateResult {
  return html`<div class="verdict caution">
    ${sign("held", "caution")}
    <div>
      <b>${words.step.first}</b>
      <div class="needs">
        ${held.map(
          ({ id, title }) =>
            html`<a class="press small" href=${pathOf({ at: "step", visit, checklist, step: id })}
              >${title}</a
            >`,
        )}
      </div>
    </div>
  </div>`;
}

export const placeOf = ({ checklist, step }: Place, visit: string): string =>
  pathOf({ at: "step", visit, checklist: checklist.id, step: step.id });

export function waits(
  view: View,
  wait: Wait,
  decided: readonly Place[],
  visit: string,
  way: WayTo,
): TemplateResult {
  return html`<div class="verdict caution">
    ${sign("held", "caution")}
    <div>
      <b>${wait.held}</b>
      ${needs(view.to, wait.needs, way)}
      ${
        decided.length
          ? html`<div class="needs">
              ${decided.map(
                (place) =>
                  html`<a class="press small" href=${placeOf(place, visit)}
                    >${place.step.title}</a
                  >`,
              )}
            </div>`
          : nothing
      }
    </div>
  </div>`;
}

/** To the field on this screen, else to the step that asks for it, else to a calculator. */
export function wayFrom(view: View, { steps, id: checklist }: Checklist, visit: string): WayTo {
  return (need) => {
    const here = view.way(need);
    if (here !== "#") return here;
    const field = `#f-${need.id}-${need.member ?? ""}`;
    const step = steps.find(({ enter = [], if_known: maybe = [] }) =>
      [...enter, ...maybe].includes(need.id),
    );
    if (step) return pathOf({ at: "step", visit, checklist, step: step.id }) + field;
    const { calculators } = view.work.engine.bundle;
    const calculator = calculators.find(({ enter, if_known: maybe = [] }) =>
      [...enter, ...maybe].includes(need.id),
    );
    return calculator
      ? pathOf({ at: "calculator", visit, calculator: calculator.id }) + field
      : pathOf({ at: "visit", visit });
  };
}

/** What the checks of the step say, and the results it is to show. */
export function results(view: View, step: Step, visit: string, way: WayTo): TemplateResult {
  const { show = [], checks = [], calculator = "" } = step;
  const { work, to } = view;
  const home =
    calculator ||
    (work.engine.bundle.calculators.find((each) => show.some((id) => each.show.includes(id)))?.id ??
      "");
  const lines = show.flatMap((id) =>
    membersFor(work, id, {}).flatMap((member) => {
      const value = work.answer.value(id, member ?? undefined);
      // One that does not apply is shown where the rules say why.
      if (value instanceof Unknown && value.detail.code === "when") return [];
      const href = pathOf({
        ...{ at: "result", visit, calculator: home, quantity: id },
        ...(member ? { member } : {}),
      });
      const disputes = work.answer.disputed(id, member ?? undefined);
      return [resultLine(to, quantityOf(work.engine, id)!, value, href, member, disputes)];
    }),
  );
  const title = work.engine.bundle.calculators.find(({ id }) => id === calculator)?.title;
  return html`${verdicts(
    to,
    work.answer,
    work.answer.checks([...checks]).filter((check) => check.verdict !== "not-applicable"),
    (id) => work.engine.bundle.checks.find((each) => each.id === id)?.label ?? id,
    way,
  )}
  ${
    lines.length || title
      ? html`<ul class="lines results">
          ${lines}
          ${
            title
              ? line({ sign: "on", title, href: pathOf({ at: "calculator", visit, calculator }) })
              : nothing
          }
        </ul>`
      : nothing
  }`;
}
