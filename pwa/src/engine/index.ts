/** Evaluate a whole bundle over the values of one visit. Public: `Engine`, `Answer`, `Unknown`. */

import type { Bundle, Check, Expr, Quantity, Table, Value } from "../generated/bundle.ts";
import { Answer } from "./answer.ts";
import { Compiler, whole } from "./compile.ts";
import type { Inner, Run, Thunk } from "./compile.ts";
import { close, round12 } from "./numbers.ts";
import type { Cell, Cells } from "./tables.ts";
import { missing, outside, Unknown } from "./unknown.ts";

export { Answer, Unknown };
export type { CheckResult, Part, Step } from "./answer.ts";
export type { Detail, Need } from "./unknown.ts";

/** Quantity id to its SI value, or for a quantity of a collection member key to SI value. */
export type Values = Readonly<Record<string, Value | Readonly<Record<string, Value>>>>;
/** Collection to the keys of its members. */
export type Members = Readonly<Record<string, readonly string[]>>;

/** A quantity made ready: where it is kept and how it comes about. */
export interface Plan {
  readonly slot: number;
  readonly quantity: Quantity;
  /** Index of its collection; -1: there is one value. */
  readonly home: number;
  /** Where its trace starts, among those of the visit or of one member. */
  readonly base: number;
  readonly when: Thunk | null;
  readonly tree: Thunk | null;
  readonly low: number;
  readonly high: number;
  /** The table behind each TRACE. */
  readonly tables: readonly (Table | undefined)[];
}

export interface Judge {
  readonly check: Check;
  readonly home: number;
  readonly when: Thunk | null;
  readonly fail: Thunk | null;
  readonly caution: Thunk | null;
}

const LIMITED: readonly string[] = ["number", "count", "list"];

/** A date as records hold it. */
export function isoDay(seconds: number): string {
  return new Date(seconds * 1000).toISOString().slice(0, 10);
}

function secondsOf(day: Value): number {
  const seconds = Date.parse(`${String(day)}T00:00:00Z`) / 1000;
  return Number.isFinite(seconds) && isoDay(seconds) === day ? seconds : NaN;
}

/** A bundle made ready: trees compiled to closures, tables indexed. Reusable. */
export class Engine {
  readonly bundle: Bundle;
  readonly plans: readonly Plan[];
  readonly judges: readonly Judge[];
  readonly collections: readonly string[];
  readonly compiler: Compiler;
  readonly #home: ReadonlyMap<string, number>;
  readonly #slots: ReadonlyMap<string, number>;
  readonly #options: ReadonlyMap<string, ReadonlyMap<string, number>>;
  /** How long the trace of the visit is, and at [home] that of one member. */
  readonly #traces: number[];
  readonly #blank: readonly Inner[];
  readonly #membered: readonly Plan[];
  readonly #computed: readonly Plan[];

  constructor(bundle: Bundle) {
    this.bundle = bundle;
    this.collections = Object.keys(bundle.collections);
    this.#home = new Map(this.collections.map((name, home) => [name, home]));
    this.#traces = [...this.collections, ""].map(() => 0);
    this.#options = new Map(
      Object.entries(bundle.choices).map(([name, { options }]) => [
        name,
        new Map(options.map(({ value }, position) => [value, position])),
      ]),
    );
    const cells = bundle.tables.map((table) => this.#cells(table));
    this.compiler = new Compiler(bundle, this.#home, cells);
    this.plans = bundle.quantities.map((quantity, slot) => this.#plan(quantity, slot));
    this.judges = bundle.checks.map((check) => ({
      check,
      home: this.#home.get(check.scope ?? "") ?? -1,
      when: this.#tree(check.when, check.scope),
      fail: this.#tree(check.fail, check.scope),
      caution: this.#tree(check.caution, check.scope),
    }));
    const names = this.plans.map(({ quantity, slot }) => [quantity.id, slot] as const);
    const former = this.plans.flatMap(({ quantity, slot }) =>
      (quantity.formerly ?? []).map((id) => [id, slot] as const),
    );
    this.#slots = new Map([...former, ...names]);
    this.#blank = this.plans.map((plan) => this.#unfilled(plan));
    this.#membered = this.plans.filter(({ home }) => home >= 0);
    this.#computed = bundle.order
      .map((slot) => this.plans[slot] as Plan)
      .filter(({ tree, when }) => tree || when);
  }

  #tree(tree: Expr | null | undefined, scope?: string, tables?: Table[]): Thunk | null {
    return tree == null ? null : this.compiler.build(tree, scope, tables);
  }

  #plan(quantity: Quantity, slot: number): Plan {
    const tables: Table[] = [];
    const { scope, type = "number" } = quantity;
    const limits = LIMITED.includes(type) ? quantity.limits : null;
    const home = this.#home.get(scope ?? "") ?? -1;
    const kind = home < 0 ? this.collections.length : home;
    const base = this.#traces[kind] as number;
    this.#traces[kind] = base + 2 * (quantity.traces ?? 0);
    return {
      slot,
      quantity,
      home,
      base,
      when: this.#tree(quantity.when, scope),
      tree: this.#tree(quantity.tree, scope, tables),
      low: limits?.[0] ?? -Number.MAX_VALUE,
      high: limits?.[1] ?? Number.MAX_VALUE,
      tables,
    };
  }

  #cells(table: Table): Cells {
    return table.cells.map((cells, column) => {
      const { type, choices } = table.columns[column] ?? {};
      return cells.map((cell) => (cell === null ? null : this.#inner(cell, type, choices)) as Cell);
    });
  }

  /** A value as records hold it to a value as formulas compute with it. */
  #inner(value: Value, type: Quantity["type"] = "number", choices = ""): Inner {
    let inner: Inner | undefined;
    if (type === "choice") inner = this.#options.get(choices)?.get(String(value));
    else if (type === "flag") inner = typeof value === "boolean" ? value : undefined;
    else if (type === "text") inner = typeof value === "string" ? value : undefined;
    else {
      const x = type === "date" ? secondsOf(value) : value;
      inner = typeof x === "number" && x - x === 0 ? round12(x) : undefined;
    }
    return inner ?? outside({ code: "no-option" });
  }

  /** A value of an entered quantity, or unknown where it is none or is out of its limits. */
  #entered(plan: Plan, value: Value): Inner {
    const { type = "number", choices } = plan.quantity;
    if (type === "number" && typeof value === "number") return within(plan, round12(value));
    if (type !== "list" && type !== "series")
      return within(plan, this.#inner(value, type, choices));
    const none = outside({ code: "no-option" });
    const item = (x: Value) => this.#inner(x, choices ? "choice" : "number", choices);
    const point = (x: Value) => (Array.isArray(x) && x.length === 2 ? whole(x.map(item)) : none);
    if (!Array.isArray(value)) return none;
    return within(plan, value.map(type === "series" ? point : item));
  }

  /** What a quantity is when nothing is given: missing, or its declared default. */
  #unfilled(plan: Plan, position = 0, member?: string): Inner {
    const { id, default: value } = plan.quantity;
    if (value != null) return this.#entered(plan, value);
    return missing(plan.slot, position, member === undefined ? { id } : { id, member });
  }

  /** The slot of a quantity by its name or a former one. Throws when there is none. */
  slot(id: string): number {
    const slot = this.#slots.get(id);
    if (slot === undefined) throw new RangeError(`no quantity ${id}`);
    return slot;
  }

  quantity(id: string): Quantity {
    return this.bundle.quantities[this.slot(id)] as Quantity;
  }

  /** All results of these values. Quantities of other editions are passed over. */
  evaluate(values: Values, members: Members = {}): Answer {
    const names: (readonly string[])[] = [];
    const at: number[] = [];
    const starts: number[] = [];
    let traces = this.#traces[this.collections.length] as number;
    for (let home = 0; home < this.collections.length; home++) {
      const keys = members[this.collections[home] as string] ?? [];
      names.push(keys);
      at.push(0);
      starts.push(traces);
      traces += keys.length * (this.#traces[home] as number);
    }
    const run: Run = {
      values: this.#blank.slice(),
      names,
      at,
      bound: [],
      cells: [],
      row: 0,
      trace: new Array<Inner>(traces),
      base: 0,
      edge: false,
    };
    for (const plan of this.#membered)
      run.values[plan.slot] = (names[plan.home] as readonly string[]).map((member, position) =>
        this.#unfilled(plan, position, member),
      );
    for (const id in values) this.#take(run, id, values[id] as Values[string]);
    const edges: number[] = [];
    for (let k = 0; k < this.#computed.length; k++) {
      const plan = this.#computed[k] as Plan;
      const slot = plan.slot;
      if (plan.home < 0) {
        run.base = plan.base;
        run.values[slot] = compute(plan, run, run.values[slot] as Inner);
      } else {
        const row = run.values[slot] as Inner[];
        for (let position = 0; position < row.length; position++) {
          run.at[plan.home] = position;
          run.base = this.traceBase(plan, starts, position);
          row[position] = compute(plan, run, row[position] as Inner);
        }
      }
      if (run.edge) edges.push(slot);
      run.edge = false;
    }
    return new Answer(this, run, values, starts, edges);
  }

  /** Where the trace of a quantity starts, of the member at this position. */
  traceBase({ home, base }: Plan, starts: readonly number[], position: number): number {
    if (home < 0) return base;
    return base + (starts[home] as number) + position * (this.#traces[home] as number);
  }

  #take(run: Run, id: string, value: Values[string]): void {
    const plan = this.plans[this.#slots.get(id) ?? this.plans.length];
    if (!plan || plan.tree || value == null) return;
    if (plan.home < 0) {
      run.values[plan.slot] = this.#entered(plan, value as Value);
      return;
    }
    const row = run.values[plan.slot] as Inner[];
    (run.names[plan.home] as readonly string[]).forEach((member, position) => {
      const own = (value as Readonly<Record<string, Value>>)[member];
      if (own != null) row[position] = this.#entered(plan, own);
    });
  }
}

function compute(plan: Plan, run: Run, entered: Inner): Inner {
  if (plan.when) {
    const applies = plan.when(run);
    if (applies instanceof Unknown) return applies;
    if (!applies) return new Unknown("not-applicable", { code: "when" });
  }
  return plan.tree ? within(plan, plan.tree(run)) : entered;
}

/** The value, or unknown where it is out of the limits of its quantity. Short, to be inlined. */
function within(plan: Plan, value: Inner): Inner {
  return typeof value === "number" && value >= plan.low && value <= plan.high
    ? value
    : judged(plan, value);
}

function judged(plan: Plan, value: Inner): Inner {
  if (Array.isArray(value))
    return whole(plan.quantity.type === "list" ? value.map((x) => within(plan, x)) : value);
  if (typeof value !== "number" || close(value, plan.low) || close(value, plan.high)) return value;
  const edge = value < plan.low ? plan.low : plan.high;
  return outside({ code: "limits", quantity: plan.quantity.id, edge });
}
