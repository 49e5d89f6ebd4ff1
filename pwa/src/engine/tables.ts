/** Finding rows: exactly, by condition, between neighbours. Never outside, never by clamping. */

import type { Table } from "../generated/bundle.ts";
import { close } from "./numbers.ts";
import { domain, outside, Unknown } from "./unknown.ts";

/** A cell as formulas compute with it; null where the table gives nothing. */
export type Cell = number | boolean | string | null;
export type Cells = readonly (readonly Cell[])[];

type Transform = (x: number) => number;
const SAME: Transform = (x) => x;
const RECIPROCAL: Transform = (x) => 1 / x;
const FORWARD = { ln: Math.log, reciprocal: RECIPROCAL };
const BACK = { ln: Math.exp, reciprocal: RECIPROCAL };

/** A number key: its place among the keys, and its distinct values in order, `step` rows apart. */
interface Axis {
  readonly place: number;
  readonly name: string;
  readonly xs: readonly number[];
  readonly step: number;
  readonly scale: Transform;
  readonly scaled: readonly number[];
}

/** Rows that share their exact keys: a grid over the number keys, the last of them the fastest. */
interface Group {
  readonly rows: readonly number[];
  readonly axes: readonly Axis[];
}

/** Rows of one table by given key columns: exact ones by hash, numbers by value. */
export class Finder {
  /** The row that `between` started from: the lower neighbour. */
  lower = 0;
  readonly #table: Table;
  readonly #exact: readonly number[];
  readonly #groups = new Map<unknown, Group>();
  /** Of each number column the transformed cells, NaN where empty, and the way back. */
  readonly #scaled: readonly (readonly number[])[];
  readonly #back: readonly Transform[];

  constructor(table: Table, cells: Cells, keys: readonly number[]) {
    this.#table = table;
    const isNumber = table.columns.map(({ type = "number" }) => type === "number");
    const named = table.columns.map(({ name }) => table.transform?.[name]);
    const forward = named.map((name) => (name ? FORWARD[name] : SAME));
    this.#back = named.map((name) => (name ? BACK[name] : SAME));
    this.#scaled = cells.map((column, k) =>
      column.map((cell) => (typeof cell === "number" ? (forward[k] as Transform)(cell) : NaN)),
    );
    const places = keys.map((_, place) => place);
    this.#exact = places.filter((place) => !isNumber[keys[place] as number]);
    const numbers = places.filter((place) => isNumber[keys[place] as number]).reverse();
    const found = new Map<unknown, number[]>();
    for (let row = 0; row < (cells[0]?.length ?? 0); row++) {
      const key = this.#key(keys.map((column) => cells[column]?.[row]));
      const rows = found.get(key) ?? [];
      rows.push(row);
      found.set(key, rows);
    }
    for (const [key, own] of found) {
      const at = own.map(() => 0);
      let step = 1;
      const axes = numbers.map((place): Axis => {
        const column = keys[place] as number;
        const values = own.map((row) => cells[column]?.[row] as number);
        const xs = [...new Set(values)].sort((x, y) => x - y);
        const order = new Map(xs.map((x, k) => [x, k * step]));
        values.forEach((x, k) => (at[k]! += order.get(x)!));
        const scale = forward[column] as Transform;
        const name = table.columns[column]?.name as string;
        const axis = { place, name, xs, step, scale, scaled: xs.map(scale) };
        step *= xs.length;
        return axis;
      });
      const rows: number[] = [];
      own.forEach((row, k) => (rows[at[k] as number] ??= row));
      this.#groups.set(key, { rows, axes: axes.reverse() });
    }
  }

  #key(values: readonly unknown[]): unknown {
    const exact = this.#exact;
    if (exact.length === 1) return values[exact[0] as number];
    return exact.length === 0 ? "" : exact.map((place) => values[place]).join("\u0000");
  }

  #edge({ xs, place, name }: Axis, values: readonly unknown[]): Unknown | null {
    const x = values[place] as number;
    const low = xs[0] as number;
    const high = xs[xs.length - 1] as number;
    if ((x >= low && x <= high) || close(x, low) || close(x, high)) return null;
    const code = x < low ? "below" : "above";
    const edge = x < low ? low : high;
    return outside({ code, table: this.#table.id, column: name, edge });
  }

  /** The one row with these keys. */
  row(values: readonly unknown[]): number | Unknown {
    const group = this.#groups.get(this.#key(values));
    let at = 0;
    for (const axis of group?.axes ?? []) {
      const i = neighbour(axis, values);
      const u = share(axis, i, values);
      at += u === 0 || u === 1 ? (i + u) * axis.step : NaN;
    }
    const row = group?.rows[at];
    if (row !== undefined) return row;
    const only = group?.axes.length === 1 ? this.#edge(group.axes[0] as Axis, values) : null;
    return only ?? outside({ code: "no-row", table: this.#table.id });
  }

  /** Linear between neighbouring rows over one or two number keys, in the table's transforms. */
  between(values: readonly unknown[], out: number): number | Unknown {
    const group = this.#groups.get(this.#key(values));
    if (!group) return outside({ code: "no-row", table: this.#table.id });
    const [first, second] = group.axes as readonly [Axis, Axis | undefined];
    const edge = this.#edge(first, values) ?? (second ? this.#edge(second, values) : null);
    if (edge) return edge;
    const i = neighbour(first, values);
    const u = share(first, i, values);
    const j = second ? neighbour(second, values) : 0;
    const start = i * first.step + j;
    this.lower = group.rows[start] as number;
    const ys = this.#scaled[out] as readonly number[];
    const at = (k: number) => ys[group.rows[k] as number] as number;
    const along = (k: number) => mix(u, at(k), () => at(k + first.step));
    const value = (this.#back[out] as Transform)(
      second ? mix(share(second, j, values), along(start), () => along(start + 1)) : along(start),
    );
    if (value - value === 0) return value;
    const name = this.#table.columns[out]?.name as string;
    return Number.isNaN(value)
      ? outside({ code: "empty-cell", table: this.#table.id, column: name })
      : domain("overflow");
  }
}

/** The last place at or under the value that has another one above it. */
function neighbour({ xs, place }: Axis, values: readonly unknown[]): number {
  const x = values[place] as number;
  let low = 0;
  let high = xs.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if ((xs[middle] as number) <= x) low = middle;
    else high = middle;
  }
  return low;
}

/** How far the value is from place i to the next, in the transform of the key. */
function share({ xs, place, scale, scaled }: Axis, i: number, values: readonly unknown[]): number {
  const x = values[place] as number;
  if (close(x, xs[i] as number)) return 0;
  if (close(x, xs[i + 1] as number)) return 1;
  const low = scaled[i] as number;
  return (scale(x) - low) / ((scaled[i + 1] as number) - low);
}

/** On a row its neighbour is not read: it may be an empty cell. */
function mix(share: number, low: number, high: () => number): number {
  if (share === 0) return low;
  return share === 1 ? high() : low + (high() - low) * share;
}
