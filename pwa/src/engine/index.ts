/** Evaluate a whole bundle over the values of one visit. Public: `Engine`, `Answer`, `Unknown`. */

import type { Bundle, Check, Expr, Quantity, Table, Value } from "../generated/bundle.ts";
import { Answer } from "./answer.ts";
import { Compiler, whole } from "./compile.ts";
import { ASK, go, KEEP, Machine, plain, put, take, there } from "./machine.ts";
import type { Block, Code, Inner, Run } from "./machine.ts";
import { close, round12 } from "./numbers.ts";
import type { Cell, Cells } from "./tables.ts";
import { missing, outside, Unknown } from "./unknown.ts";
import type { Need } from "./unknown.ts";
import { inputsOf } from "./written.ts";

export { Answer, Unknown };
export type { Amended, CheckResult, Part, RowUsed, Step } from "./answer.ts";
export type { Detail, Need } from "./unknown.ts";

/** Member key to its SI value. */
type Given = Readonly<Record<string, Value>>;
/** Quantity id to its SI value, or for a quantity of a collection member key to SI value. */
export type Values = Readonly<Record<string, Value | Given>>;
/** Collection to the keys of its members. */
export type Members = Readonly<Record<string, readonly string[]>>;

/** The steps of an item and the slots they read. `home` is the index of its collection; -1: it has one value. */
interface Trees {
  readonly home: number;
  readonly inputs: readonly number[];
  readonly when: Block | null;
  readonly tree: Block | null;
  readonly fail: Block | null;
  readonly caution: Block | null;
}

export interface Plan extends Trees {
  readonly slot: number;
  readonly quantity: Quantity;
  readonly low: number;
  readonly high: number;
  /** It is a number inside the engine and outside. */
  readonly number: boolean;
  /** What is typed of it is its one value. */
  readonly typed: boolean;
  /** What gives it its value, once there is what it rests on. */
  readonly code: Code;
}

export interface Judge extends Trees {
  readonly check: Check;
}

const DAY = /^(?!0000)\d{4}-\d{2}-\d{2}$/;
const NUMBERS: readonly string[] = ["number", "count"];
const NOTHING: Code = [];
const LIMITED: readonly string[] = [...NUMBERS, "list"];

/** A date as records hold it. */
export function isoDay(seconds: number): string {
  return new Date(seconds * 1000).toISOString().slice(0, 10);
}

function secondsOf(day: unknown): number {
  if (typeof day !== "string" || !DAY.test(day)) return NaN;
  const seconds = Date.parse(`${day}T00:00:00Z`) / 1000;
  return Number.isFinite(seconds) && isoDay(seconds) === day ? seconds : NaN;
}

/**
 * A bundle in use. Trees become steps, and tables are indexed, when first something asks for
 * them: a calculator needs few of them, and a phone that opens needs none. Reusable.
 */
export class Engine {
  readonly bundle: Bundle;
  readonly collections: readonly string[];
  readonly compiler: Compiler;
  readonly machine = new Machine();
  readonly home: ReadonlyMap<string, number>;
  readonly #slots = new Map<string, number>();
  readonly #options = new Map<string, Map<string, number>>();
  readonly #tables = new Map<Table, Cells>();
  readonly #plans: (Plan | undefined)[];
  readonly #judges = new Map<string, Judge>();
  readonly #together = new WeakMap<readonly string[], readonly [readonly Plan[], Code]>();
  /** Places to write, used again by every evaluation. */
  readonly #scratch = { at: [], trace: [] };

  constructor(bundle: Bundle) {
    this.bundle = bundle;
    this.collections = Object.keys(bundle.collections);
    this.home = new Map(this.collections.map((name, home) => [name, home]));
    for (const [name, { options }] of Object.entries(bundle.choices))
      this.#options.set(name, new Map(options.map(({ value }, position) => [value, position])));
    this.compiler = new Compiler(this);
    this.#plans = bundle.quantities.map(() => void this.machine.register());
    bundle.quantities.forEach(({ formerly = [] }, slot) => {
      for (const id of formerly) this.#slots.set(id, slot);
    });
    bundle.quantities.forEach(({ id, tree, when, scope }, slot) => {
      this.#slots.set(id, slot);
      const typed = tree == null && when == null && !this.home.has(scope ?? "visit");
      if (typed) this.machine.preset(slot, this.#unfilled(this.plan(slot)));
    });
  }

  /** Builds everything now. Throws when this release cannot run the bundle. */
  prepare(): void {
    for (const slot of this.#plans.keys()) this.plan(slot);
    for (const check of this.bundle.checks) this.judge(check);
    for (const { when, needs } of (this.bundle.checklists ?? []).flatMap(({ steps }) => steps))
      for (const tree of [when, needs]) if (tree != null) this.compiler.build(tree);
  }

  plan(slot: number): Plan {
    return (this.#plans[slot] ??= this.#planned(slot));
  }

  #planned(slot: number): Plan {
    const quantity = this.bundle.quantities[slot] as Quantity;
    const limits = LIMITED.includes(quantity.type ?? "number") ? quantity.limits : null;
    const [low, high] = limits ?? [-Number.MAX_VALUE, Number.MAX_VALUE];
    const number = NUMBERS.includes(quantity.type ?? "number");
    const trees = this.#trees(quantity);
    const alone = trees.home < 0 && !trees.when;
    const plan: Plan = {
      ...{ slot, quantity, low, high, number, ...trees },
      typed: number && alone && !trees.tree,
      code: !alone ? this.#asked(slot) : trees.tree ? this.#kept(slot, trees.tree) : NOTHING,
    };
    this.machine.low[slot] = low;
    this.machine.high[slot] = high;
    this.machine.beside[slot] = (value) => within(plan, value);
    return plan;
  }

  /** The steps of a tree, and its value kept within limits; arithmetic ends within them by itself. */
  #kept(slot: number, { code, out }: Block): Code {
    const own = plain(code, out) ? code.slice() : [...code, KEEP, out, 0, slot];
    own[own.length - 1] = slot;
    return own;
  }

  /** What belongs to members, or applies only at times. */
  #asked(slot: number): Code {
    const ask = (run: Run) => {
      const plan = this.plan(slot);
      const value = plan.home < 0 ? this.#compute(plan, run, 0) : this.#each(plan, run);
      if (run.edge) run.edges.push(slot);
      run.edge = false;
      return value;
    };
    return [ASK, slot, this.machine.calls.push(ask) - 1, slot];
  }

  judge(check: Check): Judge {
    const judge = this.#judges.get(check.id) ?? { check, ...this.#trees(check) };
    this.#judges.set(check.id, judge);
    return judge;
  }

  #trees(of: Pick<Quantity & Check, "scope" | "when" | "tree" | "fail" | "caution">) {
    const { scope = "visit" } = of;
    const build = (tree: Expr | null = null) =>
      tree === null ? null : this.compiler.build(tree, scope);
    return {
      home: this.home.get(scope) ?? -1,
      inputs: inputsOf(of),
      when: build(of.when),
      tree: build(of.tree),
      fail: build(of.fail),
      caution: build(of.caution),
    };
  }

  cells(table: Table): Cells {
    const known = this.#tables.get(table);
    if (known) return known;
    const cells = table.cells.map((cells, column) => {
      const { type, choices } = table.columns[column] ?? {};
      // What else there is lies in the bundle as formulas compute with it.
      if (type !== "choice" && type !== "date" && type !== "flag") return cells as readonly Cell[];
      return cells.map((cell) => (cell === null ? null : this.#inner(cell, type, choices)) as Cell);
    });
    this.#tables.set(table, cells);
    return cells;
  }

  /** A value as records hold it to a value as formulas compute with it; undefined where it is no such value. */
  #inner(value: unknown, type: Quantity["type"] = "number", choices = ""): Inner | undefined {
    if (type === "choice") return this.#options.get(choices)?.get(value as string);
    if (type === "flag") return typeof value === "boolean" ? Number(value) : undefined;
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
    return missing.of(plan.slot, position, this.#need(plan, member));
  }

  /** These quantities, and the steps to them and to all they rest on; made once for a list that is asked for again. */
  asked(ids: readonly string[]): readonly [readonly Plan[], Code] {
    const known = this.#together.get(ids);
    if (known) return known;
    const all = new Set<Plan>();
    const add = (slot: number): Plan => {
      const plan = this.plan(slot);
      if (!all.has(plan)) plan.inputs.forEach(add);
      all.add(plan);
      return plan;
    };
    const plans = ids.map((id) => add(this.slot(id)));
    const found = [plans, [...all].flatMap(({ code }) => code)] as const;
    this.#together.set(ids, found);
    return found;
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

  /** The answers these values give, each found when it is asked for. Quantities of other editions are passed over. */
  evaluate(values: Values, members: Members = {}): Answer {
    const { at, trace } = this.#scratch;
    const { numbers, others } = this.machine;
    const run: Run = {
      machine: this.machine,
      numbers: numbers.slice(),
      others,
      entered: [],
      names: this.collections.map((name) => members[name] ?? []),
      at,
      cells: [],
      row: 0,
      trace,
      rows: null,
      edge: false,
      edges: [],
    };
    for (const id in values) {
      const slot = this.#slots.get(id);
      const value = values[id];
      if (slot === undefined || value == null) continue;
      const plan = this.#plans[slot] ?? this.plan(slot);
      if (plan.typed && typeof value === "number") {
        const x = round12(value);
        if (x >= plan.low && x <= plan.high) {
          run.numbers[slot] = x;
          continue;
        }
      }
      this.#take(run, plan, value);
    }
    return new Answer(this, run, values);
  }

  /** Computes a quantity, and before it what is not there yet of what it rests on. */
  fill(run: Run, { code, inputs }: Plan): void {
    for (let k = 0; k < inputs.length; k++)
      if (!there(run, inputs[k]!)) this.fill(run, this.plan(inputs[k]!));
    this.machine.fit(run);
    go(code, run);
  }

  #each(plan: Plan, run: Run): Inner[] {
    return (run.names[plan.home] as readonly string[]).map((member, position) => {
      run.at[plan.home] = position;
      return this.#compute(plan, run, position, member);
    });
  }

  #compute(plan: Plan, run: Run, position: number, member?: string): Inner {
    if (plan.when) {
      const applies = take(plan.when, run);
      if (applies instanceof Unknown) return applies;
      if (!applies) return new Unknown("not-applicable", { code: "when" });
    }
    if (plan.tree) return within(plan, take(plan.tree, run));
    const entered = run.entered[plan.slot];
    const own = plan.home < 0 ? entered : (entered as readonly Inner[] | undefined)?.[position];
    if (own !== undefined) return own;
    return this.#unfilled(plan, position, member);
  }

  #take(run: Run, plan: Plan, value: Values[string]): void {
    if (plan.tree) return;
    const { slot } = plan;
    let found: Inner;
    if (plan.home < 0) found = this.#entered(plan, value, 0);
    else if (typeof value !== "object" || Array.isArray(value)) return;
    else {
      const earlier = (plan.when ? run.entered : run.others)[slot] as readonly Inner[] | undefined;
      found = this.#own(run.names[plan.home] ?? [], plan, value as Given, earlier);
    }
    // One with a condition waits for it.
    if (plan.when) run.entered[slot] = found;
    else put(run, slot, found);
  }

  /** What is given of each member, beside what was given by a former name. */
  #own(names: readonly string[], plan: Plan, given: Given, earlier: readonly Inner[] = []) {
    return names.map((member, position): Inner => {
      const value = given[member];
      if (value != null) return this.#entered(plan, value, position, member);
      return earlier[position] ?? this.#unfilled(plan, position, member);
    });
  }
}

/** The value, or unknown where it is out of the limits of its quantity. Short, to be inlined. */
function within(plan: Plan, value: Inner): Inner {
  return typeof value === "number" && value >= plan.low && value <= plan.high
    ? value
    : judged(plan, value);
}

function judged(plan: Plan, value: Inner): Inner {
  if (Array.isArray(value)) {
    const all = whole(value);
    return Array.isArray(all) && plan.quantity.type === "list"
      ? whole(all.map((x) => within(plan, x)))
      : all;
  }
  if (typeof value !== "number" || close(value, plan.low) || close(value, plan.high)) return value;
  const edge = value < plan.low ? plan.low : plan.high;
  return outside({ code: "limits", quantity: plan.quantity.id, edge });
}
