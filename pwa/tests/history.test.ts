import assert from "node:assert/strict";
import { test } from "node:test";
import { plotOf } from "../src/charts.ts";
import type { Plot } from "../src/charts.ts";
import { Engine } from "../src/engine/index.ts";
import { fold } from "../src/fold.ts";
import type { Bundle, Chart } from "../src/generated/bundle.ts";
import type { VisitKind } from "../src/generated/records.ts";
import { historyOf } from "../src/history.ts";
import type { Then } from "../src/history.ts";
import type { Draft } from "../src/ledger/ledger.ts";
import { uuid4 } from "../src/ledger/uuid.ts";
import { evaluate, groundOn, quantityOf, snapshotOf } from "../src/work.ts";
import type { Typed, Work } from "../src/work.ts";
import { SITE, SYSTEM, enrolled } from "./help.ts";

const DAY = 24 * 3600 * 1000;
const START = Date.UTC(2026, 2, 1, 9);
const source = { of: "demo" };

const chart: Chart = {
  ...{ id: "left", title: "What is left", over: "visits", ends: null },
  ...{ show: ["belt.left"], lines: ["belt.least"] },
};
const readings: Chart = { id: "worn", title: "Wear", over: "visits", show: ["belt.worn"] };

/** Rules that differ in how much a new belt has, and perhaps in the unit of what is left. */
function rules(whole: number, unit = "m", more: Partial<Bundle> = {}): Engine {
  const length = { limits: [-100, 100] as const };
  return new Engine({
    format: 2,
    packs: [{ id: "demo", rank: "trade", title: "Demo" }],
    units: {
      m: { scale: 1, label: "m", dimension: "[length]", system: "si", partner: "ft" },
      ft: { scale: 0.3048, label: "ft", dimension: "[length]", system: "ip", partner: "m" },
      s: { scale: 1, label: "s", dimension: "[time]" },
    },
    choices: {},
    collections: {},
    sources: { demo: { title: "Invented", kind: "demo" } },
    quantities: [
      { id: "belt.worn", label: "Worn", unit: "m", ...length },
      { id: "belt.least", label: "Least", scope: "system", unit: "m", ...length },
      {
        ...{ id: "belt.left", label: "Left", unit, ...length, source },
        tree: ["-", whole, ["q", 0]],
      },
    ],
    tables: [],
    checks: [
      { id: "belt.thin", label: "Thin", fail: ["<", ["q", 2], ["q", 1]], says: {}, source },
      { id: "belt.read", label: "Read", caution: ["<", ["q", 0], 0], says: {}, source },
    ],
    calculators: [
      {
        ...{ id: "belt", title: "Belt", topic: "demo", enter: ["belt.worn", "belt.least"] },
        ...{ show: ["belt.left"], checks: ["belt.thin", "belt.read"], charts: [chart, readings] },
      },
    ],
    ...more,
  });
}

const NOW = rules(10);

interface Call {
  kind?: VisitKind;
  worn?: number;
  under?: string;
  /** Closed with what these rules find. */
  closed?: Engine;
  /** Of the reading, once it was closed. */
  correctedTo?: number;
  takenOut?: boolean;
  system?: string;
}

/** Visits a day apart; the last is looked at, under the rules `now`. */
async function looked(
  calls: readonly Call[],
  here: Readonly<Record<string, Engine>> = {},
  typed: Typed = new Map(),
): Promise<{ work: Work; history: Then[] }> {
  let now = START;
  const ledger = await enrolled({ clock: { wall: () => new Date(now), mono: () => 0 } });
  const read = (): ReturnType<typeof fold> => fold(ledger.entries.map(({ record }) => record));
  let visit = "";
  for (const call of calls) {
    const { kind = "maintenance", worn, under = "now", system = SYSTEM } = call;
    const about = { site: SITE, system, visit: (visit = uuid4()) };
    const record = (draft: Pick<Draft, "kind" | "body">): Draft =>
      ({ about, edition: under, ...draft }) as Draft;
    const value = (quantity: string, si: number): Draft =>
      record({
        kind: "value-set",
        body: { quantity, text: String(si), unit: "m", si, origin: "typed" },
      });
    const date = new Date(now).toISOString().slice(0, 10);
    await ledger.write(
      record({ kind: "visit-opened", body: { title: kind, visit_kind: kind, date } }),
      value("belt.least", 4),
    );
    if (worn !== undefined) await ledger.write(value("belt.worn", worn));
    const target = ledger.entries.at(-1)!.record.id;
    if (call.closed) {
      const book = read();
      const found = evaluate(groundOn(book, book.visits.get(visit)!, call.closed));
      await ledger.write(record({ kind: "closed", body: { results: snapshotOf(found) } }));
    }
    if (call.correctedTo !== undefined) {
      const si = call.correctedTo;
      const body = { record: target, text: String(si), unit: "m", si, reason: "misread" };
      await ledger.write(record({ kind: "corrected", body }));
    }
    if (call.takenOut) {
      await ledger.write(record({ kind: "voided", body: { record: target, reason: "not here" } }));
    }
    now += DAY;
  }
  const book = read();
  const work = evaluate(groundOn(book, book.visits.get(visit)!, NOW), typed);
  const rulesOf = (hash: string): Engine | null => ({ now: NOW, ...here })[hash] ?? null;
  return { work, history: historyOf(book, work, "now", rulesOf, now) };
}

function drawn(
  { work, history }: { work: Work; history: Then[] },
  of = chart,
  system: "ip" | "si" = "si",
): Plot | null {
  const { bundle } = NOW;
  const to = { bundle, system, labelOf: () => "", quantity: (id: string) => quantityOf(NOW, id) };
  const own = bundle.calculators[0]!.charts!.find(({ id }) => id === of.id)!;
  return plotOf(to, work, own, {}, () => work.answer, history);
}

const figures = (plot: Plot | null): (number | null)[] =>
  plot!.lines[0]!.points.map(([, figure]) => figure);

test("each visit stands where its day is, oldest first, with its value, verdict and what it is held against", async () => {
  const plot = drawn(
    await looked([
      { kind: "commissioning", worn: 0 },
      { worn: 3 },
      { worn: 99, system: uuid4() },
      { worn: 7 },
    ]),
  )!;
  assert.deepEqual(figures(plot), [10, 7, 3]);
  assert.deepEqual(
    plot.lines[0]!.points.map(([at]) => at - plot.lines[0]!.points[0]![0]),
    [0, 1, 3],
  );
  assert.deepEqual(
    plot.marks.map(({ said, first }) => [said, first]),
    [
      ["10 m", true],
      ["", false],
      ["3 m", false],
    ],
  );
  assert.deepEqual(plot.limits, [{ label: "Least", said: "4 m", at: 4 }]);
  assert.deepEqual(
    plot.visits!.map(({ day, baseline, figures: [figure] }) => [
      ...[day, baseline, figure?.said, figure?.verdict],
    ]),
    [
      ["2026-03-01", true, "10 m", "pass"],
      ["2026-03-02", false, "7 m", "pass"],
      ["2026-03-04", false, "3 m", "fail"],
    ],
  );
});

test("it is drawn in the person's units", async () => {
  const plot = drawn(await looked([{ worn: 10 - 3.048 }, { worn: 5 }]), chart, "ip")!;
  assert.equal(plot.up.unit, "ft");
  assert.equal(Math.round(figures(plot)[0]! * 1e9) / 1e9, 10);
  assert.equal(plot.visits![0]!.figures[0]!.said, "10 ft");
});

test("what a visit did not read is a gap; one value is a dot; none is said", async () => {
  const gap = drawn(await looked([{ worn: 1 }, {}, { worn: 3 }]));
  assert.deepEqual(figures(gap), [9, null, 7]);
  assert.deepEqual(gap!.visits![1]!.figures, [null]);
  const one = drawn(await looked([{}, { worn: 3 }]))!;
  assert.deepEqual([figures(one), one.marks.length], [[null, 7], 1]);
  const none = drawn(await looked([{}, {}]))!;
  assert.deepEqual([figures(none), none.marks, none.limits], [[null, null], [], []]);
});

test("what is typed and not kept yet counts for the visit looked at alone", async () => {
  const plot = drawn(await looked([{ worn: 1 }, {}], {}, new Map([["belt.worn\n", 6]])));
  assert.deepEqual(figures(plot), [9, 4]);
});

test("an earlier visit is found by its own rules where they are on the phone", async () => {
  const old = rules(20);
  const plot = drawn(await looked([{ worn: 1, under: "old" }, { worn: 3 }], { old }))!;
  assert.deepEqual(figures(plot), [19, 7]);
  assert.deepEqual(
    plot.visits!.map(({ otherRules }) => otherRules),
    [true, false],
  );
});

test("without its rules it is what its phone found when it was closed, and what was read", async () => {
  const all = await looked([{ worn: 9, under: "old", closed: rules(12) }, { worn: 3 }]);
  const plot = drawn(all)!;
  assert.deepEqual(figures(plot), [3, 7]);
  assert.equal(plot.visits![0]!.figures[0]!.verdict, "fail");
  const open = await looked([{ worn: 9, under: "old" }, { worn: 3 }]);
  assert.deepEqual(figures(drawn(open)), [null, 7]);
  assert.deepEqual(figures(drawn(open, readings)), [9, 3]);
});

test("what was corrected or taken out since then is not told by what was found before", async () => {
  const closed = { worn: 9, under: "old", closed: rules(12) };
  const corrected = await looked([{ ...closed, correctedTo: 8 }, { worn: 3 }]);
  assert.deepEqual(figures(drawn(corrected)), [null, 7]);
  assert.deepEqual(figures(drawn(corrected, readings)), [8, 3]);
  const out = await looked([{ ...closed, takenOut: true }, { worn: 3 }]);
  assert.deepEqual(figures(drawn(out)), [null, 7]);
  assert.deepEqual(figures(drawn(out, readings)), [null, 3]);
});

test("another thing of the same name, or none, belongs on no common line", async () => {
  const other = await looked([{ worn: 1, under: "old" }, { worn: 3 }], { old: rules(20, "s") });
  assert.deepEqual(figures(drawn(other)), [null, 7]);
  const [worn, least] = NOW.bundle.quantities;
  const none = rules(1, "m", {
    quantities: [worn!, least!],
    ...{ checks: [], calculators: [] },
  });
  const gone = await looked([{ worn: 1, under: "old" }, { worn: 3 }], { old: none });
  assert.deepEqual(figures(drawn(gone)), [null, 7]);
});

test("a check that does not name the quantity is no verdict on it", async () => {
  const plot = drawn(await looked([{ worn: -1 }, { worn: 3 }]))!;
  assert.deepEqual(
    plot.visits!.map(({ figures: [figure] }) => figure!.verdict),
    ["pass", "pass"],
  );
});
