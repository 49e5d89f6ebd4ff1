import assert from "node:assert/strict";
import { test } from "node:test";
import { bundleOf, isOlder, update } from "../src/bundle/update.ts";
import type { Outcome, UpdateOptions } from "../src/bundle/update.ts";
import type { EditionPointer } from "../src/generated/api.ts";
import { FORMAT, UNPACKED } from "../src/generated/bundle.ts";
import type { Bundle, Expr } from "../src/generated/bundle.ts";
import { Editions } from "../src/ledger/editions.ts";
import { sha256Hex } from "../src/ledger/hash.ts";
import type { Ledger } from "../src/ledger/ledger.ts";
import { Queue } from "../src/ledger/queue.ts";
import { openLedger } from "./help.ts";

/** As the office packs it, plainly: amounts are in metres, and so are SI. */
function packed({ format, ...sections }: Bundle): object {
  const columns = (rows: readonly object[]) => {
    const fields = new Set(rows.flatMap(Object.keys));
    const column = (field: string) => rows.map((row) => (row as Record<string, unknown>)[field]);
    return Object.fromEntries(
      [...fields].map((field) => [field, column(field).map((value) => value ?? null)]),
    );
  };
  const parts = (rows: readonly object[]) => ({ rows: columns(rows), count: [rows.length] });
  const rows = Object.entries(sections).map(([name, section]) => [
    name,
    Array.isArray(section)
      ? parts(section as object[])
      : { keys: [Object.keys(section)], values: parts(Object.values(section) as object[]) },
  ]);
  return { format, rows: Object.fromEntries(rows) as object };
}

/** Twice a length, with one worked example. */
function bundleBytes(
  change: { expected?: number; note?: string; format?: number; other?: Expr } = {},
): Uint8Array<ArrayBuffer> {
  const source = { of: "demo" };
  const length = { unit: "m", limits: [0, 100] as const };
  const bundle: Bundle = {
    format: change.format ?? FORMAT,
    packs: [{ id: "demo", rank: "trade", title: change.note ?? "Demo" }],
    units: { m: { scale: 1, label: "m" } },
    choices: {},
    collections: {},
    sources: { demo: { title: "Invented", kind: "demo" } },
    quantities: [
      { id: "rod.length", label: "Length", ...length },
      { id: "rod.twice", label: "Twice", ...length, tree: ["*", 2, ["q", 0]], source },
      { id: "rod.other", label: "Other", ...length, tree: change.other ?? 1, source },
    ],
    tables: [],
    checks: [],
    calculators: [
      { id: "rod", title: "Rod", topic: "rod", enter: ["rod.length"], show: ["rod.twice"] },
    ],
    examples: [
      {
        ...{ name: "three metres", calculator: "rod", source, given: { "rod.length": 3 } },
        expect: [{ quantity: "rod.twice", value: change.expected ?? 6 }],
      },
    ],
  };
  return new TextEncoder().encode(JSON.stringify(packed(bundle)));
}

function pointerTo(bytes: Uint8Array, change: Partial<EditionPointer> = {}): EditionPointer {
  return {
    ...{
      number: 1,
      hash: sha256Hex(bytes),
      size: bytes.length,
      format: FORMAT,
      date: "2026-11-25",
    },
    ...{ author: "Office", note: "", least_app: "0.1.0", signature: null },
    ...change,
  };
}

async function setUp(): Promise<{ ledger: Ledger; shelf: Editions }> {
  const ledger = await openLedger();
  return { ledger, shelf: new Editions(ledger) };
}

function take(
  shelf: Editions,
  bytes: Uint8Array<ArrayBuffer>,
  pointer: Partial<EditionPointer> = {},
  change: Partial<UpdateOptions> = {},
): Promise<Outcome> {
  return update(pointerTo(bytes, pointer), {
    ...{ shelf, app: "0.1.0", download: async () => bytes, sha256: sha256Hex },
    ...{ pause: async () => undefined, now: Date.now },
    ...change,
  });
}

test("an edition is tested and switched to, and found again", async () => {
  const { shelf } = await setUp();
  const bytes = bundleBytes();
  assert.equal((await take(shelf, bytes)).is, "switched");
  const current = await shelf.current();
  assert.equal(current?.hash, sha256Hex(bytes));
  assert.deepEqual(new Uint8Array(current!.bytes), bytes);
  assert.equal((await take(shelf, bytes)).is, "same");
});

test("an edition of the format before is taken as it is", async () => {
  const { shelf } = await setUp();
  const sections = { ...bundleOf(new TextDecoder().decode(bundleBytes())) };
  const bytes = new TextEncoder().encode(
    JSON.stringify({ ...sections, format: UNPACKED, order: [0] }),
  );
  assert.equal((await take(shelf, bytes, { format: UNPACKED })).is, "switched");
});

const first = bundleBytes({ note: "first" });
const second = bundleBytes({ note: "second" });
const refusals: [
  string,
  string,
  Uint8Array<ArrayBuffer>,
  Partial<EditionPointer>,
  Partial<UpdateOptions>,
][] = [
  ["a failed example", "self-test", bundleBytes({ expected: 7 }), { number: 2 }, {}],
  ["other bytes than named", "hash", second, { number: 2, hash: "0".repeat(64) }, {}],
  ["fewer bytes than named", "size", second, { number: 2, size: 5 }, {}],
  ["a format that is not known", "format", second, { number: 2, format: FORMAT + 1 }, {}],
  ["a newer app needed", "app", second, { number: 2, least_app: "0.10" }, {}],
  ["a lower number", "older", second, { number: 0 }, {}],
  ["no bundle at all", "unreadable", new TextEncoder().encode("<html>"), { number: 2 }, {}],
  [
    "an operator of a later release",
    "unreadable",
    bundleBytes({ other: ["fold", ["q", 0]] }),
    { number: 2 },
    {},
  ],
  [
    "a section that was never packed",
    "unreadable",
    new TextEncoder().encode(JSON.stringify({ format: FORMAT, rows: { quantities: { is: [] } } })),
    { number: 2 },
    {},
  ],
  ["another format inside", "unreadable", bundleBytes({ format: FORMAT + 1 }), { number: 2 }, {}],
];

for (const [name, why, bytes, pointer, change] of refusals) {
  test(`${name}: the edition is refused and the one before goes on`, async () => {
    const { shelf } = await setUp();
    await take(shelf, first);
    const outcome = await take(shelf, bytes, pointer, change);
    assert.equal(outcome.is, "refused");
    assert.equal(outcome.is === "refused" && outcome.refusal.why, why);
    assert.equal((await shelf.current())?.hash, sha256Hex(first));
  });
}

test("what failed names the example, the quantity and both values", async () => {
  const { shelf } = await setUp();
  const outcome = await take(shelf, bundleBytes({ expected: 7 }));
  assert.deepEqual(outcome, {
    is: "refused",
    refusal: {
      why: "self-test",
      fault: { example: "three metres", id: "rod.twice", expected: "7", found: "6" },
    },
  });
});

test("going back to older bytes is a new number and needs no download", async () => {
  const { shelf } = await setUp();
  await take(shelf, first);
  await take(shelf, second, { number: 2 });
  const outcome = await take(shelf, first, { number: 3 }, { download: () => assert.fail("asked") });
  assert.equal(outcome.is, "switched");
  assert.equal((await shelf.current())?.pointer.number, 3);
});

test("an office restored from a backup may have lower numbers", async () => {
  const { shelf } = await setUp();
  await take(shelf, first, { number: 5 });
  assert.equal((await take(shelf, second, { number: 4 }, { officeSetBack: true })).is, "switched");
});

test("a switch that is not written leaves the edition before", async () => {
  const { ledger, shelf } = await setUp();
  await take(shelf, first);
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = function (...args) {
    if (args[1] === "edition") throw new DOMException("no room", "QuotaExceededError");
    return put.apply(this, args);
  };
  try {
    await assert.rejects(take(shelf, second, { number: 2 }));
  } finally {
    IDBObjectStore.prototype.put = put;
  }
  assert.equal((await shelf.current())?.hash, sha256Hex(first));
  assert.equal(await shelf.get(sha256Hex(second)), null, "nothing half stays behind");
  assert.equal(await new Queue(ledger).meta("edition"), sha256Hex(first));
});

test("editions that a visit needs are kept, others let go", async () => {
  const { shelf } = await setUp();
  const third = bundleBytes({ note: "third" });
  await take(shelf, first);
  await take(shelf, second, { number: 2 });
  await take(shelf, third, { number: 3 });
  await shelf.prune(new Set([sha256Hex(first)]));
  assert.notEqual(await shelf.get(sha256Hex(first)), null);
  assert.equal(await shelf.get(sha256Hex(second)), null);
  assert.notEqual(await shelf.current(), null);
});

test("releases are compared number by number", () => {
  assert.equal(isOlder("0.9.1", "0.10"), true);
  assert.equal(isOlder("0.10", "0.9.1"), false);
  assert.equal(isOlder("1.2", "1.2.0"), false);
});
