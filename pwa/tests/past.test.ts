import assert from "node:assert/strict";
import { test } from "node:test";
import { keyOf } from "../src/book.ts";
import type { Visit } from "../src/book.ts";
import { fold } from "../src/fold.ts";
import type { Entry } from "../src/form.ts";
import type { VisitKind } from "../src/generated/records.ts";
import { earlierVisits, pastOf } from "../src/past.ts";
import { uuid4 } from "../src/ledger/uuid.ts";
import { SITE, SYSTEM, enrolled } from "./help.ts";

const START = Date.UTC(2026, 2, 1);

/** Visits one after the other, a day apart: their kind, system and what was read. */
async function visits(
  ...all: { kind: VisitKind; read?: number | null; system?: string }[]
): Promise<Visit[]> {
  let now = START;
  const ledger = await enrolled({ clock: { wall: () => new Date(now), mono: () => 0 } });
  const ids: string[] = [];
  for (const { kind, read, system = SYSTEM } of all) {
    const about = { site: SITE, system, visit: uuid4() };
    const body = { title: kind, visit_kind: kind, date: new Date(now).toISOString().slice(0, 10) };
    await ledger.write({ kind: "visit-opened", about, edition: null, body });
    await ledger.write({
      ...{ kind: "value-set", about, edition: null },
      body: {
        ...{ quantity: "duct.loss", text: String(read ?? ""), unit: null, si: read ?? null },
        origin: "typed",
      },
    });
    ids.push(about.visit);
    now += 24 * 3600 * 1000;
  }
  const book = fold(ledger.entries.map(({ record }) => record));
  return earlierVisits(book, book.visits.get(ids.at(-1)!)!);
}

function entry(change: Partial<Entry> = {}): Entry {
  return {
    quantity: { id: "duct.loss", label: "Loss" },
    ...{ member: null, key: keyOf("duct.loss", null), text: "", unit: null, si: null },
    ...{ problem: null, ask: false, changed: false, kept: null },
    ...change,
  };
}

const said = (earlier: readonly Visit[], of = entry()): (string | boolean | null)[][] =>
  pastOf(earlier, of).map(({ reading, day, baseline }) => [reading.text, day, baseline]);

test("the last time and the day it was put into service stand beside today's field", async () => {
  const earlier = await visits(
    { kind: "commissioning", read: 40 },
    { kind: "maintenance", read: 44 },
    { kind: "maintenance", read: 47 },
    { kind: "maintenance", read: 50 },
  );
  assert.equal(earlier.length, 3);
  assert.deepEqual(said(earlier), [
    ["47", "2026-03-03", false],
    ["40", "2026-03-01", true],
  ]);
});

test("a last reading that is the baseline itself is said once", async () => {
  const earlier = await visits({ kind: "install", read: 40 }, { kind: "fault" });
  assert.deepEqual(said(earlier), [["40", "2026-03-01", true]]);
});

test("other systems, later visits and readings taken out are passed over", async () => {
  const earlier = await visits(
    { kind: "maintenance", read: 44 },
    { kind: "maintenance", read: null },
    { kind: "maintenance", read: 99, system: uuid4() },
    { kind: "fault", read: 1 },
  );
  assert.deepEqual(said(earlier), [["44", "2026-03-01", false]]);
});

test("what the field shows as kept is not said again, an old name is understood", async () => {
  const earlier = await visits({ kind: "fault", read: 44 }, { kind: "fault" });
  const kept = pastOf(earlier, entry())[0]!.reading;
  assert.deepEqual(said(earlier, entry({ kept })), []);
  const renamed = { id: "duct.drop", label: "Loss", formerly: ["duct.loss"] };
  assert.equal(said(earlier, entry({ quantity: renamed })).length, 1);
});
