import assert from "node:assert/strict";
import { test } from "node:test";
import { Unknown } from "../src/engine/index.ts";
import type { Answer } from "../src/engine/index.ts";
import { engineOf, q } from "./engine_help.ts";
import type { Tree } from "./engine_help.ts";

const TABLES = {
  wire: {
    columns: [{ name: "size", type: "choice" as const, choices: "size" }, { name: "ohms" }],
    keys: [0],
    cells: [
      ["small", "medium", "large"],
      [3, 2, null],
    ],
  },
  steps: {
    columns: [{ name: "most" }, { name: "name", type: "text" as const }],
    cells: [
      [10, 15, null, 30],
      ["ten", "fifteen", "lost", "thirty"],
    ],
  },
  line: {
    columns: [{ name: "x" }, { name: "y" }],
    keys: [0],
    cells: [
      [0, 10, 30, 40],
      [100, 200, 600, null],
    ],
  },
  curve: {
    columns: [{ name: "t" }, { name: "p" }],
    keys: [0],
    transform: { t: "reciprocal" as const, p: "ln" as const },
    cells: [
      [200, 250, 400],
      [1, 10, 1000],
    ],
  },
  grid: {
    columns: [{ name: "kind", type: "text" as const }, { name: "x" }, { name: "y" }, { name: "z" }],
    keys: [0, 1, 2],
    cells: [
      ["a", "a", "a", "a", "b", "b", "b", "b", "b", "b"],
      [0, 0, 1, 1, 0, 0, 2, 2, 4, 4],
      [0, 2, 0, 2, 1, 5, 1, 5, 1, 5],
      [0, 20, 1, 21, 10, 50, 12, 52, 14, 54],
    ],
  },
};
const [WIRE, STEPS, LINE, CURVE, GRID] = [0, 1, 2, 3, 4];

function read(tree: Tree, values: Record<string, unknown> = {}): unknown {
  const answer = answerTo(tree, values);
  const value = answer.value("t.z");
  return value instanceof Unknown ? { why: value.why, ...value.detail } : value;
}

function answerTo(tree: Tree, values: Record<string, unknown>): Answer {
  const engine = engineOf({
    tables: TABLES,
    quantities: {
      "t.size": { type: "choice", choices: "size" },
      "t.x": {},
      "t.s": { type: "series", columns: [{ name: "time" }, { name: "level" }] },
      "t.kind": { type: "text" },
      "t.y": {},
      "t.z": { tree },
    },
  });
  return engine.evaluate(values as never);
}

test("the one row with these keys", () => {
  const tree: Tree = ["row", WIRE, 0, 1, 0, q("t.size")];
  assert.equal(read(tree, { "t.size": "medium" }), 2);
  const empty = { why: "outside", code: "empty-cell", table: "wire" };
  assert.deepEqual(read(tree, { "t.size": "large" }), empty);
});

test("a number key is met within a billionth; off it the edge is named, or none", () => {
  const tree: Tree = ["row", LINE, 0, 1, 0, q("t.x")];
  assert.equal(read(tree, { "t.x": 10 * (1 + 1e-10) }), 200);
  assert.deepEqual(read(tree, { "t.x": 11 }), { why: "outside", code: "no-row", table: "line" });
  assert.deepEqual(read(tree, { "t.x": 50 }), {
    ...{ why: "outside", code: "above", table: "line" },
    ...{ column: "x", edge: 40 },
  });
});

test("the first, the last, all rows that satisfy", () => {
  const enough: Tree = [">=", ["c", 0], q("t.x")];
  assert.equal(read(["first", STEPS, 0, 1, enough], { "t.x": 12 }), "fifteen");
  assert.equal(read(["first", STEPS, 0, 1, enough], { "t.x": 15 }), "fifteen");
  assert.equal(read(["last", STEPS, 0, 1, enough], { "t.x": 12 }), "thirty");
  const none = { why: "outside", code: "no-row-satisfies", table: "line" };
  assert.deepEqual(read(["first", LINE, 0, 1, enough], { "t.x": 41 }), none);
  assert.deepEqual(read(["rows", LINE, -1, 0, enough], { "t.x": 10 }), [10, 30, 40]);
  assert.deepEqual(read(["rows", LINE, -1, 0, enough], { "t.x": 41 }), []);
});

test("a row that could still be the answer and is unknown makes first and last unknown", () => {
  const enough: Tree = [">=", ["c", 0], q("t.x")];
  const lost = { why: "outside", code: "empty-cell" };
  assert.deepEqual(read(["first", STEPS, 0, 1, enough], { "t.x": 20 }), lost);
  assert.deepEqual(read(["rows", STEPS, -1, 1, enough], { "t.x": 20 }), lost);
  const known: Tree = ["or", ["==", ["c", 1], "lost"], enough];
  assert.equal(read(["first", STEPS, 0, 1, known], { "t.x": 20 }), "lost");
  assert.deepEqual(read(["first", STEPS, 0, 1, enough]), { why: "missing", code: "missing" });
});

test("the column that is read may be empty where another row is not", () => {
  assert.deepEqual(read(["sum", ["rows", LINE, -1, 1, true]]), {
    ...{ why: "outside", code: "empty-cell", table: "line" },
  });
  assert.equal(read(["at", ["rows", LINE, -1, 1, true], 1]), 100);
});

test("between two rows a straight line, never beyond them", () => {
  const tree: Tree = ["interp", LINE, 0, 1, 0, q("t.x")];
  assert.equal(read(tree, { "t.x": 20 }), 400);
  assert.equal(read(tree, { "t.x": 0 }), 100);
  const below = { why: "outside", code: "below", table: "line", column: "x", edge: 0 };
  assert.deepEqual(read(tree, { "t.x": -1e-6 }), below);
  const above = { why: "outside", code: "above", table: "line", column: "x", edge: 40 };
  assert.deepEqual(read(tree, { "t.x": 40.001 }), above);
});

test("on a row its neighbour is not read, beside it an empty cell is", () => {
  const tree: Tree = ["interp", LINE, 0, 1, 0, q("t.x")];
  assert.equal(read(tree, { "t.x": 30 }), 600);
  const empty = { why: "outside", code: "empty-cell", table: "line", column: "y" };
  assert.deepEqual(read(tree, { "t.x": 31 }), empty);
  assert.deepEqual(read(tree, { "t.x": 40 }), empty);
});

test("a line in the declared transforms", () => {
  const value = read(["interp", CURVE, 0, 1, 0, q("t.x")], { "t.x": 225 }) as number;
  const share = (1 / 225 - 1 / 200) / (1 / 250 - 1 / 200);
  assert.ok(Math.abs(value - Math.exp(Math.log(10) * share)) < 1e-12);
});

test("between four neighbours of a grid, within its exact keys", () => {
  const tree: Tree = ["interp", GRID, 0, 3, 0, q("t.kind"), 1, q("t.x"), 2, q("t.y")];
  assert.equal(read(tree, { "t.kind": "a", "t.x": 0.5, "t.y": 1 }), 10.5);
  assert.equal(read(tree, { "t.kind": "b", "t.x": 3, "t.y": 2 }), 23);
  assert.equal(read(tree, { "t.kind": "b", "t.x": 4, "t.y": 5 }), 54);
  const beyond = { why: "outside", code: "above", table: "grid", column: "y", edge: 2 };
  assert.deepEqual(read(tree, { "t.kind": "a", "t.x": 1, "t.y": 5 }), beyond);
  const none = { why: "outside", code: "no-row", table: "grid" };
  assert.deepEqual(read(tree, { "t.kind": "c", "t.x": 1, "t.y": 5 }), none);
});

test("a series is a table of its two parts", () => {
  const given = { "t.s": [[0, 9], [60, 5], [120, 7]] }; // prettier-ignore
  const under: Tree = ["<", ["c", 1], 8];
  assert.equal(read(["first", q("t.s"), 0, 0, under], given), 60);
  assert.equal(read(["last", q("t.s"), 0, 1, under], given), 7);
  assert.equal(read(["sum", ["rows", q("t.s"), -1, 1, true]], given), 21);
  assert.deepEqual(read(["first", q("t.s"), 0, 0, under], { "t.s": [] }), {
    ...{ why: "outside", code: "no-row-satisfies", table: "" },
  });
  assert.deepEqual(read(["first", q("t.s"), 0, 0, under]), { why: "missing", code: "missing" });
});

test("one search may stand inside the condition of another", () => {
  const inner: Tree = ["first", STEPS, -1, 0, [">=", ["c", 0], 12]];
  const tree: Tree = ["first", LINE, 0, 0, ["and", [">", ["c", 0], inner], ["<", ["c", 1], 700]]];
  assert.equal(read(tree), 30);
});

test("a result opened names the row it was read from and what was read", () => {
  const answer = answerTo(["interp", LINE, 0, 1, 0, q("t.x")], { "t.x": 20 });
  const { rows, pieces, inputs, value } = answer.step("t.z");
  assert.equal(value, 400);
  assert.deepEqual(rows, [{ table: "line", row: 1, source: { of: "demo" } }]);
  assert.deepEqual(pieces, [{ value: 400, unit: "number" }]);
  assert.deepEqual(inputs, [{ id: "t.x" }]);
  const missing = answerTo(["interp", LINE, 0, 1, 0, q("t.x")], {}).step("t.z");
  assert.deepEqual([missing.rows, missing.pieces[0]], [[], "?"]);
});

test("a result opened shows the branch taken, the case that held, what replaced what and until when", () => {
  const source = { of: "demo", place: "second" };
  const engine = engineOf({
    tables: {
      line: {
        ...TABLES.line,
        pack: "trade",
        marks: { "1": { pack: "house", source, replaced: { pack: "trade", because: "measured" } } },
      },
    },
    quantities: {
      "t.x": {},
      "t.low": {
        tree: ["row", 0, 0, 1, 0, 10],
        replaced: { pack: "trade", because: "our practice" },
        pack: "house",
      },
      "t.z": {
        tree: ["if", 0, ["<", q("t.x"), 5], q("t.low"), ["if", 1, ["<", q("t.x"), 9], 2, 3]],
        cases: [{ source }, { source: { of: "demo" }, holds: { until: "2027-01-01" } }],
        source: { of: "demo", place: "rest" },
      },
    },
  });
  const open = (x: number) => engine.evaluate({ "t.x": x }).step("t.z");
  assert.deepEqual(open(1).pieces, [{ id: "t.low", value: 200 }]);
  assert.deepEqual([open(1).formula, open(1).source], ["t.low", source]);
  assert.deepEqual(open(1).amended, [
    { id: "t.low", pack: "house", because: "our practice" },
    { id: "line 2", pack: "house", because: "measured" },
  ]);
  assert.deepEqual(open(7).pieces, ["2"]);
  assert.deepEqual([open(7).formula, open(7).until], ["2", ["2027-01-01"]]);
  assert.deepEqual(open(20).pieces, ["3"]);
  assert.deepEqual([open(20).formula, open(20).until], ["t.low; 2", []]);
  const row = engine.evaluate({}).step("t.low").rows[0];
  assert.deepEqual(row, { table: "line", row: 1, source });
});

test("filled in, what each member has of its own goes by its name", () => {
  const each: Tree = ["members", "part", 0, ["if", -1, ["known", q("p.x")], q("p.x"), q("t.x")]];
  const engine = engineOf({
    quantities: {
      "p.x": { scope: "part", label: "Length" },
      "t.x": {},
      "t.z": { tree: ["sum", each] },
    },
  });
  const answer = engine.evaluate({ "p.x": { u: 5 }, "t.x": 7 }, { part: ["u", "v"] });
  const { pieces, value } = answer.step("t.z");
  assert.deepEqual(pieces, [
    ...["sum(Length if Length is known else ", { id: "t.x", value: 7 }, ")"],
  ]);
  assert.equal(value, 12);
});

test("every member keeps a trace of its own", () => {
  const engine = engineOf({
    tables: TABLES,
    quantities: {
      "p.x": { scope: "part" },
      "p.z": {
        scope: "part",
        tree: ["interp", LINE, 1, 1, 0, ["if", 0, [">", q("p.x"), 30], 30, q("p.x")]],
      },
      "t.y": { tree: ["row", LINE, 0, 1, 0, 0] },
    },
  });
  const answer = engine.evaluate({ "p.x": { u: 5, v: 35 } }, { part: ["u", "v"] });
  assert.deepEqual(answer.step("p.z", "u").pieces, [{ value: 150, unit: "number" }]);
  assert.deepEqual(answer.step("p.z", "v").pieces, [{ value: 600, unit: "number" }]);
  assert.equal(answer.step("p.z", "v").rows[0]?.row, 2);
  assert.deepEqual(answer.step("t.y").pieces, [{ value: 100, unit: "number" }]);
});
