/** Expression trees to closures over numbered slots. Forms: the head of backend/kneewall/bundle.py. */

import type { Bundle, Expr, Table } from "../generated/bundle.ts";
import { ceil, close, findRoot, floor, nearest, nearEdge } from "./numbers.ts";
import { Finder } from "./tables.ts";
import type { Cells } from "./tables.ts";
import { domain, merge, outside, Unknown } from "./unknown.ts";
import { bare } from "./written.ts";

/** A value as formulas compute with it: a choice is its position, a date its seconds. */
export type Inner = number | boolean | string | Unknown | readonly Inner[];
export type Thunk = (run: Run) => Inner;

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

export type RowRead = readonly [table: Table, row: number];

/** Where a tree stands: whose members it sees, where its bound values start, what is free. */
interface Place {
  readonly scope: string;
  readonly base: number;
  readonly free: number;
}

/** A closure, and the slot where its value lies ready, or -1, and the value if it never changes: both save the call. */
type Operand = readonly [Thunk, number, number | undefined];

type One = (x: number) => Inner;
type Two = (x: number, y: number) => Inner;
type List = (items: readonly Inner[]) => Inner;

const sound = (x: number): Inner => (x - x === 0 ? x : domain("overflow"));
const divided = (x: number, y: number, f: (ratio: number) => number): Inner =>
  y === 0 ? domain("division-by-zero") : sound(f(x / y));

const ONE: Record<string, One> = {
  neg: (x) => -x,
  abs: Math.abs,
  sqrt: (x) => (x < 0 ? domain("root-of-negative") : Math.sqrt(x)),
  exp: (x) => sound(Math.exp(x)),
  ln: (x) => (x > 0 ? Math.log(x) : domain("log-of-nothing")),
  log10: (x) => (x > 0 ? Math.log10(x) : domain("log-of-nothing")),
};

const TWO: Record<string, Two> = {
  "+": (x, y) => sound(x + y),
  "-": (x, y) => sound(x - y),
  "*": (x, y) => sound(x * y),
  "/": (x, y) => (y === 0 ? domain("division-by-zero") : sound(x / y)),
  "//": (x, y) => divided(x, y, floor),
  "%": (x, y) => divided(x, y, (ratio) => x - y * floor(ratio)),
  "**": (x, y) => {
    if (x === 0 && y < 0) return domain("division-by-zero");
    if (x < 0 && y !== Math.floor(y)) return domain("fractional-power-of-negative");
    return sound(x ** y);
  },
  round: (x, y) => divided(x, y, (ratio) => nearest(ratio) * y),
  floor: (x, y) => divided(x, y, (ratio) => floor(ratio) * y),
  ceil: (x, y) => divided(x, y, (ratio) => ceil(ratio) * y),
};

/** The outcomes that satisfy a comparison: 1 less, 2 equal, 4 more. */
const COMPARE: Record<string, number> = { "<": 1, "==": 2, "<=": 3, ">": 4, "!=": 5, ">=": 6 };

/** A list with an unknown item is unknown as a whole. */
export function whole(value: Inner): Inner {
  return Array.isArray(value) && value.some((item) => item instanceof Unknown)
    ? merge(...value)
    : value;
}

const decided = (items: readonly Inner[], by: boolean): Inner => {
  if (items.includes(by)) return by;
  const known = whole(items);
  return known instanceof Unknown ? known : !by;
};

/** One number of all; `none` is that of an empty list, if it has one. */
const fold = (f: (a: number, b: number) => number, none?: number): List => {
  return (items) => {
    const numbers = whole(items);
    if (numbers instanceof Unknown) return numbers;
    const [first, ...others] = numbers as readonly number[];
    return first === undefined ? (none ?? domain("empty-list")) : sound(others.reduce(f, first));
  };
};

const LISTS: Record<string, List> = {
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
        if (home < 0) return (r) => r.values[slot] as Inner;
        return (r) => (r.values[slot] as Inner[])[r.at[home] as number] as Inner;
      }
      case "p": {
        const depth = place.base + (first as number);
        return (r) => r.bound[depth] as Inner;
      }
      case "c": {
        const empty = outside({ code: "empty-cell" });
        return (r) => r.cells[first as number]?.[r.row] ?? empty;
      }
      case "and":
      case "or":
        return logic(args.map(make), head === "or");
      case "not":
        return one(make(first), (x) => !x);
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
        return this.#call(first as number, args.slice(1), place);
      case "root": {
        const [at, body] = this.#bind(first as number, fourth, place);
        return two(make(second), make(third), (low: number, high: number, r) => {
          const kept = r.rows?.length ?? 0;
          return findRoot(
            (x) => {
              r.bound[at] = x;
              if (r.rows) r.rows.length = kept;
              return body(r) as number | Unknown;
            },
            low,
            high,
          );
        });
      }
      case "each":
        return this.#loop(make(second), first as number, third, place);
      case "members": {
        const home = this.#home.get(first as string) as number;
        const scope = first as string;
        return this.#loop(
          (r) => r.names[home] as Inner,
          second as number,
          third,
          { ...place, scope },
          home,
        );
      }
      case "size": {
        const home = this.#home.get(first as string) as number;
        return (r) => r.names[home]?.length ?? 0;
      }
      case "at":
        return two(make(first), make(second), (items: readonly Inner[], n: number) => {
          const place = nearest(n);
          const entry = close(place, n) ? items[place - 1] : undefined;
          return entry ?? domain("no-such-entry");
        });
      case "min":
      case "max": {
        const parts = args.map(make);
        const among = LISTS[`l${head}`] as List;
        return (r) => among(parts.map((part) => part(r)));
      }
      case "first":
      case "last":
      case "rows":
        return this.#search(head, args, place);
      case "row":
      case "interp":
        return this.#keyed(head, args, place);
    }
    const single = ONE[head] ?? LISTS[head];
    if (single) return one(make(first), single as (x: Inner) => Inner);
    const [a, b] = [this.#operand(first, place), this.#operand(second, place)];
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
  #call(index: number, args: readonly Expr[], place: Place): Thunk {
    const base = place.free;
    const parts = args.map((arg) => this.#make(arg, place));
    const tree = this.#bundle.functions?.[index]?.tree as Expr;
    const body = this.#make(tree, { scope: "", base, free: base + parts.length });
    return (r) => {
      const frame = parts.map((part) => part(r));
      for (let k = 0; k < frame.length; k++) r.bound[base + k] = frame[k] as Inner;
      return body(r);
    };
  }

  /** A body that sees up to two values bound from `depth` on, and where the first of them is. */
  #bind(depth: number, tree: Expr, place: Place): [number, Thunk] {
    const at = place.base + depth;
    return [at, this.#make(tree, { ...place, free: Math.max(place.free, at + 2) })];
  }

  /** The body over every item of a list, or over every member of the collection `home`. */
  #loop(list: Thunk, depth: number, tree: Expr, place: Place, home = -1): Thunk {
    const [at, body] = this.#bind(depth, tree, place);
    return one(list, (items: readonly Inner[], r) => {
      const kept = r.at[home] ?? 0;
      const values = items.map((item, k) => {
        if (home >= 0) r.at[home] = k;
        r.bound[at] = item;
        r.bound[at + 1] = k + 1;
        return body(r);
      });
      if (home >= 0) r.at[home] = kept;
      return values;
    });
  }

  #search(head: "first" | "last" | "rows", args: readonly Expr[], place: Place): Thunk {
    const [from, trace, out, tree] = args as [Expr, number, number, Expr];
    const series = typeof from === "object" ? this.#make(from, place) : null;
    const source = series ? undefined : (this.#bundle.tables[from as number] as Table);
    const own = source ? this.#cells(source) : [];
    const table = source?.id ?? "";
    const condition = this.#make(tree, place);
    return (r) => {
      const points = series?.(r);
      if (points instanceof Unknown) return points;
      const cells = series ? turned(points as number[][]) : own;
      const { cells: keptCells, row: keptRow } = r;
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
      r.cells = keptCells;
      r.row = keptRow;
      if (unknown.length > 0) return merge(...unknown);
      const read = found.map((row) =>
        keep(r, trace, source, row, cells[out]?.[row] ?? outside({ code: "empty-cell", table })),
      );
      if (head === "rows") return read;
      return read[0] ?? outside({ code: "no-row-satisfies", table });
    };
  }

  #keyed(head: "row" | "interp", args: readonly Expr[], place: Place): Thunk {
    const [index, trace, out, ...pairs] = args as [number, number, number, ...Expr[]];
    const keys = pairs.filter((_, k) => k % 2 === 0) as number[];
    const parts = pairs.filter((_, k) => k % 2 === 1).map((part) => this.#make(part, place));
    const table = this.#bundle.tables[index] as Table;
    const cells = this.#cells(table);
    const name = [index, ...keys].join();
    const finder = this.#finders.get(name) ?? new Finder(table, cells, keys);
    this.#finders.set(name, finder);
    const empty = outside({ code: "empty-cell", table: table.id });
    // One array for all turns: no tree evaluates itself while it is being evaluated.
    const values: Inner[] = parts.map(() => 0);
    return (r) => {
      let known = true;
      for (let k = 0; k < parts.length; k++) {
        values[k] = (parts[k] as Thunk)(r);
        if (values[k] instanceof Unknown) known = false;
      }
      if (!known) return merge(...values);
      if (head === "interp") {
        const value = finder.between(values, out);
        return keep(r, trace, table, finder.lower, value);
      }
      const row = finder.row(values);
      return row instanceof Unknown ? row : keep(r, trace, table, row, cells[out]?.[row] ?? empty);
    };
  }
}

/** The points of a series as two columns. */
const turned = (points: readonly (readonly number[])[]): Cells =>
  [0, 1].map((k) => points.map((point) => point[k] as number));

function keep(r: Run, trace: number, table: Table | undefined, row: number, value: Inner): Inner {
  if (value instanceof Unknown) return value;
  if (r.rows && table) r.rows.push([table, row]);
  if (trace >= 0) r.trace[trace] = value;
  return value;
}

/** An operator that needs its operand; the compiler has made sure of its type. */
function one<T extends Inner>(a: Thunk, f: (x: T, r: Run) => Inner): Thunk {
  return (r) => {
    const x = a(r);
    return x instanceof Unknown ? x : f(x as T, r);
  };
}

function two<T extends Inner, U extends Inner>(
  a: Thunk,
  b: Thunk,
  f: (x: T, y: U, r: Run) => Inner,
): Thunk {
  return (r) => {
    const x = a(r);
    const y = b(r);
    return x instanceof Unknown || y instanceof Unknown ? merge(x, y) : f(x as T, y as U, r);
  };
}

/** Numbers only: what is none is unknown. */
function arithmetic(head: string, [a, i, ca]: Operand, [b, j, cb]: Operand): Thunk {
  const f = TWO[head];
  if (!f) throw new Error(`this release knows no operator ${head}`);
  return (r) => {
    const x = i < 0 ? (ca ?? a(r)) : r.values[i];
    const y = j < 0 ? (cb ?? b(r)) : r.values[j];
    if (typeof x !== "number" || typeof y !== "number") return merge(x, y);
    // These four are most of all arithmetic; a call to one of many functions costs more than they do.
    let z = NaN;
    if (head === "*") z = x * y;
    else if (head === "/") z = x / y;
    else if (head === "+") z = x + y;
    else if (head === "-") z = x - y;
    return z - z === 0 ? z : f(x, y);
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
    let unknown: Unknown | null = null;
    for (const part of parts) {
      const value = part(r);
      if (value === decides) return decides;
      if (value instanceof Unknown) unknown = unknown ? merge(unknown, value) : value;
    }
    return unknown ?? !decides;
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
