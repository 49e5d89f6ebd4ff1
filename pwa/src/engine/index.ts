/** Evaluate a whole bundle over the values of one visit. Public: `Engine`, `Answer`, `Unknown`. */

import type { Bundle, Check, Expr, Quantity, Table, Value } from "../generated/bundle.ts";
import { Answer } from "./answer.ts";
import { Compiler, whole } from "./compile.ts";
import type { Inner, Run, Thunk } from "./compile.ts";
import { close, round12 } from "./numbers.ts";
import type { Cell, Cells } from "./tables.ts";
import { missing, outside, Unknown } from "./unknown.ts";
import type { Need } from "./unknown.ts";

export { Answer, Unknown };
export type { Amended, CheckResult, Part, RowUsed, Step } from "./answer.ts";
export type { Detail, Need } from "./unknown.ts";

/** Quantity id to its SI value, or for a quantity of a collection member key to SI value. */
export type Values = Readonly<Record<string, Value | Readonly<Record<string, Value>>>>;
/** Collection to the keys of its members. */
export type Members = Readonly<Record<string, readonly string[]>>;

/** The closures of an item. `home` is the index of its collection; -1: it has one value. */
interface Trees {
  readonly home: number;
  readonly when: Thunk | null;
  readonly tree: Thunk | null;
  readonly fail: Thunk | null;
  readonly caution: Thunk | null;
}

export interface Plan extends Trees {
  readonly slot: number;
  readonly quantity: Quantity;
  readonly low: number;
  readonly high: number;
}

export interface Judge extends Trees {
  readonly check: Check;
}

const DAY = /^(?!0000)\d{4}-\d{2}-\d{2}$/;
const LIMITED: readonly string[] = ["number", "count", "list"];

/** A date as records hold it. */
export function isoDay(seconds: number): string {
  return new Date(seconds * 1000).toISOString().slice(0, 10);
}

function secondsOf(day: unknown): number {
  if (typeof day !== "string" || !DAY.test(day)) return NaN;
  const seconds = Date.parse(`${day}T00:00:00Z`) / 1000;
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
  readonly #slots = new Map<string, number>();
  readonly #options = new Map<string, Map<string, number>>();
  /** What there is when nothing is given. */
  readonly #blank: readonly Inner[];
  readonly #membered: readonly Plan[];
  readonly #computed: readonly Plan[];
  /** Places to write, used again by every evaluation. */
  readonly #scratch = { at: [], bound: [], trace: [] };

  constructor(bundle: Bundle) {
    this.bundle = bundle;
    this.collections = Object.keys(bundle.collections);
    this.#home = new Map(this.collections.map((name, home) => [name, home]));
    for (const [name, { options }] of Object.entries(bundle.choices))
      this.#options.set(name, new Map(options.map(({ value }, position) => [value, position])));
    const cells = bundle.tables.map((table) => this.#cells(table));
    this.compiler = new Compiler(bundle, this.#home, cells);
    this.plans = bundle.quantities.map((quantity, slot) => {
      const limits = LIMITED.includes(quantity.type ?? "number") ? quantity.limits : null;
      const [low, high] = limits ?? [-Number.MAX_VALUE, Number.MAX_VALUE];
      return { slot, quantity, low, high, ...this.#trees(quantity) };
    });
    this.judges = bundle.checks.map((check) => ({ check, ...this.#trees(check) }));
    for (const { slot, quantity } of this.plans)
      for (const id of quantity.formerly ?? []) this.#slots.set(id, slot);
    for (const { slot, quantity } of this.plans) this.#slots.set(quantity.id, slot);
    const constants = Object.freeze(this.compiler.constants);
    this.#blank = [...this.plans.map((plan) => this.#unfilled(plan)), ...constants];
    this.#membered = this.plans.filter(({ home }) => home >= 0);
    const ordered = bundle.order.map((slot) => this.plans[slot] as Plan);
    this.#computed = ordered.filter(({ tree, when }) => tree || when);
  }

  #trees(of: Pick<Quantity & Check, "scope" | "when" | "tree" | "fail" | "caution">): Trees {
    const { scope = "visit" } = of;
    const build = (tree: Expr | null = null) =>
      tree === null ? null : this.compiler.build(tree, scope);
    return {
      home: this.#home.get(scope) ?? -1,
      when: build(of.when),
      tree: build(of.tree),
      fail: build(of.fail),
      caution: build(of.caution),
    };
  }

  #cells(table: Table): Cells {
    return table.cells.map((cells, column) => {
      const { type, choices } = table.columns[column] ?? {};
      return cells.map((cell) => (cell === null ? null : this.#inner(cell, type, choices)) as Cell);
    });
  }

  /** A value as records hold it to a value as formulas compute with it; undefined where it is no such value. */
  #inner(value: unknown, type: Quantity["type"] = "number", choices = ""): Inner | undefined {
    if (type === "choice") return this.#options.get(choices)?.get(value as string);
    if (type === "flag") return typeof value === "boolean" ? value : undefined;
    if (type === "text") return typeof value === "string" ? value : undefined;
    if (type === "list" || type === "series") {
      if (!Array.isArray(value)) return undefined;
      const items = value.map((item: unknown) => {
        if (type === "list") return this.#inner(item, choices ? "choice" : "number", choices);
        return Array.isArray(item) && item.length === 2 ? this.#inner(item, "list") : undefined;
      });
      return items.includes(undefined) ? undefined : (items as Inner[]);
    }
    const x = type === "date" ? secondsOf(value) : value;
    return typeof x === "number" && x - x === 0 ? round12(x) : undefined;
  }

  /** A value of an entered quantity, or unknown where it is none or is out of its limits. */
  #entered(plan: Plan, value: unknown, position: number, member?: string): Inner {
    const { type, choices } = plan.quantity;
    const inner = this.#inner(value, type, choices);
    const found = inner === undefined ? outside({ code: "no-option" }) : within(plan, inner);
    return found instanceof Unknown
      ? found.of(plan.slot, position, this.#need(plan, member))
      : found;
  }

  #need({ quantity: { id } }: Plan, member?: string): Need {
    return member === undefined ? { id } : { id, member };
  }

  /** What a quantity is when nothing is given: missing, or its declared default. */
  #unfilled(plan: Plan, position = 0, member?: string): Inner {
    const { default: value } = plan.quantity;
    if (value != null) return this.#entered(plan, value, position, member);
    return missing(plan.slot, position, this.#need(plan, member));
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
    for (const name of this.collections) names.push(members[name] ?? []);
    const { at, bound, trace } = this.#scratch;
    const all = this.#blank.slice();
    const run: Run = {
      values: all,
      names,
      at,
      bound,
      trace,
      cells: [],
      row: 0,
      rows: null,
      edge: false,
    };
    for (const plan of this.#membered)
      all[plan.slot] = (names[plan.home] as readonly string[]).map((member, position) =>
        this.#unfilled(plan, position, member),
      );
    for (const id in values) this.#take(run, id, values[id] as Values[string]);
    const edges: number[] = [];
    for (let k = 0; k < this.#computed.length; k++) {
      const plan = this.#computed[k] as Plan;
      const value = all[plan.slot] as Inner;
      if (plan.home < 0) all[plan.slot] = compute(plan, run, value);
      else {
        const own = value as Inner[];
        for (let position = 0; position < own.length; position++) {
          run.at[plan.home] = position;
          own[position] = compute(plan, run, own[position] as Inner);
        }
      }
      if (run.edge) edges.push(plan.slot);
      run.edge = false;
    }
    return new Answer(this, run, values, edges);
  }

  #take(run: Run, id: string, value: Values[string]): void {
    const plan = this.plans[this.#slots.get(id) ?? this.plans.length];
    if (!plan || plan.tree || value == null) return;
    if (plan.home < 0) {
      run.values[plan.slot] = this.#entered(plan, value, 0);
      return;
    }
    if (typeof value !== "object" || Array.isArray(value)) return;
    const own = run.values[plan.slot] as Inner[];
    (run.names[plan.home] as readonly string[]).forEach((member, position) => {
      const given = (value as Readonly<Record<string, Value>>)[member];
      if (given != null) own[position] = this.#entered(plan, given, position, member);
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
