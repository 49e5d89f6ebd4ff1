/**
 * What was done on a visit, and which verdicts are told of it. The twin of the office's `records/told.py`.
 *
 * A verdict is told where something asked for it, and a definite one also where it rests on what was recorded here,
 * whoever asked. What is not known yet is told only where a step of the visit's checklists asks for it: a calculator
 * that shares some of their readings was perhaps never meant. Pure.
 */
import type { Visit } from "./book.ts";
import { Unknown } from "./engine/index.ts";
import type { CheckResult, Engine } from "./engine/index.ts";
import { inputsOf } from "./engine/written.ts";
import type { Bundle, Calculator, Checklist, Quantity, Verdict } from "./generated/bundle.ts";
import { calculatorsUsed, collectionOf, quantityOf, stepsOf } from "./work.ts";
import type { Work } from "./work.ts";

export const WORST: readonly Verdict[] = ["fail", "caution", "unknown", "pass"];

/** Those planned for the visit, and any other of which a step was dealt with. */
export function checklistsOf({ checklists = [] }: Bundle, visit: Visit): Checklist[] {
  const dealtWith = new Set([...visit.steps.values()].map(({ checklist }) => checklist));
  return checklists.filter(({ id }) => visit.checklists.includes(id) || dealtWith.has(id));
}

/**
 * Calculators that somebody began on this visit, or whose answer is known from it. Half of what is asked makes a
 * beginning: a value shared with others, such as the altitude, does not.
 */
export function calculatorsBegun(work: Work): Calculator[] {
  const { engine, readings } = work;
  const standing = current(
    engine,
    [...readings.values()].map(({ quantity }) => quantity),
  );
  return calculatorsUsed(work).filter((calculator) => {
    const asked = calculator.enter.filter((id) => quantityOf(engine, id)?.default == null);
    const known = asked.filter((id) => standing.has(id));
    return known.length * 2 >= asked.length || isAnswered(work, calculator);
  });
}

/** The verdicts a report has, in the order of the rules. */
export function toldChecks(work: Work): CheckResult[] {
  const { engine, answer, visit } = work;
  const { checks, quantities } = engine.bundle;
  const lists = checklistsOf(engine.bundle, visit!);
  const listed = new Set(
    lists.flatMap((list) => stepsOf(work, list).flatMap((step) => step.checks ?? [])),
  );
  const begun = new Set(calculatorsBegun(work).flatMap((each) => each.checks ?? []));
  const here = current(
    engine,
    [...visit!.readings.values()].map(({ quantity }) => quantity),
  );
  const slots = new Set([...here].map((id) => quantities.findIndex((each) => each.id === id)));
  const restsHere = checks.filter((check) => restsOn(engine.bundle, inputsOf(check), slots));
  const definite = new Set([...listed, ...begun, ...restsHere.map(({ id }) => id)]);
  const unknown = listed.size ? listed : begun;
  return answer
    .checks([...new Set([...definite, ...unknown])])
    .filter(
      ({ id, verdict }) =>
        verdict !== "not-applicable" && (verdict === "unknown" ? unknown : definite).has(id),
    );
}

/**
 * The worst verdict that rests on a reading, of calculators that it can be entered in; null where there is none.
 */
export function worstOn(
  { bundle }: Engine,
  told: readonly CheckResult[],
  { id }: Quantity,
  member: string | null,
): Verdict | null {
  const near = new Set(
    bundle.calculators
      .filter(({ enter, if_known: maybe = [] }) => [...enter, ...maybe].includes(id))
      .flatMap(({ checks = [] }) => checks),
  );
  const slot = new Set([bundle.quantities.findIndex((each) => each.id === id)]);
  const verdicts = told
    .filter((result) => near.has(result.id))
    .filter((result) => !result.member || !member || result.member === member)
    .filter((result) => {
      const check = bundle.checks.find(({ id }) => id === result.id)!;
      return restsOn(bundle, inputsOf(check), slot);
    })
    .map(({ verdict }) => verdict);
  return WORST.find((each) => verdicts.includes(each)) ?? null;
}

/** These slots and all that they rest on, however far back. */
export function upstream({ quantities }: Bundle, slots: readonly number[]): Set<number> {
  const all = new Set(slots);
  for (const each of all) for (const input of inputsOf(quantities[each]!)) all.add(input);
  return all;
}

/** Whether what has these inputs rests on one of the slots. */
function restsOn(bundle: Bundle, inputs: readonly number[], slots: ReadonlySet<number>): boolean {
  return [...upstream(bundle, inputs)].some((slot) => slots.has(slot));
}

/** As this edition names them; those that it does not know are left out. */
function current(engine: Engine, ids: readonly string[]): Set<string> {
  return new Set(ids.flatMap((id) => quantityOf(engine, id)?.id ?? []));
}

/** Its first result is known, of some member at least. */
export function isAnswered(
  { engine, answer, members }: Work,
  { show: [first] }: Calculator,
): boolean {
  if (first === undefined) return false;
  const collection = collectionOf(engine, first);
  const all = collection === null ? [undefined] : (members[collection] ?? []);
  return all.some((member) => !(answer.value(first, member) instanceof Unknown));
}
