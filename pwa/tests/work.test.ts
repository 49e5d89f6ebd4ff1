import assert from "node:assert/strict";
import { test } from "node:test";
import { fold } from "../src/fold.ts";
import { Engine } from "../src/engine/index.ts";
import { Form } from "../src/form.ts";
import type { Bundle, Checklist } from "../src/generated/bundle.ts";
import { decidedAt } from "../src/decided.ts";
import { Drafts } from "../src/ledger/drafts.ts";
import type { Draft, Ledger } from "../src/ledger/ledger.ts";
import {
  clearedBy,
  evaluate,
  groundAlone,
  groundOn,
  heldBackBy,
  nextStep,
  snapshotOf,
  stepsOf,
  waitOf,
} from "../src/work.ts";
import type { Work } from "../src/work.ts";
import { ABOUT, VISIT, enrolled } from "./help.ts";

const source = { of: "demo" };
const length = { unit: "m", limits: [-100, 100] as const };
const bundle: Bundle = {
  format: 1,
  packs: [{ id: "demo", rank: "trade", title: "Demo" }],
  units: {
    m: { scale: 1, label: "m" },
    cm: { scale: 0.01, label: "cm", spellings: ["centimetres"] },
  },
  choices: {},
  collections: { rod: { label: "Rod", plural: "Rods" } },
  sources: { demo: { title: "Invented", kind: "demo" } },
  quantities: [
    {
      id: "rod.length",
      label: "Length",
      scope: "rod",
      ...length,
      usual: [0, 10],
      formerly: ["rod.len"],
    },
    {
      id: "rod.twice",
      label: "Twice",
      scope: "rod",
      ...length,
      tree: ["*", 2, ["q", 0]],
      source,
    },
    { id: "wall.height", label: "Height", scope: "site", ...length },
    { id: "wall.tall", label: "Tall", type: "flag", tree: [">", ["q", 2], 3], source },
  ],
  tables: [],
  checks: [{ id: "wall.low", label: "Low", fail: ["q", 3], says: {}, source }],
  calculators: [
    { id: "rods", title: "Rods", topic: "rod", enter: ["rod.length"], show: ["rod.twice"] },
    {
      id: "wall",
      title: "Wall",
      topic: "wall",
      enter: ["wall.height"],
      show: ["wall.tall"],
      checks: ["wall.low"],
    },
  ],
  checklists: [
    {
      id: "list",
      title: "List",
      steps: [
        { id: "one", act: "do", title: "One" },
        { id: "two", act: "do", title: "Two", after: ["one"] },
        { id: "ladder", act: "do", title: "Ladder", when: ["q", 3] },
        { id: "four", act: "do", title: "Four", after: ["two", "ladder"] },
      ],
    },
    {
      id: "later",
      title: "Later",
      steps: [
        { id: "roof", act: "do", title: "Roof", needs: ["q", 3], held: "Not before it is tall." },
        { id: "door", act: "do", title: "Door" },
      ],
    },
    {
      id: "site",
      title: "Site",
      steps: [
        { id: "measure", act: "read", title: "Measure", enter: ["wall.height"] },
        { id: "judge", act: "do", title: "Judge", checks: ["wall.low"] },
      ],
    },
  ],
};
const engine = new Engine(bundle);
const list = bundle.checklists![0] as Checklist;
const ROD = "77777777-7777-4777-8777-777777777777";

async function ledgerWith(...drafts: Draft[]): Promise<Ledger> {
  const ledger = await enrolled();
  const start: Draft[] = [
    {
      ...{ kind: "member-added", about: { ...ABOUT, visit: null }, edition: null },
      body: { collection: "rod", member: ROD, label: "Rod 1" },
    },
    {
      ...{ kind: "visit-opened", about: ABOUT, edition: null },
      body: { title: "Work", visit_kind: "fault", date: "2026-11-25" },
    },
  ];
  await ledger.write(...start, ...drafts);
  return ledger;
}

function workOn(ledger: Ledger): Work {
  const book = fold(ledger.entries.map(({ record }) => record));
  return evaluate(groundOn(book, book.visits.get(VISIT)!, engine));
}

function set(quantity: string, si: number | null, member: string | null = null): Draft {
  const body = {
    quantity,
    member,
    text: String(si ?? ""),
    unit: "m",
    si,
    origin: "typed" as const,
  };
  return { kind: "value-set", about: ABOUT, edition: null, body };
}

function done(
  step: string,
  outcome: "done" | "skipped" | "not-applicable" = "done",
  checklist = "list",
): Draft {
  const body = { checklist, step, outcome, reason: "because" };
  return { kind: "step-done", about: ABOUT, edition: null, body };
}

test("a step is held back until those before it are done; leaving one out does not free it", async () => {
  const held = (work: Work, id: string): string[] =>
    heldBackBy(
      work,
      list,
      list.steps.find((step) => step.id === id)!,
    ).map((step) => step.id);
  assert.deepEqual(held(workOn(await ledgerWith()), "two"), ["one"]);
  assert.deepEqual(held(workOn(await ledgerWith(done("one", "skipped"))), "two"), ["one"]);
  assert.deepEqual(held(workOn(await ledgerWith(done("one", "not-applicable"))), "two"), []);
  assert.deepEqual(held(workOn(await ledgerWith(done("one"))), "two"), []);
});

test("a step that does not apply is not shown and holds nothing back; unknown is shown", async () => {
  const steps = (work: Work): string[] => stepsOf(work, list).map(({ id }) => id);
  assert.deepEqual(steps(workOn(await ledgerWith())), ["one", "two", "ladder", "four"]);
  const low = workOn(await ledgerWith(set("wall.height", 2), done("one"), done("two")));
  assert.deepEqual(steps(low), ["one", "two", "four"]);
  assert.equal(nextStep(low, list)?.id, "four");
});

test("what a step clears is asked anew: recorded once, and not where nothing stands", async () => {
  const step = { id: "on", act: "do", title: "Power on", clears: ["wall.height"] } as const;
  const before = workOn(await ledgerWith(set("wall.height", 2)));
  const [cleared, ...more] = clearedBy(before, step);
  assert.deepEqual(more, []);
  assert.equal(cleared!.replaces, [...before.readings.values()][0]!.source.record);
  const draft: Draft = { kind: "value-set", about: ABOUT, edition: null, body: cleared! };
  const after = workOn(await ledgerWith(set("wall.height", 2), draft));
  assert.equal(after.readings.size, 0);
  assert.deepEqual(clearedBy(after, step), []);
});

test("a step waits until what it needs is true; false and unknown hold it back", async () => {
  const later = bundle.checklists![1] as Checklist;
  const [roof] = later.steps;
  const unknown = workOn(await ledgerWith());
  const missing = [{ id: "wall.height" }];
  assert.deepEqual(waitOf(unknown, roof!), { held: "Not before it is tall.", needs: missing });
  assert.equal(nextStep(unknown, later)?.id, "door");
  const low = workOn(await ledgerWith(set("wall.height", 2)));
  assert.deepEqual(waitOf(low, roof!), { held: "Not before it is tall.", needs: [] });
  const tall = workOn(await ledgerWith(set("wall.height", 4)));
  assert.equal(waitOf(tall, roof!), null);
  assert.equal(nextStep(tall, later)?.id, "roof");
});

test("a step that waits names the steps where that was decided", async () => {
  const later = bundle.checklists![1] as Checklist;
  const [roof] = later.steps;
  const named = (work: Work): string[] =>
    decidedAt(work, later, roof!).map(({ checklist, step }) => `${checklist.id}/${step.id}`);
  // The list that judges the height takes part once one of its steps was dealt with.
  assert.deepEqual(named(workOn(await ledgerWith(set("wall.height", 4)))), []);
  const measured = await ledgerWith(set("wall.height", 2), done("measure", "done", "site"));
  assert.deepEqual(named(workOn(measured)), ["site/measure"]);
  const judged = await ledgerWith(set("wall.height", 4), done("measure", "done", "site"));
  assert.deepEqual(named(workOn(judged)), ["site/judge"]);
});

test("the next step counts the one at hand as done", async () => {
  const work = workOn(await ledgerWith());
  assert.equal(nextStep(work, list)?.id, "one");
  assert.equal(nextStep(work, list, "one")?.id, "two");
});

test("what the phone found goes along: results and verdicts of what was worked on", async () => {
  const work = workOn(await ledgerWith(set("wall.height", 4), set("rod.length", 1, ROD)));
  assert.deepEqual(snapshotOf(work), {
    results: [
      { quantity: "rod.twice", member: ROD, si: 2 },
      { quantity: "wall.tall", si: true },
    ],
    checks: [{ id: "wall.low", verdict: "fail" }],
  });
});

test("a value under an old name is found, one of another edition changes nothing", async () => {
  const work = workOn(await ledgerWith(set("rod.len", 3, ROD), set("gone.away", 9)));
  assert.equal(work.answer.value("rod.twice", ROD), 6);
  assert.equal(work.readings.size, 2);
});

test("what was typed is kept as typed, with the record it replaces", async () => {
  const ledger = await ledgerWith(set("wall.height", 2));
  const work = workOn(ledger);
  const form = new Form(new Drafts(ledger.db), "visit/x");
  const slot = { quantity: bundle.quantities[2]!, member: null };
  const kept = work.readings.get("wall.height\n") ?? [...work.readings.values()][0]!;
  const entry = form.entry(bundle, slot, kept);
  assert.equal(entry.changed, false);
  form.set(entry, "250,5 centimetres", { unit: "m" });
  const changed = form.entry(bundle, slot, kept);
  assert.equal(changed.si, 2.505);
  assert.deepEqual(form.toKeep([changed], "wall"), [
    {
      ...{
        quantity: "wall.height",
        member: null,
        text: "250,5 centimetres",
        unit: "cm",
        si: 2.505,
      },
      ...{ origin: "typed", calculator: "wall", replaces: kept.source.record },
    },
  ]);
});

test("what cannot be read or is unusual is not kept and not computed with", async () => {
  const ledger = await enrolled();
  const form = new Form(new Drafts(ledger.db), "alone/x");
  const slot = { quantity: bundle.quantities[0]!, member: null };
  for (const [text, sure, si] of [
    ["1,234", false, null],
    ["50", false, null],
    ["50", true, 50],
    ["500", true, null],
  ] as const) {
    form.set(form.entry(bundle, slot, null), text, sure ? { sure } : {});
    const entry = form.entry(bundle, slot, null);
    assert.equal(entry.si, si, text);
    assert.equal(form.toKeep([entry], null).length, si === null ? 0 : 1);
    const work = evaluate(groundAlone(engine), form.typed([entry]));
    assert.equal(work.answer.value("rod.twice") === 100, si === 50);
  }
});

test("a kept value that was emptied is missing, and is cleared by a record", async () => {
  const ledger = await ledgerWith(set("wall.height", 2));
  const book = fold(ledger.entries.map(({ record }) => record));
  const ground = groundOn(book, book.visits.get(VISIT)!, engine);
  const form = new Form(new Drafts(ledger.db), "visit/y");
  const slot = { quantity: bundle.quantities[2]!, member: null };
  const kept = [...ground.readings.values()][0]!;
  form.set(form.entry(bundle, slot, kept), "");
  const entry = form.entry(bundle, slot, kept);
  assert.notEqual(evaluate(ground, form.typed([entry])).answer.value("wall.tall"), false);
  assert.deepEqual(
    form.toKeep([entry], null).map(({ si, text }) => [si, text]),
    [[null, ""]],
  );
});

test("drafts come back after a restart", async () => {
  const ledger = await enrolled();
  const slot = { quantity: bundle.quantities[0]!, member: null };
  const before = new Form(new Drafts(ledger.db), "alone/z");
  before.set(before.entry(bundle, slot, null), "3");
  await before.settled();
  const after = new Form(new Drafts(ledger.db), "alone/z");
  await after.load();
  assert.equal(after.entry(bundle, slot, null).si, 3);
  after.forget();
  await after.settled();
  await before.load();
  assert.equal(before.entry(bundle, slot, null).text, "");
});
