import assert from "node:assert/strict";
import { test } from "node:test";
import { keyOf } from "../src/book.ts";
import { Engine } from "../src/engine/index.ts";
import type { Entry } from "../src/form.ts";
import type { Bundle, Value } from "../src/generated/bundle.ts";
import { offersFor } from "../src/offers.ts";
import type { Offer } from "../src/offers.ts";
import type { Speaker } from "../src/parts/say.ts";
import { evaluate, groundAlone } from "../src/work.ts";

const source = { of: "demo" };
const amp = { unit: "A", limits: [0, 1000] as const };
const bundle: Bundle = {
  format: 1,
  packs: [{ id: "demo", rank: "trade", title: "Demo" }],
  units: { A: { scale: 1, label: "A" } },
  choices: {},
  collections: { run: { label: "Run", plural: "Runs" } },
  sources: { demo: { title: "Invented", kind: "demo" } },
  quantities: [
    { id: "run.load", label: "Load", scope: "run", ...amp },
    { id: "run.fuse", label: "Fuse", scope: "run", ...amp },
    {
      id: "run.least",
      label: "Least fuse",
      scope: "run",
      ...amp,
      tree: ["/", ["q", 0], 3],
      offers: "run.fuse",
      source,
    },
    { id: "day.done", label: "Day", type: "date" },
  ],
  tables: [],
  checks: [],
  calculators: [
    { id: "fuses", title: "Fuses", topic: "run", enter: ["run.load"], show: ["run.least"] },
  ],
};
const engine = new Engine(bundle);

function offers(
  loads: Record<string, number>,
  of: { id?: string; member: string; text?: string; si?: number },
): Offer[] {
  const { id = "run.fuse", member, text = "", si = null } = of;
  const quantity = bundle.quantities.find((each) => each.id === id)!;
  const to: Speaker = {
    ...{ bundle, system: "ip" as const, labelOf: () => "" },
    quantity: (id) => bundle.quantities.find((each) => each.id === id) ?? null,
  };
  const typed = new Map(Object.entries(loads).map(([run, load]) => [keyOf("run.load", run), load]));
  const members = { run: ["a", "b"] };
  const work = evaluate({ ...groundAlone(engine), members }, typed);
  const entry: Entry = {
    ...{ quantity, member, key: keyOf(id, member), text, unit: null, si: si as Value as number },
    ...{ problem: null, ask: false, changed: text !== "", kept: null },
  };
  return offersFor(to, work, entry, "2026-11-25");
}

test("what is found is offered to its own member, with the way to its working", () => {
  const loads = { a: 30, b: 60 };
  const href = "/calculators/fuses/run.least?member=";
  const offer = { by: "Fuses", is: "free" };
  assert.deepEqual(offers(loads, { member: "a" }), [
    { ...offer, text: "10", said: "10 A", href: `${href}a` },
  ]);
  assert.deepEqual(offers(loads, { member: "b" }), [
    { ...offer, text: "20", said: "20 A", href: `${href}b` },
  ]);
});

test("nothing is offered while it is unknown", () => {
  assert.deepEqual(offers({ b: 60 }, { member: "a" }), []);
});

test("what was taken is the same, though it was rounded; what was chosen differently is not", () => {
  const loads = { a: 100 };
  assert.equal(offers(loads, { member: "a" })[0]?.text, "33.33");
  assert.equal(offers(loads, { member: "a", text: "33.33", si: 33.33 })[0]?.is, "same");
  assert.equal(offers(loads, { member: "a", text: "30", si: 30 })[0]?.is, "other");
});

test("what cannot be read is not the same as anything", () => {
  assert.equal(offers({ a: 30 }, { member: "a", text: "ten" })[0]?.is, "other");
});

test("an empty day is offered today", () => {
  const [offer, ...more] = offers({}, { id: "day.done", member: "" });
  assert.equal(offer?.text, "2026-11-25");
  assert.equal(offer?.is, "free");
  assert.equal(more.length, 0);
});
