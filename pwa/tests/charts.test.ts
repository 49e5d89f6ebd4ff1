import assert from "node:assert/strict";
import { test } from "node:test";
import { keyOf } from "../src/book.ts";
import { plotOf, seriesPlot } from "../src/charts.ts";
import type { Plot } from "../src/charts.ts";
import { Engine } from "../src/engine/index.ts";
import type { Bundle, Chart } from "../src/generated/bundle.ts";
import type { SiValue } from "../src/generated/records.ts";
import type { Speaker } from "../src/parts/say.ts";
import { evaluate, groundAlone } from "../src/work.ts";

const source = { of: "demo" };
const metre = { unit: "m", limits: [-100, 100] as const };
const bundle: Bundle = {
  format: 1,
  packs: [{ id: "demo", rank: "trade", title: "Demo" }],
  units: {
    m: { scale: 1, label: "m", system: "si", partner: "ft" },
    ft: { scale: 0.3048, label: "ft", system: "ip", partner: "m" },
    s: { scale: 1, label: "s" },
    min: { scale: 60, label: "min" },
  },
  choices: {},
  collections: { pole: { label: "Pole", plural: "Poles" } },
  sources: { demo: { title: "Invented", kind: "demo" } },
  quantities: [
    { id: "pole.length", label: "Length", scope: "pole", ...metre },
    {
      id: "pole.root",
      label: "Reach",
      scope: "pole",
      ...metre,
      tree: ["sqrt", ["-", ["q", 0], 2]],
      source,
    },
    { id: "wall.height", label: "Wall", ...metre },
    {
      id: "tide.read",
      label: "Tide",
      type: "series",
      columns: [
        { name: "time", unit: "min" },
        { name: "water_level", unit: "m" },
      ],
    },
  ],
  tables: [],
  checks: [],
  calculators: [],
};
const engine = new Engine(bundle);
const curve: Chart = {
  ...{ id: "reach", title: "Reach over length", over: "pole.length", ends: [0, 6] as const },
  ...{ steps: 6, show: ["pole.root"], lines: ["wall.height"] },
};

function plot(
  values: Record<string, SiValue>,
  chart: Chart,
  system: "ip" | "si",
  pole = "a",
): Plot | null {
  const to: Speaker = {
    ...{ bundle, system, labelOf: () => "" },
    quantity: (id) => bundle.quantities.find((each) => each.id === id) ?? null,
  };
  const ground = { ...groundAlone(engine), members: { pole: ["a", "b"] } };
  const typed = new Map<string, SiValue | null>(
    Object.entries(values).map(([name, si]) => [keyOf(...name.split("@")), si]),
  );
  const again = (key: string, si: number) =>
    evaluate(ground, new Map([...typed, [key, si]])).answer;
  return plotOf(to, evaluate(ground, typed), chart, { pole }, again, []);
}

test("a curve asks again at each step, leaves a gap where there is no answer, and marks the present", () => {
  const found = plot({ "pole.length@a": 3, "pole.length@b": 6, "wall.height": 1 }, curve, "si");
  assert.deepEqual(found?.lines, [
    {
      label: "",
      points: [
        ...[[0, null] as const, [1, null] as const, [2, 0] as const, [3, 1] as const],
        ...[[4, Math.sqrt(2)] as const, [5, Math.sqrt(3)] as const, [6, 2] as const],
      ],
    },
  ]);
  assert.deepEqual(found.marks, [{ x: 3, y: 1, said: "1 m" }]);
  assert.deepEqual(found.limits, [{ label: "Wall", said: "1 m", at: 1 }]);
  assert.deepEqual(found.rows[0], ["0 m", ""]);
  assert.deepEqual(found.rows.at(-1), ["6 m", "2 m"]);
});

test("another member has a mark of its own", () => {
  const found = plot({ "pole.length@a": 3, "pole.length@b": 6 }, curve, "si", "b");
  assert.deepEqual(found?.marks, [{ x: 6, y: 2, said: "2 m" }]);
  assert.deepEqual(found.limits, []);
});

test("it is drawn in the person's units", () => {
  const found = plot({ "pole.length@a": 3.048 }, curve, "ip");
  assert.deepEqual([found?.across.unit, found?.up.unit], ["ft", "ft"]);
  assert.equal(Math.round(found!.marks[0]!.x * 1e9) / 1e9, 10);
});

test("nothing is drawn where nothing is known", () => {
  assert.equal(plot({}, { ...curve, ends: [-3, -1] }, "si"), null);
});

test("a series is drawn as it was read, from its first reading on", () => {
  const chart: Chart = {
    id: "tide",
    title: "The tide",
    series: "tide.read",
    lines: ["wall.height"],
  };
  assert.equal(plot({}, chart, "si"), null);
  const one = plot({ "tide.read": [[0, 2]] }, chart, "si");
  assert.deepEqual(one?.marks, [{ x: 0, y: 2, said: "2 m" }]);
  const two = plot(
    {
      "tide.read": [
        [0, 2],
        [90, 3.5],
      ],
      "wall.height": 4,
    },
    chart,
    "si",
  );
  assert.deepEqual(two?.lines[0]?.points, [
    [0, 2],
    [1.5, 3.5],
  ]);
  assert.deepEqual(two.across, { label: "Time", unit: "min" });
  assert.deepEqual(two.up, { label: "Water level", unit: "m" });
  assert.deepEqual(two.rows, [
    ["0 min", "2 m"],
    ["1.5 min", "3.5 m"],
  ]);
  assert.equal(two.limits.length, 1);
});

test("a list is no series", () => {
  const to = { bundle, system: "si" as const, labelOf: () => "", quantity: () => null };
  assert.equal(seriesPlot(to, bundle.quantities[0]!, [1, 2]), null);
});
