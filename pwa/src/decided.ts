/** Where it was decided that a step has to wait: the way out for whoever stands before it. Pure. */
import { inputsOf, slotsIn } from "./engine/written.ts";
import type { Checklist, Step } from "./generated/bundle.ts";
import { checklistsOf, upstream } from "./told.ts";
import type { Work } from "./work.ts";

/** A step and the list that it stands in. */
export interface Place {
  checklist: Checklist;
  step: Step;
}

/**
 * The steps of this visit whose check went wrong over what `waiting` needs; where no check did, those
 * that ask for what it needs. The list it stands in comes first.
 */
export function decidedAt(work: Work, checklist: Checklist, waiting: Step): Place[] {
  const { engine, visit, answer } = work;
  if (!visit || waiting.needs == null) return [];
  const { bundle } = engine;
  const needed = upstream(bundle, slotsIn(waiting.needs));
  const lists = [checklist, ...checklistsOf(bundle, visit).filter(({ id }) => id !== checklist.id)];
  const places = lists.flatMap((each) =>
    each.steps.filter((step) => step !== waiting).map((step) => ({ checklist: each, step })),
  );
  const deciding = new Set(
    bundle.checks
      .filter((check) => inputsOf(check).some((slot) => needed.has(slot)))
      .map(({ id }) => id),
  );
  const failed = places.filter(({ step: { checks = [] } }) =>
    answer
      .checks(checks.filter((id) => deciding.has(id)))
      .some(({ verdict }) => verdict === "fail" || verdict === "caution"),
  );
  if (failed.length) return failed;
  const asked = new Set([...needed].map((slot) => bundle.quantities[slot]!.id));
  return places.filter(({ step: { enter = [] } }) => enter.some((id) => asked.has(id)));
}
