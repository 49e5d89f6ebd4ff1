import assert from "node:assert/strict";
import { test } from "node:test";
import type { Ledger } from "../src/ledger/ledger.ts";
import { Photos } from "../src/ledger/photos.ts";
import { Queue } from "../src/ledger/queue.ts";
import { Office } from "../src/sync/office.ts";
import { Sync } from "../src/sync/sync.ts";
import type { SyncOptions } from "../src/sync/sync.ts";
import { FakeOffice } from "./fake_office.ts";
import { MemoryStorage, OFFICE, enrolled, freshName, note } from "./help.ts";

async function setUp(
  records: number,
  change: Partial<SyncOptions> = {},
): Promise<{ ledger: Ledger; office: FakeOffice; sync: Sync }> {
  const ledger = await enrolled();
  for (let n = 0; n < records; n += 1) await ledger.write(note(`note ${n}`));
  const office = new FakeOffice();
  const sync = new Sync({
    ledger,
    office: new Office(office.fetch, () => ledger.enrolment?.token ?? null),
    app: "0.1.0",
    alone: (_name, work) => work(),
    about: async () => ({ edition: null, persisted: null, standalone: null, platform: "test" }),
    onPointer: async () => undefined,
    ...change,
  });
  return { ledger, office, sync };
}

/** Rounds until nothing waits; each ends the wait for its next try at once. */
async function untilSent(sync: Sync, ledger: Ledger, rounds = 40): Promise<void> {
  for (let round = 0; round < rounds; round += 1) {
    await sync.run();
    sync.stop();
    if (ledger.unsent.length === 0 && sync.state === "idle") return;
  }
  assert.fail(`still unsent: ${ledger.unsent.length}, ${sync.state}`);
}

function linesOf(ledger: Ledger): string[] {
  return ledger.entries.map(({ stored }) => stored.line);
}

test("250 records go in batches of a hundred, byte for byte, in order", async () => {
  const { ledger, office, sync } = await setUp(250);
  await sync.run();
  assert.equal(sync.state, "idle");
  assert.deepEqual(office.batches, [100, 100, 50]);
  assert.deepEqual([...office.held.values()], linesOf(ledger));
  assert.equal(ledger.unsent.length, 0);
});

test("an answer that is lost loses and doubles nothing", async () => {
  const { ledger, office, sync } = await setUp(30);
  let calls = 0;
  office.fault = (path) => (path === "records" && calls++ === 0 ? "cut after" : null);
  await sync.run();
  sync.stop();
  assert.equal(sync.state, "no-contact");
  assert.equal(ledger.unsent.length, 30, "not acknowledged is not sent");
  await untilSent(sync, ledger);
  assert.deepEqual([...office.held.values()].sort(), linesOf(ledger).sort());
});

test("through cuts at random, every record is held once or still on the phone", async () => {
  const { ledger, office, sync } = await setUp(60);
  let seed = 7;
  office.fault = () => {
    seed = (seed * 1103515245 + 12345) % 2 ** 31;
    const dice = seed / 2 ** 31;
    return dice < 0.12 ? "cut before" : dice < 0.24 ? "cut after" : dice < 0.28 ? "portal" : null;
  };
  for (let round = 0; round < 30; round += 1) {
    await sync.run();
    sync.stop();
    const waiting = new Set(ledger.unsent.map(({ hash }) => hash));
    const parked = new Set(ledger.parked.map(({ stored }) => stored.hash));
    for (const { stored } of ledger.entries) {
      const { hash } = stored;
      assert.equal(waiting.has(hash) || parked.has(hash) || office.held.has(hash), true);
    }
  }
  office.fault = () => null;
  await new Queue(ledger).retryParked();
  await untilSent(sync, ledger);
  assert.deepEqual([...office.held.values()].sort(), linesOf(ledger).sort());
});

test("a sign-in page in place of the office changes nothing", async () => {
  const { ledger, office, sync } = await setUp(3);
  office.fault = () => "portal";
  await sync.run();
  sync.stop();
  assert.equal(sync.state, "no-contact");
  assert.equal(sync.lastContact, null);
  assert.equal(ledger.unsent.length, 3);
});

test("a record that brings the office down is alone in the end and parked; the rest arrive", async () => {
  const { ledger, office, sync } = await setUp(40);
  office.fault = (_path, lines) =>
    lines.some((line) => line.includes('"note 17"')) ? "crash" : null;
  await sync.run();
  assert.equal(sync.state, "idle");
  assert.equal(office.held.size, 39);
  assert.equal(ledger.unsent.length, 0);
  assert.deepEqual(
    ledger.parked.map(({ stored }) => [stored.line.includes('"note 17"'), stored.parked]),
    [[true, "status 500"]],
  );
});

test("the same when the office just hangs up on it", async () => {
  const { ledger, office, sync } = await setUp(20);
  office.fault = (_path, lines) =>
    lines.some((line) => line.includes('"note 3"')) ? "cut before" : null;
  await untilSent(sync, ledger);
  assert.equal(office.held.size, 19);
  assert.equal(ledger.parked.length, 1);
});

test("an office that is ill as a whole makes the phone park nothing", async () => {
  const { ledger, office, sync } = await setUp(10);
  office.fault = (path) => (path === "reports" && office.reports === 0 ? null : "crash");
  await sync.run();
  sync.stop();
  assert.equal(sync.state, "failed");
  assert.equal(ledger.parked.length, 0);
  assert.equal(ledger.unsent.length, 10);
});

test("a record that the office sets aside stays here with the reason and blocks nothing", async () => {
  const { ledger, office, sync } = await setUp(5);
  office.refuses = (line) => (line.includes('"note 1"') ? "body: no such kind." : null);
  await sync.run();
  assert.equal(sync.state, "idle");
  assert.equal(office.held.size, 5);
  assert.deepEqual(
    ledger.parked.map(({ stored }) => stored.parked),
    ["body: no such kind."],
  );
});

test("an office restored from a backup gets everything kept here again", async () => {
  const { ledger, office, sync } = await setUp(8);
  await sync.run();
  for (const hash of [...office.held.keys()].slice(4)) office.held.delete(hash);
  office.generation = "g2";
  await sync.run();
  assert.equal(sync.state, "idle");
  assert.deepEqual([...office.held.values()].sort(), linesOf(ledger).sort());
});

test("a hole at the office is filled from here", async () => {
  const { ledger, office, sync } = await setUp(8);
  await sync.run();
  const hashes = [...office.held.keys()];
  office.held.delete(hashes[2]!);
  office.held.delete(hashes[7]!);
  await sync.run();
  assert.equal(office.held.size, 8);
  assert.deepEqual([...office.held.values()].sort(), linesOf(ledger).sort());
});

test("records of others come in once, page by page, and what is no record is passed over", async () => {
  const { ledger, office, sync } = await setUp(1);
  const others = await enrolled({ name: freshName(), storage: new MemoryStorage() });
  await others.enrol(
    {
      ...{ device: OFFICE, token: "t", office: "Demo office", office_device: OFFICE },
      ...{ store_generation: "g1", server_time: "" },
    },
    "Office",
  );
  for (const text of ["a", "b", "c"]) await others.write(note(text));
  office.feed = [...linesOf(others), "not json", '{"id":5}'];
  await sync.run();
  await sync.run();
  assert.equal(sync.state, "idle");
  const texts = ledger.entries.map(({ record }) => (record.body as { text: string }).text);
  assert.deepEqual(texts, ["note 0", "a", "b", "c"]);
  assert.equal(ledger.unsent.length, 0, "records of others are not sent back");
});

test("the office's wish to wait is kept and counts as no refusal", async () => {
  const { ledger, office, sync } = await setUp(2);
  office.fault = (path) => (path === "records" ? "wait" : null);
  await sync.run();
  sync.stop();
  assert.equal(sync.state, "no-contact");
  assert.equal(ledger.unsent.length, 2);
  assert.equal(ledger.parked.length, 0);
});

test("the clock difference is measured at the middle of a call and written into records", async () => {
  let now = Date.UTC(2026, 10, 25, 12);
  const { ledger, office, sync } = await setUp(0, { now: () => now });
  office.now = () => {
    now += 200;
    const middle = now;
    now += 200;
    return middle;
  };
  office.offsetMs = 90_000;
  await sync.run();
  const [record] = await ledger.write(note("later"));
  assert.equal(record!.at.server_offset_ms, 90_000);
});

test("while another tab is at it nothing is sent, and nothing fails", async () => {
  const { ledger, office, sync } = await setUp(2, { alone: async () => undefined });
  await sync.run();
  assert.equal(sync.state, "idle");
  assert.equal(office.held.size, 0);
  assert.equal(ledger.unsent.length, 2);
});

test("what the phone has to tell is repeated until a report was answered", async () => {
  const { ledger, office, sync } = await setUp(0);
  await ledger.tell("fault", "Something broke.");
  office.fault = (path) => (path === "reports" && office.reports === 0 ? "cut after" : null);
  await sync.run();
  sync.stop();
  await sync.run();
  await sync.run();
  assert.deepEqual(office.events, ["Something broke.", "Something broke."]);
});

test("a photo goes on where it was cut off", async () => {
  const { ledger, office, sync } = await setUp(0);
  const photos = new Photos(ledger.db);
  const bytes = new Uint8Array(700_000).map((_, index) => index % 253);
  const hash = await photos.keep(bytes, "image/jpeg", "visit");
  let puts = 0;
  office.fault = (path) => (/parts\/\d+$/.test(path) && puts++ === 1 ? "cut before" : null);
  await sync.run();
  sync.stop();
  assert.equal(sync.state, "no-contact");
  await sync.run();
  assert.equal(sync.state, "idle");
  assert.deepEqual(new Uint8Array(office.photos.get(hash)!), bytes);
  assert.equal(puts, 4, "the first part is not sent twice");
  assert.deepEqual(await photos.waiting(), []);
});
