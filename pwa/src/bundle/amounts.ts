/** Amounts of a packed bundle from typed to SI, exactly; the twin of backend/kneewall/amounts.py. */
import type {
  Bundle,
  Example,
  Expected,
  Quantity,
  Table,
  Unit,
  Value,
} from "../generated/bundle.ts";
import { late } from "./late.ts";

type Open<Part> = { -readonly [Field in keyof Part]: Part[Field] };

const COUNTED: readonly string[] = ["number", "count", "list"];
const POWERS = Array.from({ length: 23 }, (_, power) => Number(`1e${power}`));

/** What is to be done to a section that was just unpacked and is still nobody else's. */
export const IN_SI: Readonly<Record<string, (section: never, bundle: Bundle) => void>> = {
  quantities(quantities: Open<Quantity>[], { units }) {
    for (const quantity of quantities) {
      const unit = unitOf(units, quantity);
      if (unit === undefined) continue;
      // By their names: until it is compiled, V8 reads a field by a variable seven times as slowly.
      if (quantity.limits) quantity.limits = told(quantity.limits, unit) as [number, number];
      if (quantity.usual) quantity.usual = told(quantity.usual, unit) as [number, number];
      if (quantity.one_of) quantity.one_of = told(quantity.one_of, unit) as number[];
      if (quantity.default !== undefined)
        quantity.default = told(quantity.default, unit) as Value | null;
    }
  },
  tables(tables: Table[], { units }) {
    for (const table of tables) {
      const { columns, cells } = table;
      const inSi = () =>
        cells.map((each, at) => {
          const { unit } = columns[at]!;
          return unit ? told(each, units[unit]!) : each;
        });
      if (columns.some(({ unit }) => unit)) late(table, "cells", inSi);
    }
  },
  examples(examples: Open<Example>[], { units, quantities }) {
    const of = new Map(quantities.map((each) => [each.id, unitOf(units, each)]));
    for (const { given, expect = [] } of examples) {
      for (const [name, value] of Object.entries(given)) {
        const unit = of.get(name);
        if (unit) (given as Record<string, unknown>)[name] = told(value, unit);
      }
      for (const expected of expect as Open<Expected>[]) {
        const unit = of.get(expected.quantity);
        if (!unit) continue;
        if (expected.value !== undefined) expected.value = told(expected.value, unit) as never;
        if (expected.within) expected.within = told(expected.within, unit, 0) as number;
      }
    }
  },
};

function unitOf(units: Bundle["units"], { unit, type = "number" }: Quantity): Unit | undefined {
  return unit && COUNTED.includes(type) ? units[unit] : undefined;
}

/** The same float as `in_si` of amounts.py, by the same steps. */
function told(typed: unknown, unit: Unit, offset = unit.offset ?? 0): unknown {
  if (typeof typed === "number") {
    const amount = typed * unit.scale + offset;
    const size = Math.abs(amount);
    let power = 11;
    while (power < 22 && size * POWERS[power]! < 1e11) power += 1;
    while (power > 0 && size * POWERS[power]! >= 1e12) power -= 1;
    return Math.floor(amount * POWERS[power]! + 0.5) / POWERS[power]!;
  }
  if (Array.isArray(typed)) {
    if (typed[0] === "si" && typeof typed[1] === "number") return typed[1];
    const each: unknown[] = [];
    for (let at = 0; at < typed.length; at += 1) each.push(told(typed[at], unit, offset));
    return each;
  }
  if (typeof typed !== "object" || typed === null) return typed;
  return Object.fromEntries(
    Object.entries(typed).map(([name, each]) => [name, told(each, unit, offset)]),
  );
}
