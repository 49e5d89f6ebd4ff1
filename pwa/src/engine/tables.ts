/** Finding rows: exactly, by condition, between neighbours. Never outside, never by clamping. */

import type { Table } from "../generated/bundle.ts";
import { close } from "./numbers.ts";
import { domain, outside, Unknown } from "./unknown.ts";

/** A cell as formulas compute with it; null where the table gives nothing. */
export type Cell = number | string | null;
export type Cells = readonly (readonly Cell[])[];

/** To where a column is straight, and back. */
type Way = readonly [(x: number) => number, (x: number) => number];
const WAYS: Record<string, Way> = {
  "": [(x) => x, (x) => x],
  ln: [Math.log, Math.exp],
  reciprocal: [(x) => 1 / x, (x) => 1 / x],
};

/** A number key: its place among the keys, and its distinct values in order, `step` rows apart. */
interface Axis {
  readonly place: number;
  readonly name: string;
  readonly xs: readonly number[];
  readonly step: number;
  readonly scale: (x: number) => number;
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
  /** Of a table without exact keys the one group. */
  readonly #only: Group | undefined;
  readonly #ways: readonly Way[];
  /** Of each number column the transformed cells, NaN where empty. */
  readonly #scaled: readonly (readonly number[])[];

  constructor(table: Table, cells: Cells, keys: readonly number[]) {
    const { columns, transform = {} } = table;
    this.#table = table;
    this.#ways = columns.map(({ name }) => WAYS[transform[name] ?? ""] as Way);
    this.#scaled = cells.map((column, k) =>
      column.map((cell) => (typeof cell === "number" ? this.#ways[k]![0](cell) : NaN)),
    );
    const isNumber = (place: number) => (columns[keys[place]!]!.type ?? "number") === "number";
    const places = [...keys.keys()];
    this.#exact = places.filter((place) => !isNumber(place));
    const values = (row: number) => keys.map((column) => cells[column]![row]);
    const found = new Map<unknown, number[]>();
    for (const row of cells[0]?.keys() ?? []) {
      const key = this.#key(values(row));
      const own = found.get(key) ?? [];
      own.push(row);
      found.set(key, own);
    }
    for (const [key, own] of found) {
      const axes: Axis[] = [];
      let step = 1;
      for (const place of places.filter(isNumber).reverse()) {
        const column = keys[place]!;
        const distinct = new Set(own.map((row) => cells[column]![row] as number));
        const xs = [...distinct].sort((x, y) => x - y);
        const [scale] = this.#ways[column]!;
        const { name } = columns[column]!;
        axes.unshift({ place, name, xs, step, scale, scaled: xs.map(scale) });
        step *= xs.length;
      }
      const rows: number[] = [];
      for (const row of own) rows[position(axes, values(row))] ??= row;
      this.#groups.set(key, { rows, axes });
    }
    if (this.#exact.length === 0) this.#only = this.#groups.get("");
  }

  #group(values: readonly unknown[]): Group | undefined {
    return this.#only ?? this.#groups.get(this.#key(values));
  }

  #key(values: readonly unknown[]): unknown {
    const exact = this.#exact;
    if (exact.length === 1) return values[exact[0]!];
    return exact.length === 0 ? "" : exact.map((place) => values[place]).join("\u0000");
  }

  /** Unknown where a value lies beside the ends of an axis. */
  #beside({ xs, place, name: column }: Axis, values: readonly unknown[]): Unknown | null {
    const x = values[place] as number;
    const [low, high] = [xs[0]!, xs[xs.length - 1]!];
    const edge = x < low ? low : high;
    if ((x >= low && x <= high) || close(x, edge)) return null;
    return outside({ code: x < low ? "below" : "above", table: this.#table.id, column, edge });
  }

  /** The one row with these keys. */
  row(values: readonly unknown[]): number | Unknown {
    const group = this.#group(values);
    const row = group?.rows[position(group.axes, values)];
    if (row !== undefined) return row;
    const only = group?.axes.length === 1 ? this.#beside(group.axes[0]!, values) : null;
    return only ?? outside({ code: "no-row", table: this.#table.id });
  }

  /** Linear between neighbouring rows over the number keys, in the table's transforms. */
  between(values: readonly unknown[], out: number): number | Unknown {
    const table = this.#table.id;
    const group = this.#group(values);
    if (!group) return outside({ code: "no-row", table });
    const first = group.axes[0]!;
    const second = group.axes[1];
    const beside = this.#beside(first, values) ?? (second ? this.#beside(second, values) : null);
    if (beside) return beside;
    const { rows } = group;
    const i = neighbour(first, values);
    const u = share(first, i, values);
    const j = second ? neighbour(second, values) : 0;
    const start = i * first.step + j;
    this.lower = rows[start]!;
    const ys = this.#scaled[out]!;
    let y = mix(u, ys[rows[start]!]!, ys[rows[start + first.step]!]!);
    if (second) {
      const across = mix(u, ys[rows[start + 1]!]!, ys[rows[start + 1 + first.step]!]!);
      y = mix(share(second, j, values), y, across);
    }
    const value = this.#ways[out]![1](y);
    if (value - value === 0) return value;
    const column = this.#table.columns[out]!.name;
    return Number.isNaN(value)
      ? outside({ code: "empty-cell", table, column })
      : domain("overflow");
  }
}

/** Linear between neighbouring points of a series, of which each is further on than the one before. */
export function along(
  points: readonly (readonly number[])[],
  x: number,
  series: string,
): number | Unknown {
  const xs = points.map(([at]) => at!);
  if (xs.length === 0 || xs.some((at, k) => at <= xs[k - 1]!))
    return outside({ code: "no-row", table: "" });
  const [first, last] = [xs[0]!, xs.at(-1)!];
  const edge = x < first ? first : last;
  if ((x < first || x > last) && !close(x, edge))
    return outside({ code: x < first ? "below" : "above", quantity: series, edge });
  const axis = { place: 0, name: "", xs, step: 1, scale: WAYS[""]![0], scaled: xs };
  const i = neighbour(axis, [x]);
  const value = mix(share(axis, i, [x]), points[i]![1]!, points[i + 1]?.[1] ?? NaN);
  return value - value === 0 ? value : domain("overflow");
}

/** Where on the grid the row with these values is, NaN between rows. */
function position(axes: readonly Axis[], values: readonly unknown[]): number {
  let at = 0;
  for (const axis of axes) {
    const i = neighbour(axis, values);
    const u = share(axis, i, values);
    at += u === 0 || u === 1 ? (i + u) * axis.step : NaN;
  }
  return at;
}

/** The last place at or under the value that has another one above it. */
function neighbour({ xs, place }: Axis, values: readonly unknown[]): number {
  const x = values[place] as number;
  let low = 0;
  let high = xs.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (xs[middle]! <= x) low = middle;
    else high = middle;
  }
  return low;
}

/** How far the value is from place i to the next, in the transform of the key. */
function share({ xs, place, scale, scaled }: Axis, i: number, values: readonly unknown[]): number {
  const x = values[place] as number;
  if (close(x, xs[i]!)) return 0;
  if (close(x, xs[i + 1]!)) return 1;
  return (scale(x) - scaled[i]!) / (scaled[i + 1]! - scaled[i]!);
}

/** On a row its neighbour is not heeded: it may be an empty cell. */
function mix(share: number, low: number, high: number): number {
  if (share === 0) return low;
  return share === 1 ? high : low + (high - low) * share;
}
