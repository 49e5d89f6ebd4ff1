/** Small bundles by hand. Quantities are referred to by their names: `q("t.x")`. */

import { Engine } from "../src/engine/index.ts";
import type { Bundle, Check, Expr, Quantity, Table } from "../src/generated/bundle.ts";

const source = { of: "demo" };

/** A tree in which `["q", "t.x"]` names its quantity. */
export type Tree = number | boolean | string | readonly Tree[];

interface Parts {
  /** Derived ones as trees, entered ones and special derived ones as quantities. */
  quantities: Record<string, Tree | (Omit<Partial<Quantity>, "tree" | "when"> & Conditions)>;
  tables?: Record<string, Partial<Table> & Pick<Table, "columns" | "cells">>;
  checks?: Record<string, Omit<Partial<Check>, "when" | "fail" | "caution"> & Conditions>;
  functions?: Record<string, Tree>;
  units?: Bundle["units"];
}

interface Conditions {
  tree?: Tree;
  when?: Tree;
  fail?: Tree;
  caution?: Tree;
}

const FLAGS = ["and", "or", "not", "known", "any", "all", "<", "<=", "==", "!=", ">", ">="];

/** Of what type the value of a tree is that stands for a quantity alone. */
const typed = (tree: Tree) =>
  typeof tree === "object" && FLAGS.includes(tree[0] as string) ? ({ type: "flag" } as const) : {};

export const q = (id: string): Tree => ["q", id];

export function bundleOf(parts: Parts): Bundle {
  const names = Object.keys(parts.quantities);
  const numbered = (tree: Tree): Expr => {
    if (typeof tree !== "object") return tree;
    if (tree[0] === "q") return ["q", names.indexOf(tree[1] as string)];
    return tree.map(numbered);
  };
  const ready = ({ tree, when, fail, caution }: Conditions) => ({
    ...(tree !== undefined && { tree: numbered(tree) }),
    ...(when !== undefined && { when: numbered(when) }),
    ...(fail !== undefined && { fail: numbered(fail) }),
    ...(caution !== undefined && { caution: numbered(caution) }),
  });
  return {
    packs: [],
    units: parts.units ?? {},
    choices: {
      size: {
        ordered: true,
        options: ["small", "medium", "large"].map((value) => ({
          value,
          label: value.toUpperCase(),
        })),
      },
    },
    collections: { part: { label: "Part", plural: "Parts" } },
    sources: {},
    quantities: Object.entries(parts.quantities).map(([id, of]) => {
      const given = typeof of === "object" && !Array.isArray(of) ? (of as Conditions) : null;
      const tree = of as Tree;
      return { id, label: id, traces: 4, ...(given ?? typed(tree)), ...ready(given ?? { tree }) };
    }),
    tables: Object.entries(parts.tables ?? {}).map(([id, table]) => ({ id, source, ...table })),
    functions: Object.entries(parts.functions ?? {}).map(([id, tree]) => {
      return { id, parameters: [], tree: numbered(tree), source };
    }),
    checks: Object.entries(parts.checks ?? {}).map(([id, check]) => {
      return { id, label: id, source, says: {}, ...check, ...ready(check) };
    }),
    calculators: [],
  };
}

export function engineOf(parts: Parts): Engine {
  return new Engine(bundleOf(parts));
}
