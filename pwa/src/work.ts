/** A visit under its rules: its values, members and results. Pure. */
import { keyOf, valuesOf } from "./book.ts";
import type { Book, Reading, Site, System, Visit } from "./book.ts";
import { Unknown } from "./engine/index.ts";
import type { Answer, Engine, Members, Need, Values } from "./engine/index.ts";
import type { Calculator, Checklist, Quantity, Step, Value, Verdict } from "./generated/bundle.ts";
import { earlierVisits } from "./past.ts";
import type { ResultSnapshot, SiValue, ValueSet } from "./generated/records.ts";

/** The member of a collection where none is named: in a calculator alone, and in older records. */
export const NO_MEMBER = "";

/** Values typed and not kept yet, by `keyOf(quantity, member)`; null where one was emptied. */
export type Typed = ReadonlyMap<string, SiValue | null>;

/** What a calculation stands on, before anything typed. */
export interface Ground {
  engine: Engine;
  /** Null for a calculator alone. */
  visit: Visit | null;
  site: Site | null;
  system: System | null;
  members: Members;
  /** What is kept, by `keyOf(quantity, member)`. */
  readings: ReadonlyMap<string, Reading>;
  /** Visits on the system before this one, the latest first. */
  earlier: readonly Visit[];
}

export interface Work extends Ground {
  answer: Answer;
}

/** Why a step waits, and what would have to be known. */
export interface Wait {
  held: string;
  needs: readonly Need[];
}

/** A calculator alone: scratch values, one member of each collection. */
export function groundAlone(engine: Engine): Ground {
  const members = Object.fromEntries(engine.collections.map((name) => [name, [NO_MEMBER]]));
  return {
    engine,
    visit: null,
    site: null,
    system: null,
    members,
    readings: new Map(),
    earlier: [],
  };
}

export function groundOn(book: Book, visit: Visit, engine: Engine): Ground {
  const readings = valuesOf(book, visit, (id) => carries(engine, id));
  const system = book.systems.get(visit.system) ?? null;
  const members = membersOf(engine, system, readings);
  const site = book.sites.get(visit.site) ?? null;
  return { engine, visit, site, system, members, readings, earlier: earlierVisits(book, visit) };
}

export function evaluate(ground: Ground, typed: Typed = new Map()): Work {
  const { engine, readings, members } = ground;
  return { ...ground, answer: engine.evaluate(valuesFor(engine, readings, typed), members) };
}

const quantities = new WeakMap<Engine, Map<string, Quantity>>();

/** Null for another edition's: such a value is kept and shown, and not computed with. */
export function quantityOf(engine: Engine, id: string): Quantity | null {
  let known = quantities.get(engine);
  if (!known) {
    const all = engine.bundle.quantities;
    const former = all.flatMap((each) => (each.formerly ?? []).map((old) => [old, each] as const));
    known = new Map([...former, ...all.map((each) => [each.id, each] as const)]);
    quantities.set(engine, known);
  }
  return known.get(id) ?? null;
}

/** The collection a quantity has a value for each member of; null where there is one value. */
export function collectionOf(engine: Engine, quantity: string): string | null {
  const scope = quantityOf(engine, quantity)?.scope ?? "visit";
  return engine.collections.includes(scope) ? scope : null;
}

function carries(engine: Engine, id: string): "site" | "system" | "visit" {
  const quantity = quantityOf(engine, id);
  const scope = quantity?.scope ?? "visit";
  if (!quantity || quantity.each_visit || scope === "visit") return "visit";
  return scope === "site" ? "site" : "system";
}

/** Those added to the system, then any that only readings name. */
function membersOf(
  engine: Engine,
  system: System | null,
  readings: ReadonlyMap<string, Reading>,
): Members {
  const members: Record<string, string[]> = {};
  for (const name of engine.collections) members[name] = [];
  for (const { collection, id } of system?.members ?? []) members[collection]?.push(id);
  for (const { quantity, member } of readings.values()) {
    const list = members[collectionOf(engine, quantity) ?? ""];
    if (list && !list.includes(member ?? NO_MEMBER)) list.push(member ?? NO_MEMBER);
  }
  return members;
}

function valuesFor(engine: Engine, readings: ReadonlyMap<string, Reading>, typed: Typed): Values {
  const values: Record<string, Value | Record<string, Value>> = {};
  const put = (id: string, member: string, si: SiValue): void => {
    if (collectionOf(engine, id) === null) {
      values[id] = si;
    } else {
      const of = (values[id] ??= {}) as Record<string, Value>;
      of[member] = si;
    }
  };
  for (const [key, { quantity, member, si }] of readings) {
    if (si !== null && !typed.has(key)) put(quantity, member ?? NO_MEMBER, si);
  }
  for (const [key, si] of typed) {
    const [quantity = "", member = NO_MEMBER] = key.split("\n");
    if (si !== null) put(quantity, member, si);
  }
  return values;
}

/** The collections whose members a calculator speaks of one at a time. */
export function collectionsIn(
  engine: Engine,
  { enter, if_known: maybe = [], show }: Calculator,
): string[] {
  const scopes = [...enter, ...maybe, ...show].map(
    (id) => quantityOf(engine, id)?.scope ?? "visit",
  );
  return engine.collections.filter((name) => scopes.includes(name));
}

/** The calculator whose answer or result it is. */
export function calculatorOf({ bundle }: Engine, quantity: string): Calculator | undefined {
  const { calculators } = bundle;
  return (
    calculators.find(({ show }) => show[0] === quantity) ??
    calculators.find(({ show }) => show.includes(quantity))
  );
}

/** Steps that apply, and those of which it is not known yet. */
export function stepsOf(work: Work, checklist: Checklist): Step[] {
  return checklist.steps.filter(({ when }) => when == null || work.answer.holds(when) !== false);
}

export function isDone(visit: Visit, checklist: string, step: string): boolean {
  const outcome = visit.steps.get(keyOf(checklist, step, null))?.outcome;
  return outcome === "done" || outcome === "not-applicable";
}

/** The steps that must be done before this one and are not; `assumed` is taken to be done. */
export function heldBackBy(work: Work, checklist: Checklist, step: Step, assumed?: string): Step[] {
  const { visit } = work;
  if (!visit) return [];
  return stepsOf(work, checklist).filter(
    ({ id }) => step.after?.includes(id) && id !== assumed && !isDone(visit, checklist.id, id),
  );
}

/** What a step waits for, with what is missing to know it; null where nothing holds it back so. */
export function waitOf({ visit, answer }: Work, step: Step): Wait | null {
  if (!visit || step.needs == null) return null;
  const found = answer.holds(step.needs);
  if (found === true) return null;
  return { held: step.held ?? "", needs: found instanceof Unknown ? found.needs : [] };
}

/** What is no longer so once a step is done: records that take it back, where it stands. */
export function clearedBy({ readings }: Ground, { clears = [] }: Step): ValueSet[] {
  return [...readings.values()]
    .filter(({ quantity }) => clears.includes(quantity))
    .map(({ quantity, member, source }) => ({
      ...{ quantity, member, text: "", unit: null, si: null, origin: "picked" },
      replaces: source.record,
    }));
}

/** The first step that nobody has dealt with, of those that can be done once `after` is. */
export function nextStep(work: Work, checklist: Checklist, after?: string): Step | null {
  const { visit } = work;
  if (!visit) return null;
  const steps = stepsOf(work, checklist);
  const start = steps.findIndex(({ id }) => id === after) + 1;
  const open = [...steps.slice(start), ...steps.slice(0, start)].filter(
    ({ id }) => id !== after && !visit.steps.has(keyOf(checklist.id, id, null)),
  );
  const free = open.find(
    (step) => !waitOf(work, step) && heldBackBy(work, checklist, step, after).length === 0,
  );
  return free ?? open[0] ?? null;
}

/** Calculators of which the visit has some value of its own. */
export function calculatorsUsed({ engine, visit }: Work): Calculator[] {
  if (!visit) return [];
  const kept = [...visit.readings.values()].filter(({ si }) => si !== null);
  const entered = new Set(kept.flatMap(({ quantity }) => quantityOf(engine, quantity)?.id ?? []));
  return engine.bundle.calculators.filter(({ enter, if_known: maybe = [] }) =>
    [...enter, ...maybe].some((id) => entered.has(id)),
  );
}

/** What is kept, as the rules list them; those of other editions last. */
export function readingsInOrder({ engine, readings, members }: Ground): Reading[] {
  const slots = new Map(engine.bundle.quantities.map((quantity, slot) => [quantity, slot]));
  const all = Object.values(members).flat();
  const place = ({ quantity: id, member }: Reading): number[] => {
    const quantity = quantityOf(engine, id);
    return [quantity ? slots.get(quantity)! : Infinity, all.indexOf(member ?? "")];
  };
  return [...readings.values()]
    .map((reading) => ({ reading, at: place(reading) }))
    .sort(({ at: [a, m] }, { at: [b, n] }) => (a === b ? m! - n! : a! < b! ? -1 : 1))
    .map(({ reading }) => reading);
}

const RANK: Verdict[] = ["fail", "unknown", "caution", "pass", "not-applicable"];

/** The verdict that counts among several. */
export function worst(verdicts: readonly Verdict[]): Verdict {
  return RANK.find((each) => verdicts.includes(each)) ?? "not-applicable";
}

/** What this phone's engine found, so that the office's second look can tell a difference. */
export function snapshotOf(work: Work): ResultSnapshot {
  const calculators = calculatorsUsed(work);
  const shown = new Set(calculators.flatMap(({ show }) => show));
  const checks = new Set(calculators.flatMap((calculator) => calculator.checks ?? []));
  const results = [...shown].flatMap((id) => {
    const collection = collectionOf(work.engine, id);
    const members = collection === null ? [null] : (work.members[collection] ?? []);
    return members.map((member) => {
      const value = work.answer.value(id, member ?? undefined);
      const known = !(value instanceof Unknown);
      const of = { quantity: id, ...(member ? { member } : {}) };
      return known ? { ...of, si: value as SiValue } : { ...of, si: null, why: value.why };
    });
  });
  return {
    results,
    checks: work.answer.checks([...checks]).map(({ id, member, verdict }) => ({
      ...{ id, verdict },
      ...(member ? { member } : {}),
    })),
  };
}
