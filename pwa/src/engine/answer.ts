/** The results of one evaluation, read by quantity and member, each to be opened down to its rows. */

import type {
  Case,
  Expr,
  Piece,
  Replaced,
  SourceRef,
  Table,
  Value,
  Verdict,
} from "../generated/bundle.ts";
import { whole } from "./compile.ts";
import type { Inner, Run } from "./compile.ts";
import { isoDay } from "./index.ts";
import type { Engine, Judge, Plan, Values } from "./index.ts";
import { missing, Unknown } from "./unknown.ts";
import type { Need } from "./unknown.ts";

/** Text, or a value to be shown: of a quantity, in its own unit or a named one, or out of a table. */
export type Part =
  string | (Partial<Need> & { readonly value: Value | Unknown; readonly unit?: string });

export interface CheckResult extends Need {
  readonly verdict: Verdict;
  /** The two engines may differ here. */
  readonly borderline: boolean;
  readonly pieces: readonly Part[];
  /** Why the verdict is unknown and what it needs; null where it is known. */
  readonly unknown: Unknown | null;
}

/** One result opened: the formula with its values, the rows, the source, the defaults it rests on. */
export interface Step extends Need {
  readonly value: Value | Unknown;
  readonly formula: string;
  readonly pieces: readonly Part[];
  readonly rows: readonly RowUsed[];
  readonly inputs: readonly Need[];
  readonly source: SourceRef | null;
  readonly pack: string;
  readonly defaults: readonly string[];
  /** What it rests on that a later pack put in the place of an earlier rule. */
  readonly amended: readonly Amended[];
  /** Last days of the rules it rests on, earliest first. */
  readonly until: readonly string[];
}

export interface RowUsed {
  readonly table: string;
  readonly row: number;
  readonly source: SourceRef;
}

export interface Amended {
  readonly id: string;
  readonly pack: string;
  readonly because: string;
}

export class Answer {
  readonly #engine: Engine;
  readonly #run: Run;
  readonly #given: Values;
  /** Where the traces of each collection start. */
  readonly #starts: readonly number[];
  /** Slots whose value was decided on an edge. */
  readonly #edges: readonly number[];

  constructor(
    engine: Engine,
    run: Run,
    given: Values,
    starts: readonly number[],
    edges: readonly number[],
  ) {
    this.#engine = engine;
    this.#run = run;
    this.#given = given;
    this.#starts = starts;
    this.#edges = edges;
  }

  /** A result as records hold it, or unknown; of a collection the first member's if none is named. */
  value(id: string, member?: string): Value | Unknown {
    const plan = this.#plan(id);
    return this.#outer(plan, this.#seen(plan, plan.home, this.#position(plan.home, member)));
  }

  /** The declared defaults that a result rests on. */
  defaulted(id: string, member?: string): string[] {
    return this.#below(id, member).flatMap(({ plan, positions }) =>
      positions.some((at) => this.#isDefault(plan, at)) ? [plan.quantity.id] : [],
    );
  }

  /** The verdict of one check; for a check of a collection the first member's if none is named. */
  check(id: string, member?: string): CheckResult {
    const judge = this.#engine.judges.find(({ check }) => check.id === id);
    if (!judge) throw new RangeError(`no check ${id}`);
    return this.#judge(judge, this.#position(judge.home, member));
  }

  /** The verdicts of these checks, or of all, for every member. */
  checks(ids?: readonly string[]): CheckResult[] {
    return this.#engine.judges
      .filter(({ check }) => !ids || ids.includes(check.id))
      .flatMap((judge) =>
        (this.#run.names[judge.home] ?? [""]).map((_, position) => this.#judge(judge, position)),
      );
  }

  /** Whether a condition of the bundle holds, for the visit or for a member. */
  holds(tree: Expr, member?: string): boolean | Unknown {
    const { names, at } = this.#run;
    const home = member === undefined ? -1 : names.findIndex((keys) => keys.includes(member));
    if (home >= 0) at[home] = this.#position(home, member);
    const scope = this.#engine.collections[home];
    return this.#engine.compiler.build(tree, scope)(this.#run) as boolean | Unknown;
  }

  /** A result opened. */
  step(id: string, member?: string): Step {
    const plan = this.#plan(id);
    const { quantity, home } = plan;
    const position = this.#position(home, member);
    const held = this.#case(plan, position);
    return {
      ...this.#named(quantity.id, home, position),
      value: this.value(id, member),
      formula: held?.formula ?? quantity.formula ?? "",
      pieces: this.#parts(quantity.pieces ?? [], home, position, this.#trace(plan, position)),
      rows: this.#rows(plan, position).map(({ table, row }) => {
        const source = table.marks?.[row]?.source ?? table.source;
        return { table: table.id, row, source };
      }),
      inputs: (quantity.inputs ?? []).map((input) => {
        const { quantity: of, home: its } = this.#engine.plans[input] as Plan;
        return this.#named(of.id, its === home ? home : -1, position);
      }),
      source: held?.source ?? quantity.source ?? null,
      pack: quantity.pack ?? "",
      defaults: this.defaulted(id, member),
      amended: this.#amended(id, member),
      until: this.#until(id, member),
    };
  }

  #amended(id: string, member?: string): Amended[] {
    const found = new Map<string, Amended>();
    const add = (key: string, pack = "", replaced?: Replaced | null) => {
      if (replaced) found.set(key, { id: key, pack, because: replaced.because });
    };
    for (const { plan, positions } of this.#below(id, member)) {
      add(plan.quantity.id, plan.quantity.pack, plan.quantity.replaced);
      for (const { table, row } of positions.flatMap((at) => this.#rows(plan, at))) {
        const mark = table.marks?.[row];
        add(table.id, table.pack, table.replaced);
        add(`${table.id} ${row + 1}`, mark?.pack || table.pack, mark?.replaced);
      }
    }
    return [...found.values()];
  }

  #until(id: string, member?: string): string[] {
    const days = this.#below(id, member).flatMap(({ plan, positions }) => [
      plan.quantity.holds?.until,
      ...positions.map((at) => this.#case(plan, at)?.holds?.until),
    ]);
    return [...new Set(days.filter((day) => day !== undefined && day !== ""))].sort() as string[];
  }

  /** All that a result rests on, itself included: its plans, and which members of theirs. */
  #below(id: string, member?: string): { plan: Plan; positions: number[] }[] {
    const { slot, home } = this.#plan(id);
    const own = [this.#position(home, member)];
    return this.#upstream([slot]).map((below) => {
      const plan = this.#engine.plans[below] as Plan;
      const every = this.#run.names[plan.home]?.map((_, at) => at) ?? [0];
      return { plan, positions: plan.home === home ? own : every };
    });
  }

  #trace(plan: Plan, position: number): readonly Inner[] {
    const start = this.#engine.traceBase(plan, this.#starts, position);
    return this.#run.trace.slice(start, start + 2 * (plan.quantity.traces ?? 0));
  }

  #rows(plan: Plan, position: number): { table: Table; row: number }[] {
    const trace = this.#trace(plan, position);
    return plan.tables.flatMap((table, k) => {
      const row = trace[2 * k] as number | undefined;
      return table && row !== undefined ? [{ table, row }] : [];
    });
  }

  /** The case that held, of a quantity that has several. */
  #case(plan: Plan, position: number): Case | undefined {
    const trace = this.#trace(plan, position);
    return plan.quantity.cases?.find((_, k) => trace[2 * k] === 1);
  }

  #plan(id: string): Plan {
    return this.#engine.plans[this.#engine.slot(id)] as Plan;
  }

  #position(home: number, member?: string): number {
    const position = member === undefined ? 0 : (this.#run.names[home]?.indexOf(member) ?? 0);
    if (position < 0) throw new RangeError(`no member ${member}`);
    return position;
  }

  #named(id: string, home: number, position: number): Need {
    const member = this.#run.names[home]?.[position];
    return member === undefined ? { id } : { id, member };
  }

  /** A value as a formula in the scope of `home` sees it. */
  #seen(plan: Plan, home: number, position: number): Inner {
    const value = this.#run.values[plan.slot] as Inner;
    if (plan.home < 0 || plan.home !== home) return value;
    const own = (value as Inner[])[position];
    return own ?? missing(plan.slot, position, { id: plan.quantity.id });
  }

  #outer({ quantity }: Plan, value: Inner): Value | Unknown {
    const known = whole(value);
    return known instanceof Unknown ? known : this.#read(known, quantity.choices, quantity.type);
  }

  #read(value: Inner, choices = "", type = "number"): Value {
    if (Array.isArray(value))
      return value.map((item) => this.#read(item, choices, type)) as unknown as Value;
    const options = this.#engine.bundle.choices[choices]?.options;
    if (options) return options[value as number]?.value as string;
    return type === "date" ? isoDay(value as number) : (value as Value);
  }

  /** Slots that these rest on, themselves included, in order. */
  #upstream(slots: readonly number[]): number[] {
    const all = new Set(slots);
    for (const slot of all)
      for (const input of this.#engine.bundle.quantities[slot]?.inputs ?? []) all.add(input);
    return [...all].sort((a, b) => a - b);
  }

  #isDefault(plan: Plan, position: number): boolean {
    const { tree, quantity, home } = plan;
    if (tree || quantity.default == null) return false;
    if (this.#seen(plan, home, position) instanceof Unknown) return false;
    const member = this.#run.names[home]?.[position];
    return [quantity.id, ...(quantity.formerly ?? [])].every((id) => {
      const given = this.#given[id];
      const own = member === undefined ? given : (given as Record<string, Value>)?.[member];
      return own == null;
    });
  }

  #judge(judge: Judge, position: number): CheckResult {
    const { check, home } = judge;
    const edges = this.#edges;
    const run = this.#run;
    if (home >= 0) run.at[home] = position;
    run.edge = false;
    const [verdict, unknown] = verdictOf(judge, run);
    const rests = edges.length > 0 ? this.#upstream(check.inputs ?? []) : [];
    return {
      ...this.#named(check.id, home, position),
      verdict,
      borderline: run.edge || rests.some((slot) => edges.includes(slot)),
      pieces: this.#parts(check.says[verdict] ?? [], home, position, []),
      unknown,
    };
  }

  #parts(
    pieces: readonly Piece[],
    home: number,
    position: number,
    trace: readonly Inner[],
  ): Part[] {
    return pieces.flatMap((piece): Part[] => {
      if (typeof piece !== "object") return [String(piece)];
      const [head, at, third, fourth] = piece as [string, number, string, Piece[]];
      if (head === "q") {
        const plan = this.#engine.plans[at] as Plan;
        const named = this.#named(plan.quantity.id, plan.home === home ? home : -1, position);
        const value = this.#outer(plan, this.#seen(plan, home, position));
        return [{ ...named, value, ...(third && { unit: third }) }];
      }
      const taken = trace[head === "if" ? 2 * at : 2 * at + 1];
      if (taken === undefined) return ["?"];
      if (head === "if") {
        const branch = (taken ? third : fourth) as unknown as Piece[];
        return this.#parts(branch, home, position, trace);
      }
      const choices = this.#engine.bundle.choices[third.replace(/^choices:/, "")];
      if (third.startsWith("choices:")) return [choices?.options[taken as number]?.label ?? "?"];
      return [{ value: taken as Value, unit: third }];
    });
  }
}

function verdictOf({ when, fail, caution }: Judge, run: Run): [Verdict, Unknown | null] {
  const applies = when ? when(run) : true;
  if (applies === false) return ["not-applicable", null];
  let held = applies instanceof Unknown ? applies : (fail?.(run) ?? false);
  if (held === true) return ["fail", null];
  if (!(held instanceof Unknown)) held = caution?.(run) ?? false;
  if (held === true) return ["caution", null];
  if (!(held instanceof Unknown)) return ["pass", null];
  return [held.why === "not-applicable" ? "not-applicable" : "unknown", held];
}
