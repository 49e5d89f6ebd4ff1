/** A bundle out of its packed document, exactly; backend/kneewall/packed.py packs and says how. */
import type { Bundle } from "../generated/bundle.ts";
import { IN_SI } from "./amounts.ts";
import { late } from "./late.ts";

type Row = Record<string, unknown>;
type Columns = { readonly [field: string]: Values };
type Values =
  | readonly unknown[]
  | { rows: Columns; count: readonly (number | null)[] }
  | { rows: Columns; which: readonly (number | null)[] }
  | { keys: Values; values: Values }
  | { of: string; is: readonly unknown[] };

/** What bundle bytes hold. */
export interface Packed {
  readonly format: number;
  readonly rows: Columns;
}

/**
 * A section is unpacked when it is first read, since a phone that opens needs few of them. Reading
 * one that was never packed throws.
 */
export function unpack({ format, rows }: Packed): Bundle {
  const bundle = { format } as Row & Bundle;
  const unpacker = new Unpacker(rows);
  for (const [section, column] of Object.entries(rows))
    late(bundle, section, () => {
      const value = found(unpacker.values(column), 0);
      IN_SI[section]?.(value as never, bundle);
      return value;
    });
  return bundle;
}

class Unpacker {
  readonly #sections: Columns;

  constructor(sections: Columns) {
    this.#sections = sections;
  }

  rows(columns: Columns): Row[] {
    const names = Object.keys(columns);
    const values = names.map((name) => this.values(columns[name]!));
    const count = values[0]?.length ?? 0;
    if (values.some(({ length }) => length !== count))
      throw new RangeError("columns of unequal length");
    const rows: Row[] = [];
    for (let at = 0; at < count; at += 1) rows.push({});
    // Counted, not iterated: on a phone that opens this runs before V8 has compiled it.
    names.forEach((name, n) => {
      const column = values[n]!;
      for (let at = 0; at < count; at += 1) {
        const value = column[at];
        if (value !== null) rows[at]![name] = value;
      }
    });
    return rows;
  }

  values(column: Values): readonly unknown[] {
    if (isPlain(column)) return column;
    if ("which" in column) {
      const parts = this.rows(column.rows);
      return column.which.map((place) => (place === null ? null : found(parts, place)));
    }
    if ("count" in column) {
      const parts = this.rows(column.rows);
      let from = 0;
      const lists = column.count.map((count) =>
        count === null ? null : parts.slice(from, (from += count)),
      );
      if (from !== parts.length) throw new RangeError("parts are not as many as counted");
      return lists;
    }
    if ("keys" in column) {
      const values = this.values(column.values) as readonly (readonly unknown[])[];
      return (this.values(column.keys) as readonly (readonly string[] | null)[]).map(
        (keys, at) =>
          keys && Object.fromEntries(keys.map((key, n) => [key, found(values[at]!, n)])),
      );
    }
    const of = this.#sections[column.of] as
      { rows: Columns } | { keys: readonly (readonly string[])[] };
    const ids = "keys" in of ? of.keys[0]! : (of.rows["id"] as readonly string[]);
    const named = (name: unknown): unknown =>
      typeof name === "number" ? found(ids, name) : Array.isArray(name) ? name.map(named) : name;
    return column.is.map(named);
  }
}

function isPlain(column: Values): column is readonly unknown[] {
  return Array.isArray(column);
}

function found<Item>(items: readonly Item[], place: number): Item {
  const item = items[place];
  if (item === undefined) throw new RangeError(`${place} is no place`);
  return item;
}
