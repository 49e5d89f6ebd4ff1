import { deepStrictEqual, ok, strictEqual } from "node:assert";
import { test } from "node:test";
import { written } from "../src/engine/written.ts";
import type { Bundle } from "../src/generated/bundle.ts";
import { chapterOf, toConfirm } from "../src/handbook.ts";

const demo = { of: "demo" };
const memory = { of: "memory" };
const bundle: Bundle = {
  packs: [],
  units: {},
  choices: {},
  collections: {},
  sources: {
    demo: { title: "Invented", kind: "demo" },
    memory: { title: "From memory", kind: "memory" },
    print: { title: "A print", kind: "standard", confirmed: true },
  },
  quantities: [
    { id: "a.asked", label: "Asked" },
    { id: "a.way", label: "On the way", tree: ["fn", 0, ["q", 0]], source: demo },
    { id: "a.answer", label: "Answer", tree: ["+", ["q", 1], 1], source: memory },
    { id: "a.other", label: "Of another calculator", tree: 1, source: { of: "print" } },
    { id: "a.limit", label: "Limit", tree: 2, source: { of: "print", mark: "disputed" } },
  ],
  tables: [
    { id: "read", columns: [], cells: [], source: { of: "print" } },
    { id: "unread", columns: [], cells: [], source: { of: "print" } },
  ],
  functions: [
    {
      ...{ id: "f", parameters: ["x"], source: { of: "print" } },
      tree: ["+", ["row", 0, -1, 1, 0, ["p", 0]], ["fn", 1, ["p", 0], 2]],
    },
    {
      ...{ id: "g", parameters: ["width", "height"], source: { of: "print" } },
      tree: ["*", ["p", 0], ["p", 1]],
    },
    { id: "uncalled", parameters: [], source: { of: "print" }, tree: 1 },
  ],
  checks: [
    {
      ...{ id: "a.check", label: "Check", says: {}, source: { of: "print" } },
      fail: [">", ["q", 2], ["q", 4]],
    },
  ],
  calculators: [
    {
      id: "one",
      title: "One",
      topic: "t",
      enter: ["a.asked"],
      show: ["a.answer"],
      checks: ["a.check"],
    },
  ],
};

test("a chapter holds what leads to its results and to its checks, and the tables read on the way", () => {
  const { found, between, entered, tables, functions } = chapterOf(bundle, bundle.calculators[0]!);
  const ids = (all: readonly { id: string }[]): string[] => all.map(({ id }) => id);
  deepStrictEqual(ids(found), ["a.answer"]);
  deepStrictEqual(ids(between), ["a.way", "a.limit"]);
  deepStrictEqual(ids(entered), ["a.asked"]);
  deepStrictEqual(ids(tables), ["read"]);
  deepStrictEqual(ids(functions), ["f", "g"]);
});

test("what nobody has confirmed is told by its source, memory first, prints only where in doubt", () => {
  const found = toConfirm(bundle);
  deepStrictEqual(
    found.map(([of, all]) => [of, all.map(({ id }) => id)]),
    [
      ["memory", ["a.answer"]],
      ["print", ["a.limit"]],
      ["demo", ["a.way"]],
    ],
  );
  ok(!found.some(([, all]) => all.some(({ id }) => id === "a.other")));
  strictEqual(found.length, 3);
});

test("a function is written with its own parameters", () => {
  const [, g] = bundle.functions!;
  deepStrictEqual(written(bundle, g!.tree, g!.parameters), "width * height");
});
