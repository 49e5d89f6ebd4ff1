import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { test } from "node:test";
import { openDB } from "idb";
import { NotEnrolled, StoreFull, StoreGone } from "../src/ledger/errors.ts";
import { PART_SIZE } from "../src/generated/api.ts";
import { exportName, inFiles, unsentLines, unsentPhotoLines } from "../src/ledger/export.ts";
import type { PhotoLine } from "../src/ledger/export.ts";
import type { VisitKind } from "../src/generated/records.ts";
import type { Ledger } from "../src/ledger/ledger.ts";
import { Photos } from "../src/ledger/photos.ts";
import { Queue } from "../src/ledger/queue.ts";
import { uuid7 } from "../src/ledger/uuid.ts";
import {
  ABOUT,
  MemoryStorage,
  VISIT,
  enrolReply,
  enrolled,
  freshName,
  note,
  openLedger,
} from "./help.ts";

const sha256 = (text: string): string => createHash("sha256").update(text, "utf8").digest("hex");

test("records are numbered without gaps and each names the one before", async () => {
  const ledger = await enrolled();
  await ledger.write(note("one"), note("two"));
  await ledger.write(note("three · ü"));
  const { entries } = ledger;
  assert.deepEqual(
    entries.map(({ record }) => record.seq),
    [1, 2, 3],
  );
  assert.equal(entries[0]!.record.prev, null);
  for (const [before, after] of [
    [0, 1],
    [1, 2],
  ] as const) {
    assert.equal(entries[after]!.record.prev, sha256(entries[before]!.stored.line));
  }
  for (const { stored } of entries) assert.equal(stored.hash, sha256(stored.line));
});

test("two writes at the same moment get different numbers", async () => {
  const ledger = await enrolled();
  await Promise.all(Array.from({ length: 20 }, (_, n) => ledger.write(note(String(n)))));
  const numbers = ledger.entries.map(({ record }) => record.seq).sort((a, b) => a - b);
  assert.deepEqual(
    numbers,
    Array.from({ length: 20 }, (_, n) => n + 1),
  );
});

test("a record is found again after a restart", async () => {
  const options = { name: freshName(), storage: new MemoryStorage() };
  const first = await enrolled(options);
  await first.write(note("kept"));
  await first.db.close();
  const second = await openLedger(options);
  assert.equal(second.alarm, null);
  assert.deepEqual(second.entries, first.entries);
  assert.equal(second.unsent.length, 1);
});

test("without an enrolment nothing is written", async () => {
  const ledger = await openLedger();
  await assert.rejects(ledger.write(note("lost")), NotEnrolled);
});

test("an aborted transaction is an error, and nothing was written", async () => {
  const ledger = await enrolled();
  await ledger.write(note("one"));
  const { add } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.add = function (...args) {
    const request = add.apply(this, args);
    this.transaction.abort();
    return request;
  };
  try {
    await assert.rejects(ledger.write(note("two")), StoreGone);
  } finally {
    IDBObjectStore.prototype.add = add;
  }
  assert.equal(ledger.entries.length, 1);
  const [record] = await ledger.write(note("three"));
  assert.equal(record!.seq, 2);
});

test("a full phone is told apart from a dead database", async () => {
  const ledger = await enrolled();
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = function () {
    throw new DOMException("no room", "QuotaExceededError");
  };
  try {
    await assert.rejects(ledger.write(note("two")), StoreFull);
  } finally {
    IDBObjectStore.prototype.put = put;
  }
  assert.equal(ledger.entries.length, 0);
});

test("a dead handle is opened anew and the record written once", async () => {
  const ledger = await enrolled();
  await ledger.write(note("one"));
  const { transaction } = IDBDatabase.prototype;
  let failures = 0;
  IDBDatabase.prototype.transaction = function (...args) {
    if (failures++ === 0) throw new DOMException("connection lost", "InvalidStateError");
    return transaction.apply(this, args);
  };
  try {
    await ledger.write(note("two"));
  } finally {
    IDBDatabase.prototype.transaction = transaction;
  }
  assert.equal(failures > 1, true);
  assert.deepEqual(
    ledger.entries.map(({ record }) => record.seq),
    [1, 2],
  );
});

test("a write that went through but was never reported is not written twice", async () => {
  const ledger = await enrolled();
  const { write } = ledger.db;
  let runs = 0;
  const twice: typeof write = async (stores, work) => {
    // What a connection that died after the flush looks like from here.
    if (stores.includes("records") && runs++ === 0) await write.call(ledger.db, stores, work);
    return write.call(ledger.db, stores, work) as ReturnType<typeof work>;
  };
  ledger.db.write = twice;
  await ledger.write(note("once"));
  ledger.db.write = write;
  await ledger.refresh();
  assert.equal(ledger.entries.length, 1);
  assert.equal(ledger.entries[0]!.record.seq, 1);
});

test("an emptied database raises the alarm and begins a new epoch", async () => {
  const options = { name: freshName(), storage: new MemoryStorage() };
  const first = await enrolled(options);
  await first.write(note("one"), note("two"));
  const { epoch } = first.entries[0]!.record;
  await first.db.close();
  await new Promise((done) => (indexedDB.deleteDatabase(options.name).onsuccess = done));
  const second = await openLedger(options);
  assert.deepEqual(second.alarm, { what: "emptied", seq: 2, found: 0 });
  assert.equal(second.enrolment?.token, "token");
  const [record] = await second.write(note("three"));
  assert.equal(record!.seq, 1);
  assert.notEqual(record!.epoch, epoch);
  const queue = new Queue(second);
  assert.deepEqual(
    (await queue.events()).map(({ kind, text }) => [kind, text]),
    [["witness-alarm", "emptied 2"]],
  );
  assert.equal((await queue.heads())[0]!.seq, 2);
  assert.equal(await queue.meta("fetchOwn"), true);
});

test("a database set back raises the alarm", async () => {
  const options = { name: freshName(), storage: new MemoryStorage() };
  const first = await enrolled(options);
  await first.write(note("one"), note("two"), note("three"));
  const { device, epoch } = first.entries[0]!.record;
  await first.db.write(["records", "meta"], async (tx) => {
    await tx.objectStore("records").delete(first.entries[2]!.stored.hash);
    const { hash } = first.entries[1]!.stored;
    await tx.objectStore("meta").put({ device, epoch, seq: 2, count: 2, hash }, "chain");
  });
  await first.db.close();
  const second = await openLedger(options);
  assert.deepEqual(second.alarm, { what: "behind", seq: 3, found: 2 });
  const heads = await new Queue(second).heads();
  assert.deepEqual(
    heads.map(({ seq, count }) => [seq, count]),
    [
      [3, 2],
      [0, 0],
    ],
  );
});

test("records that vanished in the middle raise the alarm", async () => {
  const options = { name: freshName(), storage: new MemoryStorage() };
  const first = await enrolled(options);
  await first.write(note("one"), note("two"), note("three"));
  await first.db.write(["records"], (tx) =>
    tx.objectStore("records").delete(first.entries[1]!.stored.hash),
  );
  await first.db.close();
  const second = await openLedger(options);
  assert.deepEqual(second.alarm, { what: "holes", seq: 3, found: 2 });
  await second.db.close();
  const third = await openLedger(options);
  assert.deepEqual(third.alarm, second.alarm, "shown until a person has seen it");
  assert.equal((await new Queue(third).events()).length, 1, "and told the office once");
  await third.alarmSeen();
  await third.db.close();
  assert.equal((await openLedger(options)).alarm, null);
});

test("a witness behind the database is no alarm", async () => {
  const options = { name: freshName(), storage: new MemoryStorage() };
  const first = await enrolled(options);
  await first.write(note("one"));
  const before = new Map(options.storage.items);
  await first.write(note("two"));
  for (const [key, value] of before) options.storage.setItem(key, value);
  await first.db.close();
  assert.equal((await openLedger(options)).alarm, null);
});

test("a database of a newer release is opened as it is", async () => {
  const options = { name: freshName(), storage: new MemoryStorage() };
  const first = await enrolled(options);
  await first.write(note("one"));
  await first.db.close();
  (await openDB(options.name, 7)).close();
  const second = await openLedger(options);
  assert.equal(second.entries.length, 1);
});

test("another tab that upgrades is let through", async () => {
  const name = freshName();
  const ledger = await enrolled({ name });
  const newer = await openDB(name, 8);
  newer.close();
  await ledger.write(note("after"));
  assert.equal(ledger.entries.length, 1);
});

test("a database that does not answer is an error in time, not a hang", async () => {
  const { open } = IDBFactory.prototype;
  IDBFactory.prototype.open = () => new IDBOpenDBRequest();
  try {
    await assert.rejects(openLedger({ limitMs: 20 }), StoreGone);
  } finally {
    IDBFactory.prototype.open = open;
  }
});

test("enrolling again keeps the unsent records of before", async () => {
  const ledger = await enrolled();
  await ledger.write(note("before"));
  const device = "66666666-6666-4666-8666-666666666666";
  await ledger.enrol(enrolReply({ device }), "Test phone");
  const [record] = await ledger.write(note("after"));
  assert.equal(record!.device, device);
  assert.equal(record!.seq, 1);
  assert.equal(ledger.unsent.length, 2);
  assert.deepEqual(
    (await new Queue(ledger).heads()).map(({ seq }) => seq),
    [1],
    "the office is told of the device enrolled now",
  );
});

test("closed visits leave 30 days after the office held them, but for what the next one rests on", async () => {
  let now = Date.UTC(2026, 10, 25);
  const clock = { wall: () => new Date(now), mono: () => 0 };
  const options = { name: freshName(), storage: new MemoryStorage(), clock };
  const ledger = await enrolled(options);
  const closed = async (what: string, kind: VisitKind): Promise<void> => {
    const about = { ...ABOUT, visit: uuid7(now) };
    const body = { title: what, visit_kind: kind, date: "2026-11-25" };
    await ledger.write(
      { kind: "visit-opened", about, edition: null, body },
      { ...note(what), about },
      { kind: "closed", about, edition: null, body: {} },
    );
    now += 1000;
  };
  await ledger.write(note("open"));
  await closed("install", "install");
  await closed("put into service", "commissioning");
  for (const call of ["a", "b", "c", "d"]) await closed(`call ${call}`, "fault");
  await closed("the last call", "maintenance");
  const hold = ledger.entries.map(({ stored }, line) => ({
    ...{ line, id: stored.id, hash: stored.hash, reason: null },
    status: "stored" as const,
  }));
  await new Queue(ledger).answered(hold, now);
  await ledger.db.close();
  const notes = ({ entries }: Ledger): string[] =>
    entries.flatMap(({ record }) => (record.kind === "note" ? record.body.text : []));
  now += 29 * 24 * 3600 * 1000;
  const soon = await openLedger(options);
  assert.equal(notes(soon).length, 8);
  await soon.db.close();
  now += 2 * 24 * 3600 * 1000;
  const later = await openLedger(options);
  assert.deepEqual(notes(later), [
    ...["open", "put into service", "call b", "call c", "call d", "the last call"],
  ]);
  assert.equal(later.entries.length, 1 + 5 * 3, "whole visits stay or go");
  await later.db.close();
  assert.equal((await openLedger(options)).alarm, null, "letting go is no loss");
});

test("the file of unsent records holds their bytes", async () => {
  const ledger = await enrolled();
  await ledger.write(note("one"), note("two"));
  const lines = ledger.entries.map(({ stored }) => stored.line);
  assert.deepEqual(unsentLines(ledger), [`${lines[0]}\n`, `${lines[1]}\n`]);
});

test("the log keeps its last 500 entries", async () => {
  const ledger = await openLedger();
  for (let n = 0; n < 510; n += 1) await ledger.log.note("tick", String(n));
  const all = await ledger.log.all();
  assert.equal(all.length, 500);
  assert.equal(all.at(-1)!.detail, "509");
});

test("a photo is kept in parts and comes back whole", async () => {
  const ledger = await enrolled();
  const photos = new Photos(ledger.db);
  const bytes = new Uint8Array(600_000).map((_, index) => index % 251);
  const hash = await photos.keep(bytes, "image/jpeg", "visit");
  assert.equal(hash, createHash("sha256").update(bytes).digest("hex"));
  const found = await photos.bytes(hash);
  assert.deepEqual(
    found!.parts.map((part) => part.byteLength),
    [262144, 262144, 75712],
  );
  assert.deepEqual(new Uint8Array(await new Blob(found!.parts).arrayBuffer()), bytes);
});

test("ids carry their time and version", () => {
  const id = uuid7(Date.UTC(2026, 10, 25, 12));
  assert.match(id, /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  assert.equal(parseInt(id.replaceAll("-", "").slice(0, 12), 16), Date.UTC(2026, 10, 25, 12));
});

test("the file of all not sent holds the records as written and the photos whole", async () => {
  const ledger = await enrolled();
  await ledger.write(note("one"), note("two"));
  const photos = new Photos(ledger.db);
  const bytes = new Uint8Array(PART_SIZE + 5).map((_, at) => (at * 31) % 256);
  const hash = await photos.keep(bytes, "image/jpeg", VISIT);
  assert.deepEqual(
    unsentLines(ledger),
    ledger.entries.map(({ stored }) => `${stored.line}\n`),
  );
  const [line, ...more] = await unsentPhotoLines(photos);
  assert.equal(more.length, 0);
  const read = JSON.parse(line!) as PhotoLine;
  assert.deepEqual([read.photo, read.mime, read.size], [hash, "image/jpeg", bytes.length]);
  assert.deepEqual(new Uint8Array(Buffer.from(read.base64, "base64")), bytes);
  await photos.held(hash, 1);
  assert.deepEqual(await unsentPhotoLines(photos), []);
});

test("what is more than the office takes at once goes in several files, no line cut", () => {
  const lines = ["aaaa", "bb", "cccccccc", "d"];
  assert.deepEqual(inFiles(lines, 6), [["aaaa", "bb"], ["cccccccc"], ["d"]]);
  assert.deepEqual(inFiles(lines), [lines]);
  const now = new Date(Date.UTC(2026, 10, 25, 9, 5));
  assert.equal(exportName(now), "kneewall-unsent-2026-11-25T090500.txt");
  assert.equal(exportName(now, 2, 3), "kneewall-unsent-2026-11-25T090500-2-of-3.txt");
});
