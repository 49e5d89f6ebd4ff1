/** Expression trees to closures over numbered slots. Forms: the head of backend/kneewall/bundle.py. */

import type { Bundle, Expr, Table } from "../generated/bundle.ts";
import { close, findRoot, nearEdge, nearest, round } from "./numbers.ts";
import { along, Finder } from "./tables.ts";
import type { Cells } from "./tables.ts";
import { domain, merge, outside, Unknown } from "./unknown.ts";
import { bare } from "./written.ts";

/** A value as formulas compute with it: a choice is its position, a date its seconds. */
export type Inner = number | boolean | string | Unknown | readonly Inner[];
export type Thunk = (run: Run) => Inner;
export type RowRead = readonly [table: Table, row: number];

/** What an evaluation reads and writes. */
export interface Run {
  /** One result a slot, of a collection a list with one for each member; undefined until it is asked for. */
  readonly values: (Inner | undefined)[];
  /** By slot what was entered of quantities that apply only at times. */
  readonly entered: (Inner | undefined)[];
  /** The keys of the members of each collection, and the member at hand. */
  readonly names: readonly (readonly string[])[];
  readonly at: number[];
  readonly bound: Inner[];
  /** The columns and the row under test. */
  cells: Cells;
  row: number;
  /** At TRACE the value read, or whether the condition held. */
  trace: Inner[];
  /** The rows read, kept when a result is opened. */
  rows: RowRead[] | null;
  /** A comparison lay where the two engines may differ. */
  edge: boolean;
  /** Slots whose value was decided there. */
  readonly edges: number[];
}

/** Where a tree stands: whose members it sees, where its bound values start, what is free. */
interface Place {
  readonly scope: string;
  readonly base: number;
  readonly free: number;
}

/** A closure, and the slot where its value lies ready, or -1, and the value if it never changes: both save the call. */
type Operand = readonly [Thunk, number, number | undefined];

/** What has no answer comes out as NaN or infinite. */
const ARITHMETIC: Record<string, (x: number, y: number) => number> = {
  "+": (x, y) => x + y,
  "-": (x, y) => x - y,
  "*": (x, y) => x * y,
  "/": (x, y) => x / y,
  "//": (x, y) => round(x / y, Math.floor),
  "%": (x, y) => x - y * round(x / y, Math.floor),
  "**": (x, y) => x ** y,
  round: (x, y) => nearest(x / y) * y,
  floor: (x, y) => round(x / y, Math.floor) * y,
  ceil: (x, y) => round(x / y, Math.ceil) * y,
  neg: (x) => -x,
  abs: Math.abs,
  sqrt: Math.sqrt,
  exp: Math.exp,
  ln: Math.log,
  log10: Math.log10,
};
const DIVIDES = ["/", "//", "%", "**", "round", "floor", "ceil"];
/** The outcomes that satisfy a comparison: 1 less, 2 equal, 4 more. */
const COMPARE: Record<string, number> = { "<": 1, "==": 2, "<=": 3, ">": 4, "!=": 5, ">=": 6 };

/** Why numbers have no answer. */
function reason(head: string, x: number, y: number): Unknown {
  if ((head === "**" ? x : y) === 0 && DIVIDES.includes(head)) return domain("division-by-zero");
  if (head === "**" && x < 0 && y % 1 !== 0) return domain("fractional-power-of-negative");
  if (head === "sqrt") return domain("root-of-negative");
  return domain(head === "ln" || head === "log10" ? "log-of-nothing" : "overflow");
}

/** A list with an unknown item is unknown as a whole. */
export function whole(value: Inner): Inner {
  return Array.isArray(value) && value.some((item) => item instanceof Unknown)
    ? merge(...value)
    : value;
}

function decided(items: readonly Inner[], by: boolean): Inner {
  if (items.includes(by)) return by;
  const known = whole(items);
  return known instanceof Unknown ? known : !by;
}

/** One number of all; `none` is that of an empty list, if it has one. */
const fold = (f: (a: number, b: number) => number, none?: number) => (items: readonly Inner[]) => {
  const numbers = whole(items);
  if (numbers instanceof Unknown) return numbers;
  const [first, ...others] = numbers as readonly number[];
  if (first === undefined) return none ?? domain("empty-list");
  const all = others.reduce(f, first);
  return all - all === 0 ? all : domain("overflow");
};

const LISTS: Record<string, (items: readonly Inner[]) => Inner> = {
  count: (items) => items.length,
  any: (items) => decided(items, true),
  all: (items) => decided(items, false),
  sum: fold((a, b) => a + b, 0),
  lmin: fold((a, b) => (b < a ? b : a)),
  lmax: fold((a, b) => (b > a ? b : a)),
};

/** Builds the closures of one bundle; tables are indexed once and shared. */
export class Compiler {
  readonly #bundle: Bundle;
  readonly #home: ReadonlyMap<string, number>;
  readonly #cells: (table: Table) => Cells;
  readonly #finders = new Map<string, Finder>();

  constructor(bundle: Bundle, home: ReadonlyMap<string, number>, cells: (table: Table) => Cells) {
    this.#bundle = bundle;
    this.#home = home;
    this.#cells = cells;
  }

  build(tree: Expr, scope = "visit"): Thunk {
    return this.#make(tree, { scope, base: 0, free: 0 });
  }

  #make(written: Expr, place: Place): Thunk {
    const tree = bare(written);
    if (typeof tree !== "object") return () => tree;
    const [head, ...args] = tree as readonly [string, ...Expr[]];
    const [first, second, third, fourth] = args as [Expr, Expr, Expr, Expr];
    const make = (arg: Expr) => this.#make(arg, place);
    switch (head) {
      case "q": {
        const slot = first as number;
        const home = this.#memberOf(slot, place);
        if (home < 0) return (r) => r.values[slot]!;
        return (r) => (r.values[slot] as Inner[])[r.at[home]!]!;
      }
      case "p": {
        const depth = place.base + (first as number);
        return (r) => r.bound[depth]!;
      }
      case "c": {
        const empty = outside({ code: "empty-cell" });
        return (r) => r.cells[first as number]?.[r.row] ?? empty;
      }
      case "and":
      case "or":
        return logic(args.map(make), head === "or");
      case "not":
        return strict([make(first)], ([x]) => !x);
      case "if":
        return choose(first as number, make(second), make(third), make(fourth));
      case "known": {
        const a = make(first);
        return (r) => !(whole(a(r)) instanceof Unknown);
      }
      case "na": {
        const never = new Unknown("not-applicable", { code: "says", text: first as string });
        return () => never;
      }
      case "fn":
        return this.#call(first as number, args.slice(1).map(make), place);
      case "root":
        return this.#root(make(second), make(third), this.#bind(first as number, fourth, place));
      case "each":
        return this.#loop(make(second), this.#bind(first as number, third, place));
      case "members": {
        const scope = first as string;
        const home = this.#home.get(scope)!;
        const bound = this.#bind(second as number, third, { ...place, scope });
        return this.#loop((r) => r.names[home]!, bound, home);
      }
      case "size": {
        const home = this.#home.get(first as string)!;
        return (r) => r.names[home]?.length ?? 0;
      }
      case "at":
        return strict(args.map(make), ([items, n]) => {
          const entry = round(n as number, () => 0);
          return (items as readonly Inner[])[entry - 1] ?? domain("no-such-entry");
        });
      case "min":
      case "max":
        return strict(args.map(make), LISTS[`l${head}`]!);
      case "first":
      case "last":
      case "rows":
        return this.#search(head, args, place);
      case "row":
      case "interp":
        return this.#keyed(head, args, place);
    }
    const list = LISTS[head];
    if (list) return strict([make(first)], ([items]) => list(items as readonly Inner[]));
    const [a, b] = [this.#operand(first, place), this.#operand(second ?? 1, place)];
    const wanted = COMPARE[head];
    return wanted ? compare(wanted, a, b) : arithmetic(head, a, b);
  }

  /** The collection of whose member at hand a quantity is read; -1: it is read as it lies. */
  #memberOf(slot: number, place: Place): number {
    const scope = this.#bundle.quantities[slot]?.scope ?? "visit";
    return scope === place.scope ? (this.#home.get(scope) ?? -1) : -1;
  }

  #operand(written: Expr, place: Place): Operand {
    const tree = bare(written);
    const slot = typeof tree === "object" && tree[0] === "q" ? (tree[1] as number) : -1;
    const lies = slot >= 0 && this.#memberOf(slot, place) < 0 ? slot : -1;
    return [this.#make(tree, place), lies, typeof tree === "number" ? tree : undefined];
  }

  /** A function's frame starts where nothing of the caller is; its arguments are all there before one is bound. */
  #call(index: number, parts: readonly Thunk[], { free: base }: Place): Thunk {
    const { tree } = this.#bundle.functions![index]!;
    const body = this.#make(tree, { scope: "", base, free: base + parts.length });
    return (r) => {
      const frame = parts.map((part) => part(r));
      frame.forEach((value, k) => (r.bound[base + k] = value));
      return body(r);
    };
  }

  /** A body that sees up to two values bound from `depth` on, and where the first of them is. */
  #bind(depth: number, tree: Expr, place: Place): readonly [number, Thunk] {
    const at = place.base + depth;
    return [at, this.#make(tree, { ...place, free: Math.max(place.free, at + 2) })];
  }

  #root(low: Thunk, high: Thunk, [at, body]: readonly [number, Thunk]): Thunk {
    return strict([low, high], (ends, r) => {
      const kept = r.rows?.length ?? 0;
      const f = (x: number) => {
        r.bound[at] = x;
        if (r.rows) r.rows.length = kept;
        return body(r) as number | Unknown;
      };
      return findRoot(f, ...(ends as [number, number]));
    });
  }

  /** The body over every item of a list, or over every member of the collection `home`. */
  #loop(list: Thunk, [at, body]: readonly [number, Thunk], home = -1): Thunk {
    return strict([list], ([items], r) => {
      const kept = r.at[home] ?? 0;
      const values = (items as readonly Inner[]).map((item, k) => {
        if (home >= 0) r.at[home] = k;
        r.bound[at] = item;
        r.bound[at + 1] = k + 1;
        return body(r);
      });
      if (home >= 0) r.at[home] = kept;
      return values;
    });
  }

  #search(head: string, args: readonly Expr[], place: Place): Thunk {
    const [from, trace, out, tree] = args as [Expr, number, number, Expr];
    const series = typeof from === "object" ? this.#make(from, place) : null;
    const source = series ? undefined : this.#bundle.tables[from as number]!;
    const own = source ? this.#cells(source) : [];
    const table = source?.id ?? "";
    const condition = this.#make(tree, place);
    return (r) => {
      const points = series?.(r);
      if (points instanceof Unknown) return points;
      const cells = points ? turned(points as number[][]) : own;
      const outer = [r.cells, r.row] as const;
      r.cells = cells;
      const count = cells[0]?.length ?? 0;
      const found: number[] = [];
      const unknown: Unknown[] = [];
      for (let k = 0; k < count; k++) {
        r.row = head === "last" ? count - 1 - k : k;
        const holds = condition(r);
        if (holds instanceof Unknown) unknown.push(holds);
        else if (holds) found.push(r.row);
        if (head !== "rows" && found.length + unknown.length > 0) break;
      }
      [r.cells, r.row] = outer;
      if (unknown.length > 0) return merge(...unknown);
      const read = found.map((row) =>
        keep(r, trace, source, row, cells[out]?.[row] ?? outside({ code: "empty-cell", table })),
      );
      return head === "rows" ? read : (read[0] ?? outside({ code: "no-row-satisfies", table }));
    };
  }

  #keyed(head: string, args: readonly Expr[], place: Place): Thunk {
    if (typeof args[0] === "object") return this.#along(args, place);
    const [index, trace, out, ...pairs] = args as [number, number, number, ...Expr[]];
    const keys = pairs.filter((_, k) => k % 2 === 0) as number[];
    const parts = pairs.filter((_, k) => k % 2 === 1).map((part) => this.#make(part, place));
    const table = this.#bundle.tables[index]!;
    const cells = this.#cells(table);
    const name = [index, ...keys].join();
    const finder = this.#finders.get(name) ?? new Finder(table, cells, keys);
    this.#finders.set(name, finder);
    const empty = outside({ code: "empty-cell", table: table.id });
    return strict(parts, (values, r) => {
      if (head === "interp") {
        const value = finder.between(values, out);
        return keep(r, trace, table, finder.lower, value);
      }
      const row = finder.row(values);
      return row instanceof Unknown ? row : keep(r, trace, table, row, cells[out]?.[row] ?? empty);
    });
  }

  #along(args: readonly Expr[], place: Place): Thunk {
    const [series, trace] = args as [[string, number], number];
    const { id } = this.#bundle.quantities[series[1]]!;
    const parts = [series as Expr, args[4]!].map((part) => this.#make(part, place));
    return strict(parts, ([points, x], r) =>
      keep(r, trace, undefined, 0, along(points as number[][], x as number, id)),
    );
  }
}

/** The points of a series as two columns. */
const turned = (points: readonly (readonly number[])[]): Cells =>
  [0, 1].map((k) => points.map((point) => point[k]!));

function keep(r: Run, trace: number, table: Table | undefined, row: number, value: Inner): Inner {
  if (value instanceof Unknown) return value;
  if (r.rows && table) r.rows.push([table, row]);
  if (trace >= 0) r.trace[trace] = value;
  return value;
}

/** What needs all its operands; the compiler has made sure of their types. */
function strict(parts: readonly Thunk[], f: (values: readonly Inner[], r: Run) => Inner): Thunk {
  // One array for all turns: no tree evaluates itself while it is being evaluated.
  const values: Inner[] = parts.map(() => "");
  return (r) => {
    let known = true;
    for (let k = 0; k < parts.length; k++) {
      values[k] = parts[k]!(r);
      if (values[k] instanceof Unknown) known = false;
    }
    return known ? f(values, r) : merge(...values);
  };
}

function arithmetic(head: string, [a, i, ca]: Operand, [b, j, cb]: Operand): Thunk {
  const f = ARITHMETIC[head];
  if (!f) throw new Error(`this release knows no operator ${head}`);
  return (r) => {
    const x = i < 0 ? (ca ?? a(r)) : r.values[i];
    const y = j < 0 ? (cb ?? b(r)) : r.values[j];
    if (typeof x !== "number" || typeof y !== "number") return merge(x, y);
    // These are most of all arithmetic; a call to one of many functions costs more than they do.
    let z = 0;
    if (head === "*") z = x * y;
    else if (head === "/") z = x / y;
    else if (head === "+") z = x + y;
    else if (head === "-") z = x - y;
    else if (head === "**") z = x ** y;
    else z = f(x, y);
    return z - z === 0 ? z : reason(head, x, y);
  };
}

function compare(wanted: number, [a, i, ca]: Operand, [b, j, cb]: Operand): Thunk {
  return (r) => {
    const x = i < 0 ? (ca ?? a(r)) : (r.values[i] as Inner);
    const y = j < 0 ? (cb ?? b(r)) : (r.values[j] as Inner);
    if (typeof x === "number" && typeof y === "number") {
      if (nearEdge(x, y)) r.edge = true;
      return (wanted & (close(x, y) ? 2 : x < y ? 1 : 4)) !== 0;
    }
    if (x instanceof Unknown || y instanceof Unknown) return merge(x, y);
    return (wanted & (x === y ? 2 : x < y ? 1 : 4)) !== 0;
  };
}

function logic(parts: readonly Thunk[], decides: boolean): Thunk {
  return (r) => {
    const unknown: Inner[] = [];
    for (const part of parts) {
      const value = part(r);
      if (value === decides) return decides;
      if (value instanceof Unknown) unknown.push(value);
    }
    return unknown.length > 0 ? merge(...unknown) : !decides;
  };
}

function choose(trace: number, condition: Thunk, then: Thunk, otherwise: Thunk): Thunk {
  return (r) => {
    const holds = condition(r);
    if (holds instanceof Unknown) return holds;
    if (trace >= 0) r.trace[trace] = holds;
    return holds ? then(r) : otherwise(r);
  };
}
