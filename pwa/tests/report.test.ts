import assert from "node:assert/strict";
import { test } from "node:test";
import { Engine } from "../src/engine/index.ts";
import { fold } from "../src/fold.ts";
import type { Bundle } from "../src/generated/bundle.ts";
import type { ValueSet } from "../src/generated/records.ts";
import type { Draft } from "../src/ledger/ledger.ts";
import { reportOf } from "../src/report.ts";
import type { Report } from "../src/report.ts";
import { evaluate, groundOn, quantityOf } from "../src/work.ts";
import { ABOUT, PHONE, VISIT, enrolled } from "./help.ts";

const source = { of: "demo" };
const disputed = { ...source, place: "Page 9", mark: "disputed" as const };
const metre = { unit: "m", limits: [-100, 100] as const };
const says = { pass: ["It fits."], caution: ["Look at it."], fail: ["Over."] };
const over = (slot: number, edge: number) => [">", ["q", slot], edge] as const;
const bundle: Bundle = {
  format: 1,
  packs: [{ id: "trade", rank: "trade", title: "Demo" }],
  units: {
    m: { scale: 1, label: "m" },
    s: { scale: 1, label: "s" },
    cm: { scale: 0.01, label: "cm" },
  },
  choices: {
    paint: {
      options: [
        { value: "oil", label: "Oil paint" },
        { value: "lime", label: "Lime" },
      ],
    },
  },
  collections: { post: { label: "Post", plural: "Posts" } },
  sources: { demo: { title: "Invented", kind: "demo" } },
  quantities: [
    { id: "post.length", label: "Length", scope: "post", each_visit: true, ...metre },
    { id: "nameplate.width", label: "Width", scope: "post", ...metre },
    { id: "gate.height", label: "Height", ...metre },
    {
      ...{ id: "gate.double", label: "Double", ...metre, tree: ["*", 2, ["q", 2]] },
      source: disputed,
    },
    { id: "gate.paint", label: "Paint", type: "choice", choices: "paint" },
    { id: "clock.offset", label: "Offset", ...metre },
    { id: "clock.set", label: "Set to", ...metre, tree: ["+", ["q", 5], 1], source },
    { id: "gate.slack", label: "Slack", ...metre },
    {
      id: "gate.swing",
      label: "Swing",
      type: "series",
      columns: [
        { name: "time", unit: "s" },
        { name: "angle", unit: "m" },
      ],
    },
  ],
  tables: [],
  checks: [
    {
      id: "post.short",
      label: "Post",
      scope: "post",
      caution: over(0, 3),
      says,
      source,
    },
    { id: "gate.low", label: "Gate", fail: over(3, 4), says, source },
    { id: "gate.loose", label: "Slack", fail: over(7, 1), says, source },
    { id: "gate.high", label: "Sky", fail: over(2, 90), says, source },
  ],
  cautions: [
    { id: "mind", text: "Mind the gate.", owner: true, source },
    { id: "own", text: "For the trade alone.", source },
    { id: "other", text: "Of work not done.", owner: true, source },
  ],
  calculators: [
    {
      ...{ id: "gate", title: "Gate", topic: "gate", enter: ["post.length", "gate.height"] },
      ...{ if_known: ["gate.paint", "gate.slack", "gate.swing", "nameplate.width"] },
      ...{ show: ["gate.double"], cautions: ["mind", "own"] },
      checks: ["post.short", "gate.low", "gate.loose", "gate.high"],
      charts: [{ id: "swing", title: "The swing", series: "gate.swing" }],
    },
    {
      ...{ id: "clock", title: "Clock", topic: "controls", enter: ["clock.offset"] },
      show: ["clock.set"],
    },
    { ...{ id: "x", title: "X", topic: "x", enter: [], show: [], cautions: ["other"] } },
  ],
  checklists: [
    { id: "walk", title: "Walk", steps: [{ id: "oil", act: "do", title: "Oil the hinges" }] },
  ],
};
const engine = new Engine(bundle);
const LEFT = "77777777-7777-4777-8777-777777777777";
const RIGHT = "88888888-8888-4888-8888-888888888888";

function set(
  quantity: string,
  text: string,
  si: ValueSet["si"],
  more: Partial<ValueSet> = {},
): Draft {
  const body = { quantity, text, unit: null, si, origin: "typed" as const, ...more };
  return { kind: "value-set", about: ABOUT, edition: null, body };
}

async function report(...drafts: Draft[]): Promise<Report> {
  const ledger = await enrolled({
    clock: { wall: () => new Date(2026, 10, 25, 9, 5), mono: () => 0 },
  });
  const member = (id: string, label: string): Draft => ({
    ...{ kind: "member-added", about: { ...ABOUT, visit: null }, edition: null },
    body: { collection: "post", member: id, label },
  });
  await ledger.write(
    {
      ...{ kind: "site-added", about: { ...ABOUT, system: null, visit: null }, edition: null },
      body: { name: "Mill", address: "2 Weir" },
    },
    {
      ...{ kind: "system-added", about: { ...ABOUT, visit: null }, edition: null },
      body: { label: "South gate" },
    },
    member(LEFT, "Left"),
    member(RIGHT, "Right"),
    {
      ...{ kind: "visit-opened", about: ABOUT, edition: null },
      body: { title: "Look at the gate", visit_kind: "maintenance", date: "2026-11-25" },
    },
    ...drafts,
  );
  const book = fold(ledger.entries.map(({ record }) => record));
  const ground = groundOn(book, book.visits.get(VISIT)!, engine);
  return reportOf({
    to: {
      ...{ bundle, system: "si" as const, quantity: (id: string) => quantityOf(engine, id) },
      labelOf: (id) => (id === LEFT ? "Left" : "Right"),
    },
    ...{ work: evaluate(ground), book, app: "0.1.0" },
    again: (key, si) => evaluate(ground, new Map([[key, si]])).answer,
    history: [],
    nameOf: (device) => (device === PHONE ? "Rosa" : "another"),
    edition: { hash: "abc", number: 7, date: "2026-11-01T08:00:00Z", note: "first" },
  });
}

test("what failed comes first, then what to look at, what is not known, what is within", async () => {
  const found = await report(
    set("gate.height", "2.5", 2.5),
    set("post.length", "4", 4, { member: LEFT }),
    set("post.length", "1", 1, { member: RIGHT }),
  );
  assert.deepEqual(
    found.findings.map(({ verdict, label, said }) => [verdict, label, said]),
    [
      ["fail", "Gate", "Over."],
      ["caution", "Post, Left", "Look at it."],
      ["unknown", "Slack", "needs: Slack"],
      ["pass", "Post, Right", "It fits."],
      ["pass", "Sky", "It fits."],
    ],
  );
  assert.deepEqual(
    found.findings.map(({ source }) => source),
    [
      "Invented · Rests on a figure in dispute: Invented · Page 9.",
      ...["Invented", "Invented", "Invented", "Invented"],
    ],
  );
});

test("a reading stands as it was typed, with the worst that rests on it and who wrote it", async () => {
  const found = await report(
    set("gate.height", "250", 2.5, { unit: "cm" }),
    set("post.length", "4", 4, { unit: "m", member: LEFT }),
    set("gate.paint", "oil", "oil", { origin: "picked" }),
    set("gate.slack", "0.5", 0.5, { unit: "m", origin: "offered" }),
  );
  assert.deepEqual(
    found.readings.map(({ title, rows }) => [title, rows.map((row) => Object.values(row))]),
    [
      [
        "Gate",
        [
          ["Length, Left", "4 m", "Rosa, 25 Nov 2026 09:05, clock not sure", "caution"],
          ["Height", "250 cm", "that is 2.5 m · Rosa, 25 Nov 2026 09:05, clock not sure", "fail"],
          ["Paint", "Oil paint", "Rosa, 25 Nov 2026 09:05, clock not sure", null],
          ["Slack", "0.5 m", "taken as computed · Rosa, 25 Nov 2026 09:05, clock not sure", "pass"],
        ],
      ],
    ],
  );
});

test("plates stand with the system, settings apart, a series with its chart", async () => {
  const found = await report(
    set("nameplate.width", "0.2", 0.2, { unit: "m", member: RIGHT }),
    set("clock.offset", "3", 3, { unit: "m" }),
    set("gate.swing", "0 s: 1 m; 2 s: 3 m", [
      [0, 1],
      [2, 3],
    ]),
  );
  assert.equal(found.place, "Mill, 2 Weir");
  assert.deepEqual(found.plates, [
    { title: "South gate", facts: [] },
    { title: "Left", facts: [] },
    { title: "Right", facts: [["Width", "0.2 m"]] },
  ]);
  assert.deepEqual(
    found.settings.map(({ label, figure }) => [label, figure]),
    [
      ["Offset", "3 m"],
      ["Set to", "4 m"],
    ],
  );
  assert.deepEqual(
    found.readings.map(({ title }) => title),
    ["Gate"],
  );
  assert.deepEqual(
    found.readings[0]!.charts.map(({ title, marks }) => [title, marks[0]?.said]),
    [["The swing", "3 m"]],
  );
});

test("cautions for the owner, notes, photos, signature and rules", async () => {
  const found = await report(
    set("gate.height", "1", 1),
    { kind: "note", about: ABOUT, edition: null, body: { text: "Hinge is worn." } },
    {
      ...{ kind: "photo", about: ABOUT, edition: null },
      body: { photo: "ab", mime: "image/jpeg", size: 3, caption: "The hinge" },
    },
    { kind: "signed", about: ABOUT, edition: null, body: { name: "Rosa P", statement: "Done." } },
    {
      ...{ kind: "step-done", about: ABOUT, edition: null },
      body: { checklist: "walk", step: "oil", outcome: "skipped", reason: "no oil left" },
    },
  );
  assert.deepEqual(found.cautions, [{ text: "Mind the gate.", source: "Invented" }]);
  assert.deepEqual(
    found.notes.map(({ text }) => text),
    ["Hinge is worn."],
  );
  assert.deepEqual(
    found.photos.map(({ hash, caption }) => [hash, caption]),
    [["ab", "The hinge"]],
  );
  assert.deepEqual(
    found.signatures.map(({ body }) => body.name),
    ["Rosa P"],
  );
  assert.deepEqual(found.findings[0], {
    ...{
      verdict: "caution",
      label: "Oil the hinges",
      said: "Skipped, because no oil left",
      source: "Walk",
    },
  });
  assert.deepEqual(found.rules, [
    ["Edition", "7, 1 Nov 2026, first"],
    ["Hash of its bytes", "abc"],
    ["Trade rules", "Demo"],
    ["Computed by", "Kneewall 0.1.0"],
  ]);
});
