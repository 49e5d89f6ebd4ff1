/** The results of one evaluation, read by quantity and member, each to be opened down to its rows. */

import type {
  Case,
  Expr,
  Piece,
  Quantity,
  SourceRef,
  Table,
  Value,
  Verdict,
} from "../generated/bundle.ts";
import { whole } from "./compile.ts";
import { isoDay } from "./index.ts";
import type { Engine, Judge, Plan, Values } from "./index.ts";
import { get, go, take, there } from "./machine.ts";
import type { Inner, RowRead, Run } from "./machine.ts";
import { missing, Unknown } from "./unknown.ts";
import type { Need } from "./unknown.ts";
import { filled, formulas, functionsIn, inputsOf, slotsIn, written } from "./written.ts";

type Result = Value | Unknown;

/** The last day on which a row holds, "" where it names none. */
function lastDay(table: Table, row: number): string {
  const place = table.columns.findIndex(({ name }) => name === "holds_to");
  return (table.cells[place]?.[row] ?? "") as string;
}

/** Text, or a value to be shown: of a quantity, in its own unit or a named one, or out of a table. */
export type Part = string | (Partial<Need> & { readonly value: Result; readonly unit?: string });

export interface CheckResult extends Need {
  readonly verdict: Verdict;
  /** The two engines may differ here. */
  readonly borderline: boolean;
  readonly pieces: readonly Part[];
  /** Why the verdict is unknown and what it needs; null where it is known. */
  readonly unknown: Unknown | null;
}

export type RowUsed = { readonly table: string; readonly row: number; readonly source: SourceRef };
export type Amended = { readonly id: string; readonly pack: string; readonly because: string };

/** One result opened: the formula with its values, the rows, the source, and what it rests on. */
export interface Step extends Need {
  readonly value: Result;
  readonly formula: string;
  readonly pieces: readonly Part[];
  readonly rows: readonly RowUsed[];
  readonly inputs: readonly Need[];
  readonly source: SourceRef | null;
  readonly pack: string;
  /** Declared defaults. */
  readonly defaults: readonly string[];
  /** What a later pack put in the place of an earlier rule. */
  readonly amended: readonly Amended[];
  /** Last days of rules and rows, earliest first. */
  readonly until: readonly string[];
}

/** One value: of a quantity, of the member at this position of its collection. */
interface Spot {
  readonly plan: Plan;
  readonly at: number;
}

/** What its formula went through: its trace, and the rows it read, each once. */
interface Opened {
  readonly plan: Plan;
  readonly trace: readonly Inner[];
  readonly rows: readonly RowRead[];
}

/** The case that held, of a quantity that has several. */
function caseOf({ plan, trace }: Opened): Case | undefined {
  return plan.quantity.cases?.find((_, k) => trace[k] === 1);
}

export class Answer {
  readonly #engine: Engine;
  readonly #run: Run;
  readonly #given: Values;

  constructor(engine: Engine, run: Run, given: Values) {
    this.#engine = engine;
    this.#run = run;
    this.#given = given;
  }

  /** A result as records hold it, or unknown; of a collection the first member's if none is named. */
  value(id: string, member?: string): Result {
    const { plan, at } = this.#spot(id, member);
    return this.#result(plan, at);
  }

  /**
   * The results of these quantities, in turn; of a collection the chosen member's, else the first one's.
   * Asked together they cost less, most of all when the same list is asked of many evaluations.
   */
  values(ids: readonly string[], chosen: Readonly<Record<string, string>> = {}): Result[] {
    const [plans, code] = this.#engine.asked(ids);
    const run = this.#run;
    this.#engine.machine.fit(run);
    go(code, run);
    const found = new Array<Result>(plans.length);
    for (let k = 0; k < plans.length; k++) {
      const plan = plans[k]!;
      const x = run.numbers[plan.slot]!;
      if (plan.number && x === x) found[k] = x;
      else {
        const member = chosen[plan.quantity.scope ?? ""];
        found[k] = this.#result(plan, this.#position(plan.home, member));
      }
    }
    return found;
  }

  #result(plan: Plan, at: number): Result {
    const value = this.#seen(plan, plan.home, at);
    return plan.number && typeof value === "number" ? value : this.#outer(plan, value);
  }

  /** The declared defaults that a result rests on. */
  defaulted(id: string, member?: string): string[] {
    const found = this.#below(this.#spot(id, member)).filter((spot) => this.#isDefault(spot));
    return [...new Set(found.map(({ plan }) => plan.quantity.id))];
  }

  /** The verdict of one check; for a check of a collection the first member's if none is named. */
  check(id: string, member?: string): CheckResult {
    const check = this.#engine.bundle.checks.find((each) => each.id === id);
    if (!check) throw new RangeError(`no check ${id}`);
    const judge = this.#engine.judge(check);
    return this.#judge(judge, this.#position(judge.home, member));
  }

  /** The verdicts of these checks, or of all, for every member. */
  checks(ids?: readonly string[]): CheckResult[] {
    return this.#engine.bundle.checks
      .filter(({ id }) => !ids || ids.includes(id))
      .map((check) => this.#engine.judge(check))
      .flatMap((judge) => this.#members(judge.home).map((_, at) => this.#judge(judge, at)));
  }

  /** Whether a condition of the bundle holds, for the visit or for a member. */
  holds(tree: Expr, member?: string): boolean | Unknown {
    const { names, at } = this.#run;
    const home = member === undefined ? -1 : names.findIndex((keys) => keys.includes(member));
    const scope = this.#engine.collections[home];
    const block = this.#engine.compiler.build(tree, scope);
    this.#fill(slotsIn(tree));
    if (home >= 0) at[home] = this.#position(home, member);
    const held = take(block, this.#run);
    this.#run.edge = false;
    return held instanceof Unknown ? held : held === 1;
  }

  /** A result opened. */
  step(id: string, member?: string): Step {
    const spot = this.#spot(id, member);
    const { quantity, home } = spot.plan;
    const { bundle } = this.#engine;
    const own = this.#opened(spot);
    const held = caseOf(own);
    const texts = formulas(quantity).map((tree) => written(bundle, tree));
    const below = this.#below(spot).map((each) => this.#opened(each));
    const days = below.flatMap((each) => [
      each.plan.quantity.holds?.until,
      caseOf(each)?.holds?.until,
      ...each.rows.map(([table, row]) => lastDay(table, row)),
    ]);
    return {
      ...this.#named(quantity.id, home, spot.at),
      value: this.value(id, member),
      formula: (held ? [texts[quantity.cases!.indexOf(held)]] : texts).join("; "),
      pieces: this.#parts(filled(bundle, quantity.tree), home, spot.at, own.trace),
      rows: own.rows.map(([table, row]) => {
        const source = table.marks?.[row]?.source ?? table.source;
        return { table: table.id, row, source };
      }),
      inputs: inputsOf(quantity).map((slot) => this.#input(slot, home, spot.at)),
      source: held?.source ?? quantity.source ?? null,
      pack: quantity.pack ?? "",
      defaults: this.defaulted(id, member),
      amended: this.#amended(below),
      until: [...new Set(days)].filter((day) => day !== undefined && day !== "").sort() as string[],
    };
  }

  #amended(below: readonly Opened[]): Amended[] {
    const found = new Map<string, Amended>();
    const add = (id: string, pack = "", replaced?: { readonly because: string } | null) =>
      replaced && found.set(id, { id, pack, because: replaced.because });
    for (const { plan, rows } of below) {
      const { quantity } = plan;
      add(quantity.id, quantity.pack, quantity.replaced);
      for (const each of functionsIn(this.#engine.bundle, quantity.tree, quantity.when))
        add(each.id, each.pack, each.replaced);
      const { choices = "" } = quantity;
      const list = this.#engine.bundle.choices[choices];
      add(choices, list?.pack, list?.replaced);
      for (const [table, row] of rows) {
        const mark = table.marks?.[row];
        add(table.id, table.pack, table.replaced);
        add(`${table.id} ${row + 1}`, mark?.pack || table.pack, mark?.replaced);
      }
    }
    return [...found.values()];
  }

  /** Sources in dispute that a result rests on, however far back. */
  disputed(id: string, member?: string): SourceRef[] {
    return this.#disputes(this.#below(this.#spot(id, member)));
  }

  /** The same of a verdict. */
  disputedIn({ id, member }: Need): SourceRef[] {
    const check = this.#engine.bundle.checks.find((each) => each.id === id)!;
    const { home, inputs } = this.#engine.judge(check);
    return this.#disputes(this.#from(inputs, home, this.#position(home, member)));
  }

  #disputes(spots: readonly Spot[]): SourceRef[] {
    const found = new Map<string, SourceRef>();
    for (const spot of spots) {
      const opened = this.#opened(spot);
      const rows = opened.rows.map(([table, row]) => table.marks?.[row]?.source ?? table.source);
      for (const source of [caseOf(opened)?.source ?? spot.plan.quantity.source, ...rows])
        if (source?.mark === "disputed") found.set(`${source.of} ${source.place}`, source);
    }
    return [...found.values()];
  }

  #spot(id: string, member?: string): Spot {
    const plan = this.#engine.plan(this.#engine.slot(id));
    return { plan, at: this.#position(plan.home, member) };
  }

  #position(home: number, member?: string): number {
    const at = member === undefined ? 0 : (this.#run.names[home]?.indexOf(member) ?? 0);
    if (at < 0) throw new RangeError(`no member ${member}`);
    return at;
  }

  #members(home: number): readonly string[] {
    return this.#run.names[home] ?? [""];
  }

  #named(id: string, home: number, at: number): Need {
    const member = this.#run.names[home]?.[at];
    return member === undefined ? { id } : { id, member };
  }

  /** A quantity as an item of the collection `home` names it. */
  #input(slot: number, home: number, at: number): Need {
    const plan = this.#engine.plan(slot);
    return this.#named(plan.quantity.id, plan.home === home ? home : -1, at);
  }

  #fill(slots: readonly number[]): void {
    this.#engine.machine.fit(this.#run);
    for (const slot of slots)
      if (!there(this.#run, slot)) this.#engine.fill(this.#run, this.#engine.plan(slot));
  }

  /** A value as a formula in the scope of `home` sees it. */
  #seen(plan: Plan, home: number, at: number): Inner {
    const run = this.#run;
    if (!there(run, plan.slot)) this.#engine.fill(run, plan);
    const value = get(run, plan.slot);
    if (plan.home < 0 || plan.home !== home) return value;
    return (value as Inner[])[at] ?? missing.of(plan.slot, at, { id: plan.quantity.id });
  }

  #outer({ quantity }: Plan, value: Inner): Result {
    const known = whole(value);
    return known instanceof Unknown ? known : this.#read(known, quantity.choices, quantity.type);
  }

  #read(value: Inner, choices = "", type = "number"): Value {
    if (Array.isArray(value))
      return value.map((item) => this.#read(item, choices, type)) as unknown as Value;
    if (choices)
      return this.#engine.bundle.choices[choices]?.options[value as number]?.value as string;
    if (type === "flag") return value === 1;
    return type === "date" ? isoDay(value as number) : (value as Value);
  }

  /** Slots that these rest on, themselves included, in order. */
  #upstream(slots: readonly number[]): number[] {
    const all = new Set(slots);
    for (const slot of all)
      for (const input of inputsOf(this.#engine.bundle.quantities[slot] as Quantity))
        all.add(input);
    return [...all].sort((a, b) => a - b);
  }

  /** What a value rests on, itself included: of its own collection the same member, of others all. */
  #below({ plan, at }: Spot): Spot[] {
    return this.#from([plan.slot], plan.home, at);
  }

  #from(slots: readonly number[], home: number, at: number): Spot[] {
    return this.#upstream(slots).flatMap((slot) => {
      const below = this.#engine.plan(slot);
      if (below.home === home) return [{ plan: below, at }];
      return this.#members(below.home).map((_, each) => ({ plan: below, at: each }));
    });
  }

  #isDefault({ plan, at }: Spot): boolean {
    const { id, default: value, formerly = [] } = plan.quantity;
    if (plan.tree || value == null) return false;
    if (this.#seen(plan, plan.home, at) instanceof Unknown) return false;
    const member = this.#run.names[plan.home]?.[at];
    return [id, ...formerly].every((name) => {
      const given = this.#given[name];
      return (member === undefined ? given : (given as Record<string, Value>)?.[member]) == null;
    });
  }

  /** Made when a result is opened: the same steps over the same values go the same way. */
  #opened({ plan, at }: Spot): Opened {
    const run = this.#run;
    this.#fill([plan.slot]);
    if (plan.home >= 0) run.at[plan.home] = at;
    const [trace, rows, scratch] = [[] as Inner[], [] as RowRead[], run.trace];
    run.trace = trace;
    if (!plan.when || take(plan.when, run) === 1) {
      run.rows = rows;
      if (plan.tree) take(plan.tree, run);
      run.rows = null;
    }
    run.trace = scratch;
    run.edge = false;
    return { plan, trace, rows: rows.filter(first) };
  }

  #judge(judge: Judge, at: number): CheckResult {
    const { check, home, inputs } = judge;
    const run = this.#run;
    this.#fill(inputs);
    if (home >= 0) run.at[home] = at;
    run.edge = false;
    const [verdict, unknown] = verdictOf(judge, run);
    const { edge } = run;
    run.edge = false;
    const rests = run.edges.length > 0 ? this.#upstream(inputs) : [];
    return {
      ...this.#named(check.id, home, at),
      verdict,
      borderline: edge || rests.some((slot) => run.edges.includes(slot)),
      pieces: this.#parts(check.says[verdict] ?? [], home, at, []),
      unknown,
    };
  }

  #parts(
    pieces: readonly Piece[],
    home: number,
    at: number,
    trace: readonly Inner[],
  ): readonly Part[] {
    return pieces.flatMap((piece): readonly Part[] => {
      if (typeof piece !== "object") return [String(piece)];
      const [head, index, third, fourth] = piece as [string, number, string, Piece[]];
      if (head === "q") {
        const plan = this.#engine.plan(index);
        const value = this.#outer(plan, this.#seen(plan, home, at));
        return [{ ...this.#input(index, home, at), value, ...(third && { unit: third }) }];
      }
      const taken = trace[index];
      if (taken === undefined) return ["?"];
      if (head === "if") return this.#parts((taken ? third : fourth) as Piece[], home, at, trace);
      if (third === "flag") return [{ value: taken === 1, unit: third }];
      if (!third.startsWith("choices:")) return [{ value: taken as Value, unit: third }];
      const choices = this.#engine.bundle.choices[third.slice("choices:".length)];
      return [choices?.options[taken as number]?.label ?? "?"];
    });
  }
}

/** Whether a row is not listed before. */
function first([table, row]: RowRead, k: number, all: readonly RowRead[]): boolean {
  return all.findIndex(([other, place]) => other === table && place === row) === k;
}

function verdictOf({ when, fail, caution }: Judge, run: Run): [Verdict, Unknown | null] {
  const applies = when ? take(when, run) : 1;
  if (applies === 0) return ["not-applicable", null];
  let held = applies instanceof Unknown ? applies : fail ? take(fail, run) : 0;
  if (held === 1) return ["fail", null];
  if (!(held instanceof Unknown)) held = caution ? take(caution, run) : 0;
  if (held === 1) return ["caution", null];
  if (!(held instanceof Unknown)) return ["pass", null];
  return [held.why === "not-applicable" ? "not-applicable" : "unknown", held];
}
