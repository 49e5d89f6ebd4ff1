/** Expression trees to steps of the machine. Forms: the head of backend/kneewall/bundle.py. */

import type { Bundle, Expr, Table } from "../generated/bundle.ts";
import { AND, CALL, CELL, get, MEMBER, MOVE, numbered, put, take, UNLESS } from "./machine.ts";
import type { Block, Call, Inner, Machine, Run } from "./machine.ts";
import { findRoot, round } from "./numbers.ts";
import { along, Finder } from "./tables.ts";
import type { Cells } from "./tables.ts";
import { domain, merge, outside, Unknown } from "./unknown.ts";
import { bare } from "./written.ts";

/** What trees speak of: the places of collections, the cells of tables as formulas compute with them. */
interface Around {
  readonly bundle: Bundle;
  readonly home: ReadonlyMap<string, number>;
  readonly machine: Machine;
  cells(table: Table): Cells;
}

/** Where a tree stands: whose members it sees, and the registers of the names bound. */
interface Place {
  readonly scope: string;
  readonly bound: readonly number[];
}

/** A body, and the registers of the item and the position that it sees. */
type Body = readonly [item: number, position: number, Block];

/** A list with an unknown item is unknown as a whole. */
export function whole(value: Inner): Inner {
  return Array.isArray(value) && value.some((item) => item instanceof Unknown)
    ? merge(...value)
    : value;
}

function decided(items: readonly Inner[], by: number): Inner {
  if (items.includes(by)) return by;
  const known = whole(items);
  return known instanceof Unknown ? known : 1 - by;
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
  any: (items) => decided(items, 1),
  all: (items) => decided(items, 0),
  sum: fold((a, b) => a + b, 0),
  lmin: fold((a, b) => (b < a ? b : a)),
  lmax: fold((a, b) => (b > a ? b : a)),
};

/** Builds the blocks of one bundle; tables are indexed once and shared. */
export class Compiler {
  readonly #of: Around;
  readonly #finders = new Map<string, Finder>();
  readonly #built = new WeakMap<object, Map<string, Block>>();
  /** Registers of steps, used again by every tree. */
  readonly #pool: number[] = [];
  #used = 0;
  #code: number[] = [];

  constructor(around: Around) {
    this.#of = around;
  }

  /** The steps of a tree, made once. */
  build(tree: Expr, scope = "visit"): Block {
    this.#used = 0;
    const place = { scope, bound: [] };
    // A bare constant takes no steps.
    if (typeof tree !== "object") return this.#block(tree, place);
    const known = this.#built.get(tree) ?? new Map<string, Block>();
    this.#built.set(tree, known);
    const block = known.get(scope) ?? this.#block(tree, place);
    known.set(scope, block);
    return block;
  }

  #temporary(): number {
    return (this.#pool[this.#used++] ??= this.#of.machine.register());
  }

  #block(tree: Expr, place: Place): Block {
    const [outer, code] = [this.#code, [] as number[]];
    this.#code = code;
    const out = this.#make(tree, place);
    this.#code = outer;
    return { code, out };
  }

  /** Adds a step, and gives the register that it writes. */
  #emit(op: number, i: number, j: number): number {
    const k = this.#temporary();
    this.#code.push(op, i, j, k);
    return k;
  }

  #call(f: Call): number {
    return this.#emit(CALL, 0, this.#of.machine.calls.push(f) - 1);
  }

  /** What needs all its operands; the compiler has made sure of their types. */
  #strict(parts: readonly number[], f: (values: readonly Inner[], r: Run) => Inner): number {
    // One array for all turns: no tree evaluates itself while it is being evaluated.
    const values: Inner[] = parts.map(() => 0.5);
    return this.#call((r) => {
      let known = true;
      for (let p = 0; p < parts.length; p++) {
        const x = r.numbers[parts[p]!]!;
        if (x === x) values[p] = x;
        else if (r.others[parts[p]!] instanceof Unknown) known = false;
        else values[p] = r.others[parts[p]!]!;
      }
      return known ? f(values, r) : merge(...parts.map((part) => get(r, part)));
    });
  }

  /** Puts the steps of a tree in the row at hand, and tells where its value then is. */
  #make(written: Expr, place: Place): number {
    const tree = bare(written);
    if (typeof tree !== "object")
      return this.#of.machine.constant(typeof tree === "boolean" ? Number(tree) : tree);
    const [head, ...args] = tree as readonly [string, ...Expr[]];
    const [first, second, third, fourth] = args as [Expr, Expr, Expr, Expr];
    const make = (arg: Expr) => this.#make(arg, place);
    switch (head) {
      case "q":
        return this.#quantity(first as number, place);
      case "p":
        return place.bound[first as number]!;
      case "c":
        return this.#emit(CELL, first as number, 0);
      case "and":
      case "or":
        return this.#logic(args, place, head === "or" ? 1 : 0);
      case "if":
        return this.#choose(
          first as number,
          make(second),
          this.#block(third, place),
          this.#block(fourth, place),
        );
      case "known": {
        const a = make(first);
        return this.#call((r) => (whole(get(r, a)) instanceof Unknown ? 0 : 1));
      }
      case "na":
        return this.#of.machine.register(
          new Unknown("not-applicable", { code: "says", text: first as string }),
        );
      case "fn": {
        const { tree: body } = this.#of.bundle.functions![first as number]!;
        return this.#make(body, { scope: "", bound: args.slice(1).map(make) });
      }
      case "root":
        return this.#root(make(second), make(third), this.#bind(first as number, fourth, place));
      case "each":
        return this.#loop(make(second), this.#bind(first as number, third, place));
      case "members": {
        const scope = first as string;
        const home = this.#of.home.get(scope)!;
        const names = this.#call((r) => r.names[home]!);
        return this.#loop(names, this.#bind(second as number, third, { ...place, scope }), home);
      }
      case "size": {
        const home = this.#of.home.get(first as string)!;
        return this.#call((r) => r.names[home]?.length ?? 0);
      }
      case "at":
        return this.#strict(args.map(make), ([items, n]) => {
          const entry = round(n as number, () => 0);
          return (items as readonly Inner[])[entry - 1] ?? domain("no-such-entry");
        });
      case "min":
      case "max":
        return this.#strict(args.map(make), LISTS[`l${head}`]!);
      case "first":
      case "last":
      case "rows":
        return this.#search(head, args, place);
      case "row":
      case "interp":
        return this.#keyed(head, args, place);
    }
    const list = LISTS[head];
    if (list) return this.#strict([make(first)], ([items]) => list(items as readonly Inner[]));
    const [a, b] = [make(first), make(second ?? 1)];
    const op = numbered(head);
    if (op < 0) throw new Error(`this release knows no operator ${head}`);
    return this.#emit(op, a, b);
  }

  /** The register of a quantity, or a step that reads the one of the member at hand. */
  #quantity(slot: number, place: Place): number {
    const scope = this.#of.bundle.quantities[slot]?.scope ?? "visit";
    const home = scope === place.scope ? this.#of.home.get(scope) : undefined;
    return home === undefined ? slot : this.#emit(MEMBER, slot, home);
  }

  /** A body that sees up to two values bound from `depth` on, and the registers of both. */
  #bind(depth: number, tree: Expr, place: Place): Body {
    const [item, position] = [this.#temporary(), this.#temporary()];
    const bound = [...place.bound];
    [bound[depth], bound[depth + 1]] = [item, position];
    return [item, position, this.#block(tree, { ...place, bound })];
  }

  #root(low: number, high: number, [x, , body]: Body): number {
    return this.#strict([low, high], (ends, r) => {
      const kept = r.rows?.length ?? 0;
      const f = (value: number) => {
        r.numbers[x] = value;
        if (r.rows) r.rows.length = kept;
        return take(body, r) as number | Unknown;
      };
      return findRoot(f, ...(ends as [number, number]));
    });
  }

  /** The body over every item of a list, or over every member of the collection `home`. */
  #loop(list: number, [at, position, body]: Body, home = -1): number {
    return this.#strict([list], ([items], r) => {
      const kept = r.at[home] ?? 0;
      const values = (items as readonly Inner[]).map((item, k) => {
        if (home >= 0) r.at[home] = k;
        put(r, at, item);
        r.numbers[position] = k + 1;
        return take(body, r);
      });
      if (home >= 0) r.at[home] = kept;
      return values;
    });
  }

  /** Past what is left as soon as one decides. */
  #logic(args: readonly Expr[], place: Place, decides: number): number {
    const k = this.#temporary();
    const blocks = args.map((arg) => this.#block(arg, place));
    let left = blocks.reduce((sum, { code }) => sum + code.length + 4, 0);
    this.#code.push(MOVE, this.#of.machine.constant(1 - decides), 0, k);
    for (const { code, out } of blocks) {
      left -= code.length + 4;
      this.#code.push(...code, AND + decides, out, left, k);
    }
    return k;
  }

  #choose(trace: number, condition: number, then: Block, other: Block): number {
    const k = this.#temporary();
    this.#code.push(UNLESS, condition, then.code.length + 4, trace);
    this.#code.push(...then.code, MOVE, then.out, other.code.length + 4, k);
    this.#code.push(...other.code, MOVE, other.out, 0, k);
    return k;
  }

  #search(head: string, args: readonly Expr[], place: Place): number {
    const [from, trace, out, tree] = args as [Expr, number, number, Expr];
    const series = typeof from === "object" ? this.#make(from, place) : -1;
    const source = series < 0 ? this.#of.bundle.tables[from as number]! : undefined;
    const own = source ? this.#of.cells(source) : [];
    const table = source?.id ?? "";
    const condition = this.#block(tree, place);
    return this.#call((r) => {
      const points = series < 0 ? null : get(r, series);
      if (points instanceof Unknown) return points;
      const cells = points ? turned(points as number[][]) : own;
      const outer = [r.cells, r.row] as const;
      r.cells = cells;
      const count = cells[0]?.length ?? 0;
      const found: number[] = [];
      const unknown: Unknown[] = [];
      for (let turn = 0; turn < count; turn++) {
        r.row = head === "last" ? count - 1 - turn : turn;
        const holds = take(condition, r);
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
    });
  }

  #keyed(head: string, args: readonly Expr[], place: Place): number {
    if (typeof args[0] === "object") return this.#along(args, place);
    const [index, trace, out, ...pairs] = args as [number, number, number, ...Expr[]];
    const keys = pairs.filter((_, k) => k % 2 === 0) as number[];
    const parts = pairs.filter((_, k) => k % 2 === 1).map((part) => this.#make(part, place));
    const table = this.#of.bundle.tables[index]!;
    const cells = this.#of.cells(table);
    const name = [index, ...keys].join();
    const finder = this.#finders.get(name) ?? new Finder(table, cells, keys);
    this.#finders.set(name, finder);
    const empty = outside({ code: "empty-cell", table: table.id });
    return this.#strict(parts, (values, r) => {
      if (head === "interp") {
        const value = finder.between(values, out);
        return keep(r, trace, table, finder.lower, value);
      }
      const row = finder.row(values);
      return row instanceof Unknown ? row : keep(r, trace, table, row, cells[out]?.[row] ?? empty);
    });
  }

  #along(args: readonly Expr[], place: Place): number {
    const [series, trace] = args as [[string, number], number];
    const { id } = this.#of.bundle.quantities[series[1]]!;
    const parts = [series as Expr, args[4]!].map((part) => this.#make(part, place));
    return this.#strict(parts, ([points, x], r) =>
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
