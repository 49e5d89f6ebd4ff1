import assert from "node:assert/strict";
import { test } from "node:test";
import { Engine, Unknown } from "../src/engine/index.ts";
import type { Answer } from "../src/engine/index.ts";
import { bundleOf, engineOf, q } from "./engine_help.ts";
import type { Tree } from "./engine_help.ts";

const PAIR = { "t.a": {}, "t.b": {} };

/** What a tree over two entered numbers gives. */
function worth(tree: Tree, values: Record<string, number> = {}): unknown {
  return engineOf({ quantities: { ...PAIR, "t.z": tree } })
    .evaluate(values)
    .value("t.z");
}

function unknown(value: unknown): Pick<Unknown, "why" | "needs" | "detail"> {
  assert.ok(value instanceof Unknown, `${JSON.stringify(value)} is not unknown`);
  return { why: value.why, needs: value.needs, detail: value.detail };
}

const codeOf = (value: unknown) => unknown(value).detail.code;
const idsOf = (value: unknown) => unknown(value).needs.map(({ id }) => id);

test("arithmetic gives numbers", () => {
  const both = { "t.a": 7, "t.b": 2 };
  const cases: [Tree, number][] = [
    [["+", q("t.a"), q("t.b")], 9],
    [["-", q("t.a"), q("t.b")], 5],
    [["*", q("t.a"), q("t.b")], 14],
    [["/", q("t.a"), q("t.b")], 3.5],
    [["//", ["neg", q("t.a")], q("t.b")], -4],
    [["%", ["neg", q("t.a")], q("t.b")], 1],
    [["**", q("t.a"), q("t.b")], 49],
    [["min", q("t.a"), q("t.b"), 4], 2],
    [["max", q("t.a"), q("t.b"), 4], 7],
    [["abs", ["neg", q("t.a")]], 7],
    [["sqrt", 16], 4],
    [["ln", ["exp", 2]], 2],
    [["log10", 1000], 3],
  ];
  for (const [tree, expected] of cases)
    assert.ok(Math.abs((worth(tree, both) as number) - expected) < 1e-12, JSON.stringify(tree));
});

test("rounding goes away from zero, and a hair off a step is on it", () => {
  const cases: [string, number, number, number][] = [
    ["round", 2.5, 1, 3],
    ["round", -2.5, 1, -3],
    ["round", 7.3, 0.5, 7.5],
    ["floor", 3 - 1e-12, 1, 3],
    ["ceil", 3 + 1e-12, 1, 3],
    ["floor", 2.9, 1, 2],
    ["ceil", 2.1, 1, 3],
    ["ceil", 61, 5, 65],
  ];
  for (const [head, x, step, expected] of cases)
    assert.equal(worth([head, q("t.a"), step], { "t.a": x }), expected, `${head} ${x} ${step}`);
});

test("a number that enters has 12 significant digits", () => {
  assert.equal(worth(q("t.a"), { "t.a": 1234567890.125 }), 1234567890.13);
  assert.equal(worth(q("t.a"), { "t.a": -1234567890.125 }), -1234567890.13);
  assert.equal(worth(q("t.a"), { "t.a": 273.15 + 1e-13 }), 273.15);
});

test("arithmetic without an answer is a refusal with its reason", () => {
  const cases: [Tree, string][] = [
    [["/", 1, 0], "division-by-zero"],
    [["%", 1, 0], "division-by-zero"],
    [["round", 1, 0], "division-by-zero"],
    [["**", 0, -1], "division-by-zero"],
    [["**", -8, 0.5], "fractional-power-of-negative"],
    [["sqrt", -1], "root-of-negative"],
    [["ln", 0], "log-of-nothing"],
    [["log10", -1], "log-of-nothing"],
    [["exp", 1000], "overflow"],
    [["*", 1e200, 1e200], "overflow"],
    [["**", 10, 400], "overflow"],
    [["lmin", ["rows", 0, -1, 0, false]], "empty-list"],
    [["at", ["rows", 0, -1, 0, true], 3], "no-such-entry"],
    [["root", 0, 1, 2, ["p", 0]], "no-root"],
  ];
  const tables = { t: { columns: [{ name: "x" }], cells: [[1, 2]] } };
  for (const [tree, code] of cases) {
    const value = engineOf({ quantities: { "t.z": tree }, tables })
      .evaluate({})
      .value("t.z");
    assert.deepEqual(unknown(value), { why: "domain", needs: [], detail: { code } }, code);
  }
});

test("numbers within a billionth are equal, and so neither less nor more", () => {
  const near = { "t.a": 328.15, "t.b": 328.15 * (1 + 5e-10) };
  const far = { "t.a": 328.15, "t.b": 328.15 * (1 + 2e-9) };
  const outcomes = (values: Record<string, number>) =>
    ["<", "<=", "==", "!=", ">=", ">"].map((head) => worth([head, q("t.a"), q("t.b")], values));
  assert.deepEqual(outcomes(near), [false, true, true, false, true, false]);
  assert.deepEqual(outcomes(far), [true, true, false, true, false, false]);
});

test("what is missing is named in the order of declaration, once", () => {
  const sum: Tree = ["+", ["*", q("t.b"), q("t.a")], q("t.b")];
  assert.deepEqual(unknown(worth(sum)), {
    why: "missing",
    needs: [{ id: "t.a" }, { id: "t.b" }],
    detail: { code: "missing" },
  });
  assert.deepEqual(idsOf(worth(sum, { "t.a": 1 })), ["t.b"]);
});

test("of several reasons the weightiest is given, and all needs", () => {
  const broken: Tree = ["/", 1, 0];
  const off: Tree = ["na", "not here"];
  const missing = ["+", q("t.a"), broken] as const;
  assert.equal(codeOf(worth(missing)), "division-by-zero");
  assert.deepEqual(idsOf(worth(missing)), ["t.a"]);
  assert.deepEqual(unknown(worth(["+", missing, off])), {
    why: "not-applicable",
    needs: [{ id: "t.a" }],
    detail: { code: "says", text: "not here" },
  });
});

test("false and unknown is false, true or unknown is true, on either side", () => {
  const maybe: Tree = [">", q("t.a"), 0];
  for (const order of [
    [false, maybe],
    [maybe, false],
  ])
    assert.equal(worth(["and", ...order]), false);
  for (const order of [
    [true, maybe],
    [maybe, true],
  ])
    assert.equal(worth(["or", ...order]), true);
  assert.deepEqual(idsOf(worth(["and", true, maybe])), ["t.a"]);
  assert.deepEqual(idsOf(worth(["or", false, [">", q("t.b"), 0], maybe])), ["t.a", "t.b"]);
  assert.equal(worth(["not", maybe], { "t.a": 1 }), false);
});

test("only the branch taken counts", () => {
  const tree: Tree = ["if", 0, [">", q("t.a"), 0], 1, q("t.b")];
  assert.equal(worth(tree, { "t.a": 1 }), 1);
  assert.deepEqual(idsOf(worth(tree, { "t.a": -1 })), ["t.b"]);
  assert.deepEqual(idsOf(worth(tree)), ["t.a"]);
});

test("known is never unknown", () => {
  assert.equal(worth(["known", q("t.a")]), false);
  assert.equal(worth(["known", q("t.a")], { "t.a": 0 }), true);
  assert.equal(worth(["known", ["/", 1, 0]]), false);
});

test("a result outside its limits is unknown and names the edge", () => {
  const engine = engineOf({
    quantities: {
      "t.a": { limits: [0, 10] },
      "t.z": { tree: ["*", 2, q("t.a")], limits: [0, 12] },
    },
  });
  assert.equal(engine.evaluate({ "t.a": 6 * (1 + 1e-10) }).value("t.z"), 12 * (1 + 1e-10));
  assert.deepEqual(unknown(engine.evaluate({ "t.a": 6.1 }).value("t.z")), {
    why: "outside",
    needs: [],
    detail: { code: "limits", quantity: "t.z", edge: 12 },
  });
  const below = engine.evaluate({ "t.a": -1 });
  assert.deepEqual(unknown(below.value("t.z")).detail, unknown(below.value("t.a")).detail);
});

test("a condition that is false makes a quantity not applicable, entered or derived", () => {
  const engine = engineOf({
    quantities: {
      ...PAIR,
      "t.c": { when: [">", q("t.a"), 0] },
      "t.z": { when: [">", q("t.a"), 0], tree: ["+", q("t.b"), q("t.c")] },
    },
  });
  const off = engine.evaluate({ "t.a": -1, "t.b": 1, "t.c": 1 });
  for (const id of ["t.c", "t.z"])
    assert.deepEqual(unknown(off.value(id)), {
      why: "not-applicable",
      needs: [],
      detail: { code: "when" },
    });
  assert.equal(engine.evaluate({ "t.a": 1, "t.b": 1, "t.c": 1 }).value("t.z"), 2);
  assert.deepEqual(idsOf(engine.evaluate({ "t.b": 1, "t.c": 1 }).value("t.c")), ["t.a"]);
});

test("a declared default fills in, and is shown in all that rests on it", () => {
  const engine = engineOf({
    quantities: { "t.a": { default: 3 }, "t.b": {}, "t.y": ["*", 2, q("t.a")], "t.z": q("t.y") },
  });
  const answer = engine.evaluate({});
  assert.equal(answer.value("t.z"), 6);
  assert.deepEqual(answer.defaulted("t.z"), ["t.a"]);
  assert.deepEqual(answer.step("t.y").defaults, ["t.a"]);
  const given = engine.evaluate({ "t.a": 3 });
  assert.equal(given.value("t.z"), 6);
  assert.deepEqual(given.defaulted("t.z"), []);
});

test("a choice is its text outside, its position inside", () => {
  const engine = engineOf({
    quantities: {
      "t.size": { type: "choice", choices: "size" },
      "t.next": {
        type: "choice",
        choices: "size",
        tree: ["if", -1, ["<", q("t.size"), 2], ["+", q("t.size"), 1], q("t.size")],
      },
      "t.both": { type: "list", choices: "size", tree: ["each", 0, q("t.list"), ["p", 0]] },
      "t.list": { type: "list", choices: "size" },
      "t.late": { type: "list", choices: "size", tree: q("t.list") },
    },
  });
  const answer = engine.evaluate({ "t.size": "medium", "t.list": ["small", "large"] });
  assert.equal(answer.value("t.next"), "large");
  assert.deepEqual(answer.value("t.late"), ["small", "large"]);
  assert.equal(codeOf(engine.evaluate({ "t.size": "huge" }).value("t.next")), "no-option");
});

test("a date is a text outside, seconds inside", () => {
  const engine = engineOf({
    quantities: {
      "t.day": { type: "date" },
      "t.later": { type: "date", tree: ["+", q("t.day"), 86400] },
      "t.old": { type: "flag", tree: ["<", q("t.day"), 0] },
    },
  });
  assert.equal(engine.evaluate({ "t.day": "2024-02-28" }).value("t.later"), "2024-02-29");
  assert.equal(engine.evaluate({ "t.day": "1969-12-31" }).value("t.old"), true);
  assert.equal(codeOf(engine.evaluate({ "t.day": "2023-02-29" }).value("t.later")), "no-option");
});

test("a recorded value of another type is unknown, never an exception", () => {
  const engine = engineOf({
    quantities: {
      "t.number": { limits: [0, 10] },
      "t.flag": { type: "flag" },
      "t.text": { type: "text" },
      "t.list": { type: "list", limits: [0, 10] },
      "t.series": { type: "series", columns: [{ name: "x" }, { name: "y" }] },
    },
  });
  const wrong: [string, unknown][] = [
    ["t.number", "7"],
    ["t.number", true],
    ["t.number", [7]],
    ["t.number", { m: 7 }],
    ["t.flag", 1],
    ["t.text", 1],
    ["t.list", 7],
    ["t.list", ["7"]],
    ["t.series", [1, 2]],
    ["t.series", [[1]]],
  ];
  for (const [id, value] of wrong)
    assert.equal(codeOf(engine.evaluate({ [id]: value as never }).value(id)), "no-option", id);
  assert.equal(codeOf(engine.evaluate({ "t.list": [1, 11] }).value("t.list")), "limits");
  assert.deepEqual(engine.evaluate({ "t.series": [[1, 2]] }).value("t.series"), [[1, 2]]);
});

test("values of other editions: former names are read, unknown ones passed over", () => {
  const engine = engineOf({ quantities: { "t.a": { formerly: ["t.old"] }, "t.z": q("t.a") } });
  assert.equal(engine.evaluate({ "t.old": 4, "t.gone": 1, "t.z": 9 }).value("t.z"), 4);
  assert.equal(engine.evaluate({ "t.old": 4 }).value("t.old"), 4);
  assert.throws(() => engine.evaluate({}).value("t.gone"), /no quantity t.gone/);
});

const MEMBERS = {
  "t.a": {},
  "p.x": { scope: "part" },
  "p.y": { scope: "part", tree: ["*", q("p.x"), q("t.a")] as Tree },
  "t.sum": ["sum", q("p.y")] as Tree,
  "t.count": ["size", "part"] as Tree,
  "t.numbered": { type: "list" as const, tree: ["members", "part", 0, ["+", ["p", 1], q("p.x")]] },
  "p.share": { scope: "part", tree: ["/", q("p.x"), ["sum", ["members", "part", 0, q("p.x")]]] },
} satisfies Parameters<typeof bundleOf>[0]["quantities"];

test("a formula of a collection sees its member, any other a list over all", () => {
  const engine = engineOf({ quantities: MEMBERS });
  const answer = engine.evaluate({ "t.a": 10, "p.x": { u: 1, v: 3 } }, { part: ["u", "v"] });
  assert.equal(answer.value("p.y", "v"), 30);
  assert.equal(answer.value("p.y"), 10);
  assert.equal(answer.value("t.sum"), 40);
  assert.equal(answer.value("t.count"), 2);
  assert.deepEqual(answer.value("t.numbered"), [2, 5]);
  assert.equal(answer.value("p.share", "u"), 0.25);
  assert.equal(answer.value("p.share", "v"), 0.75);
  assert.throws(() => answer.value("p.y", "w"), /no member w/);
});

test("an aggregate names the member whose value is missing", () => {
  const engine = engineOf({ quantities: MEMBERS });
  const answer = engine.evaluate({ "p.x": { u: 1 } }, { part: ["u", "v", "w"] });
  assert.deepEqual(unknown(answer.value("t.sum")).needs, [
    { id: "t.a" },
    { id: "p.x", member: "v" },
    { id: "p.x", member: "w" },
  ]);
  assert.deepEqual(unknown(answer.value("p.y", "v")).needs, [
    { id: "t.a" },
    { id: "p.x", member: "v" },
  ]);
});

test("without members a sum is nothing and a single value is missing", () => {
  const answer = engineOf({ quantities: MEMBERS }).evaluate({ "t.a": 1 });
  assert.equal(answer.value("t.sum"), 0);
  assert.deepEqual(answer.value("t.numbered"), []);
  assert.equal(unknown(answer.value("p.y")).why, "missing");
  assert.deepEqual(answer.checks(), []);
});

test("a member may be called by an empty name", () => {
  const answer = engineOf({ quantities: MEMBERS }).evaluate({ "p.x": { "": 2 } }, { part: [""] });
  assert.equal(answer.value("p.x", ""), 2);
  assert.deepEqual(unknown(answer.value("t.sum")).needs, [{ id: "t.a" }]);
});

test("lists: items, positions, any and all", () => {
  const list = (tree: Tree, given: readonly number[] | undefined) =>
    engineOf({ quantities: { "t.l": { type: "list" }, "t.a": {}, "t.z": tree } })
      .evaluate(given ? { "t.l": given } : {})
      .value("t.z");
  const scaled: Tree = ["each", 0, q("t.l"), ["*", ["p", 0], ["p", 1]]];
  assert.deepEqual(list(scaled, [5, 7]), [5, 14]);
  assert.equal(list(["sum", scaled], [5, 7]), 19);
  assert.equal(list(["count", q("t.l")], [5, 7, 9]), 3);
  assert.equal(list(["lmax", q("t.l")], [5, 7, 6]), 7);
  assert.equal(list(["at", q("t.l"), 2], [5, 7]), 7);
  const over: Tree = ["each", 0, q("t.l"), [">", ["p", 0], 6]];
  assert.equal(list(["any", over], [5, 7]), true);
  assert.equal(list(["all", over], [5, 7]), false);
  assert.equal(list(["any", over], []), false);
  assert.equal(list(["all", over], []), true);
  assert.deepEqual(idsOf(list(["sum", scaled], undefined)), ["t.l"]);
  const maybe: Tree = [
    "each",
    0,
    q("t.l"),
    [">", ["p", 0], ["if", -1, ["==", ["p", 1], 1], q("t.a"), 6]],
  ];
  assert.equal(list(["any", maybe], [5, 7]), true);
  assert.deepEqual(idsOf(list(["all", maybe], [5, 7])), ["t.a"]);
  assert.equal(list(["count", maybe], [5, 7]), 2);
});

test("a function sees its arguments and none of its caller's names", () => {
  const functions = {
    square: ["*", ["p", 0], ["p", 0]] as Tree,
    spread: ["-", ["fn", 0, ["p", 0]], ["fn", 0, ["p", 1]]] as Tree,
    first: ["if", -1, true, ["p", 0], ["p", 1]] as Tree,
  };
  const engine = engineOf({
    functions,
    quantities: {
      ...PAIR,
      "t.z": ["fn", 1, q("t.a"), q("t.b")],
      "t.list": {
        type: "list",
        tree: ["each", 0, ["rows", 0, -1, 0, true], ["fn", 1, ["p", 0], ["p", 1]]],
      },
      "t.bound": ["fn", 1, 10, ["sum", ["each", 0, ["rows", 0, -1, 0, true], ["p", 0]]]],
      "t.one": ["fn", 2, q("t.a"), q("t.b")],
    },
    tables: { t: { columns: [{ name: "x" }], cells: [[3, 5]] } },
  });
  const answer = engine.evaluate({ "t.a": 5 });
  assert.deepEqual(idsOf(answer.value("t.z")), ["t.b"]);
  assert.equal(answer.value("t.one"), 5);
  assert.deepEqual(answer.value("t.list"), [8, 21]);
  assert.equal(answer.value("t.bound"), 36);
});

test("a root is found to the last digits, whatever stands around it", () => {
  const engine = engineOf({
    quantities: {
      "t.a": {},
      "t.cube": ["root", 0, 0, 10, ["-", ["**", ["p", 0], 3], q("t.a")]],
      "t.list": {
        type: "list",
        tree: [
          "each",
          0,
          ["rows", 0, -1, 0, true],
          ["root", 2, 0, 100, ["-", ["*", ["p", 2], ["p", 2]], ["p", 0]]],
        ],
      },
    },
    tables: { t: { columns: [{ name: "x" }], cells: [[4, 9, 0]] } },
  });
  const answer = engine.evaluate({ "t.a": 5 });
  assert.ok(Math.abs((answer.value("t.cube") as number) - Math.cbrt(5)) < 1e-12);
  const [two, three, none] = answer.value("t.list") as number[];
  assert.ok(Math.abs((two as number) - 2) < 1e-11 && Math.abs((three as number) - 3) < 1e-11);
  assert.equal(none, 0);
  assert.deepEqual(idsOf(engine.evaluate({}).value("t.cube")), ["t.a"]);
  assert.equal(codeOf(engine.evaluate({ "t.a": 2000 }).value("t.cube")), "no-root");
});

test("an operator of a later release is refused when everything is made ready", () => {
  const engine = engineOf({ quantities: { "t.z": ["fold", 1, 2] } });
  assert.throws(() => engine.prepare(), /no operator fold/);
});

test("checks: fail before caution, unknown with its needs, not applicable", () => {
  const engine = new Engine(
    bundleOf({
      quantities: { ...PAIR, "t.z": ["*", 2, q("t.a")] },
      checks: {
        "k.z": {
          when: [">", q("t.a"), 0],
          fail: [">", q("t.z"), 20],
          caution: [">", q("t.z"), q("t.b")],
          says: { pass: ["fine: ", ["q", 2]], fail: ["over: ", ["q", 2], " of ", ["q", 1, "m"]] },
        },
      },
    }),
  );
  const verdict = (values: Record<string, number>) => engine.evaluate(values).check("k.z");
  assert.equal(verdict({ "t.a": -1 }).verdict, "not-applicable");
  assert.deepEqual(verdict({ "t.a": 11 }).pieces, [
    "over: ",
    { id: "t.z", value: 22 },
    " of ",
    { id: "t.b", value: engine.evaluate({}).value("t.b"), unit: "m" },
  ]);
  assert.equal(verdict({ "t.a": 5, "t.b": 7 }).verdict, "caution");
  assert.deepEqual(verdict({ "t.a": 5, "t.b": 12 }).pieces, ["fine: ", { id: "t.z", value: 10 }]);
  assert.equal(verdict({ "t.a": 5 }).verdict, "unknown");
  assert.deepEqual(idsOf(verdict({ "t.a": 5 }).unknown), ["t.b"]);
  assert.deepEqual(idsOf(verdict({ "t.b": 5 }).unknown), ["t.a"]);
});

test("a check of a collection is judged for every member", () => {
  const engine = engineOf({
    quantities: MEMBERS,
    checks: { "k.p": { scope: "part", fail: [">", q("p.x"), 2] } },
  });
  const answer = engine.evaluate({ "p.x": { u: 1, v: 3 } }, { part: ["u", "v", "w"] });
  const brief = answer.checks(["k.p"]).map(({ member, verdict }) => [member, verdict]);
  assert.deepEqual(brief, [
    ["u", "pass"],
    ["v", "fail"],
    ["w", "unknown"],
  ]);
  assert.equal(answer.check("k.p", "v").verdict, "fail");
});

test("a verdict that rests on a comparison at the edge of equality is borderline", () => {
  const engine = engineOf({
    quantities: { ...PAIR, "t.y": ["if", 0, ["<", q("t.a"), q("t.b")], 1, 2], "t.z": q("t.y") },
    checks: { "k.z": { fail: [">", q("t.z"), 5] }, "k.a": { fail: [">", q("t.a"), 900] } },
  });
  const borderline = (b: number) =>
    engine
      .evaluate({ "t.a": 1, "t.b": b })
      .checks()
      .map((check) => check.borderline);
  assert.deepEqual(borderline(1 + 1e-9), [true, false]);
  assert.deepEqual(borderline(1 + 2e-9), [false, false]);
  assert.deepEqual(borderline(1), [false, false]);
});

test("whatever is asked first, the results are the same", () => {
  const engine = engineOf({
    quantities: {
      ...PAIR,
      "t.y": ["+", q("t.a"), 1],
      "p.x": { scope: "part" },
      "p.y": { scope: "part", tree: ["+", q("p.x"), q("t.y")] },
      "p.z": { scope: "part", tree: ["if", 0, ["<", q("p.y"), q("t.b")], q("p.y"), 0] },
      "t.all": ["sum", q("p.z")],
    },
    checks: {
      "k.z": { scope: "part", fail: [">", q("p.z"), 5] },
      "k.all": { fail: [">", q("t.all"), 5] },
    },
  });
  const ask = () =>
    engine.evaluate({ "t.a": 1, "t.b": 9, "p.x": { u: 2, v: 7 - 9e-9 } }, { part: ["u", "v"] });
  const questions: ((answer: Answer) => unknown)[] = [
    (answer) => answer.check("k.z", "v"),
    (answer) => answer.check("k.all"),
    (answer) => answer.value("p.z", "v"),
    (answer) => answer.step("p.z", "v").value,
    (answer) => answer.value("t.all"),
    (answer) => answer.checks().map(({ borderline }) => borderline),
  ];
  const [forwards, backwards] = [ask(), ask()];
  const expected = questions.map((question) => question(forwards));
  const reversed = [...questions].reverse().map((question) => question(backwards));
  assert.deepEqual(reversed.reverse(), expected);
  assert.deepEqual(
    questions.map((question) => question(ask())),
    expected,
  );
  assert.deepEqual(expected.at(-1), [true, true, true]);
});

test("conditions outside the graph hold or not", () => {
  const engine = engineOf({ quantities: MEMBERS });
  const answer: Answer = engine.evaluate({ "t.a": 1, "p.x": { u: 1 } }, { part: ["u", "v"] });
  const slot = (id: string) => engine.slot(id);
  assert.equal(answer.holds([">", ["q", slot("t.a")], 0]), true);
  assert.equal(answer.holds(["==", ["q", slot("p.x")], 1], "u"), true);
  assert.deepEqual(unknown(answer.holds(["==", ["q", slot("p.x")], 1], "v")).needs, [
    { id: "p.x", member: "v" },
  ]);
});
