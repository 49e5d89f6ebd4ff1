/**
 * The records on this phone: written once, in order, each chained to the one before, and kept
 * until the office has held them for long enough.
 */
import type { EnrolReply, PhoneEvent } from "../generated/api.ts";
import type { At, Record as FieldRecord } from "../generated/records.ts";
import { Database } from "./database.ts";
import type { Transaction } from "./database.ts";
import { NotEnrolled } from "./errors.ts";
import { sha256Hex } from "./hash.ts";
import { PhoneLog } from "./log.ts";
import { remembered } from "./remembered.ts";
import type { Alarm, Enrolment, Head, Meta, StoredRecord } from "./schema.ts";
import { uuid4, uuid7 } from "./uuid.ts";
import { Witness } from "./witness.ts";
import type { Testimony } from "./witness.ts";

export type Kind = FieldRecord["kind"];
export type BodyOf<K extends Kind> = Extract<FieldRecord, { kind: K }>["body"];

/** What a record is about; null where it does not apply. */
export interface About {
  site: string | null;
  system: string | null;
  visit: string | null;
}

/** A record to be written. */
export type Draft = {
  [K in Kind]: { kind: K; about: About; edition: string | null; body: BodyOf<K> };
}[Kind];

export interface Entry {
  record: FieldRecord;
  stored: StoredRecord;
}

export interface Clock {
  wall(): Date;
  /** Since the app started, ms. */
  mono(): number;
}

export interface LedgerOptions {
  name?: string;
  app: string;
  clock: Clock;
  storage: Pick<Storage, "getItem" | "setItem">;
  /** Says in the person's language what an alarm means, for the office. */
  alarmText(alarm: Alarm): string;
  onBlocked?(): void;
  limitMs?: number;
}

const KEEP_HELD_MS = 30 * 24 * 3600 * 1000;

/** Fires "change" after records were written, came in, or changed their state. */
export class Ledger extends EventTarget {
  readonly db: Database;
  readonly log: PhoneLog;
  enrolment: Enrolment | null = null;
  alarm: Alarm | null = null;
  /** The office's clock minus this phone's at the last contact, ms; new records carry it. */
  offsetMs: number | null = null;
  /** All records, in the order of their arrival. */
  entries: Entry[] = [];

  readonly #options: LedgerOptions;
  readonly #witness: Witness;

  constructor(options: LedgerOptions) {
    super();
    this.#options = options;
    this.db = new Database({
      name: options.name ?? "kneewall",
      limitMs: options.limitMs ?? 5000,
      onBlocked: options.onBlocked ?? ((): void => undefined),
    });
    this.log = new PhoneLog(this.db);
    this.#witness = new Witness(options.storage);
  }

  /** Opens the database and compares it with the witness. Throws when it cannot be opened. */
  async start(): Promise<void> {
    const told = this.#witness.read();
    const found = await this.db.write(["meta", "records", "events"], async (tx) => {
      const meta = tx.objectStore("meta");
      const chain = ((await meta.get("chain")) as Head | undefined) ?? null;
      const enrolment = ((await meta.get("enrolment")) as Enrolment | undefined) ?? null;
      const contact = (await meta.get("contact")) as Meta["contact"] | undefined;
      const count = chain ? await countOf(tx, chain) : 0;
      const alarm = compare(told, chain, count);
      const before = ((await meta.get("alarm")) as Alarm | undefined) ?? null;
      if (!alarm) return { chain, enrolment, contact, alarm: before };
      await meta.put(alarm, "alarm");
      const fresh = await this.#newEpoch(tx, told, chain, count);
      const kept = enrolment ?? told?.enrolment ?? null;
      if (kept) await meta.put(kept, "enrolment");
      await tx
        .objectStore("events")
        .put(this.#event("witness-alarm", this.#options.alarmText(alarm)));
      return { chain: fresh, enrolment: kept, contact, alarm };
    });
    this.enrolment = found.enrolment;
    this.alarm = found.alarm;
    this.offsetMs = found.contact?.offsetMs ?? null;
    if (found.chain) this.#witness.write({ ...found.chain, enrolment: found.enrolment });
    await this.#letGo();
    const stored = await this.db.read(["records"], (tx) =>
      tx.objectStore("records").index("order").getAll(),
    );
    this.entries = stored.map(toEntry);
    if (found.alarm) await this.log.note("alarm", JSON.stringify(found.alarm));
  }

  /** A device of its own from now on. Records of an earlier enrolment stay and are still sent. */
  async enrol(reply: EnrolReply, name: string): Promise<void> {
    const enrolment: Enrolment = {
      device: reply.device,
      token: reply.token,
      name,
      office: reply.office,
      officeDevice: reply.office_device,
    };
    const chain = await this.db.write(["meta", "records"], async (tx) => {
      const meta = tx.objectStore("meta");
      const old = ((await meta.get("chain")) as Head | undefined) ?? null;
      if (old) await retire(tx, old);
      const fresh: Head = { device: reply.device, epoch: uuid4(), seq: 0, count: 0, hash: null };
      await meta.put(enrolment, "enrolment");
      await meta.put(fresh, "chain");
      await meta.put(reply.store_generation, "generation");
      // Another device is concerned by other records.
      await meta.delete("cursor");
      return fresh;
    });
    this.enrolment = enrolment;
    this.#witness.write({ ...chain, enrolment });
    this.dispatchEvent(new Event("change"));
  }

  /**
   * Writes records, all or none, and resolves when they are on disk. Throws a LedgerError when
   * they are not; then nothing was written.
   */
  async write(...drafts: Draft[]): Promise<FieldRecord[]> {
    if (!this.enrolment) throw new NotEnrolled("not enrolled");
    const at = this.#now();
    // Made before the transaction, so that a second attempt finds what the first did after all.
    const prepared = drafts.map((draft) => ({
      id: uuid7(this.#options.clock.wall().getTime()),
      draft,
    }));
    const { entries, chain } = await this.db.write(["records", "meta"], async (tx) => {
      const meta = tx.objectStore("meta");
      const records = tx.objectStore("records");
      let chain = (await meta.get("chain")) as Head;
      let order = ((await meta.get("order")) as number | undefined) ?? 0;
      const done = await records.index("id").count(prepared[0]!.id);
      if (done > 0) return { entries: await written(tx, prepared), chain };
      const entries: Entry[] = [];
      for (const { id, draft } of prepared) {
        const record = this.#envelope(id, draft, at, chain);
        const line = JSON.stringify(record);
        const hash = sha256Hex(line);
        order += 1;
        const stored: StoredRecord = {
          ...{ hash, line, id, device: chain.device, epoch: chain.epoch, seq: record.seq },
          ...{ ...draft.about, order, mine: true, waiting: order },
        };
        await records.add(stored);
        chain = { ...chain, seq: record.seq, count: chain.count + 1, hash };
        entries.push({ record, stored });
      }
      await meta.put(chain, "chain");
      await meta.put(order, "order");
      return { entries, chain };
    });
    this.#witness.write({ ...chain, enrolment: this.enrolment });
    this.entries = [...this.entries, ...entries];
    this.dispatchEvent(new Event("change"));
    return entries.map(({ record }) => record);
  }

  /** The person knows that records are missing. */
  async alarmSeen(): Promise<void> {
    await this.db.write(["meta"], (tx) => tx.objectStore("meta").delete("alarm"));
    this.alarm = null;
    this.dispatchEvent(new Event("change"));
  }

  /** Tells the office something at the next contact. */
  async tell(kind: PhoneEvent["kind"], text: string, edition: string | null = null): Promise<void> {
    await this.db.write(["events"], (tx) =>
      tx.objectStore("events").put(this.#event(kind, text, edition)),
    );
  }

  /** Reads the state of all records anew, after another part or another tab has changed it. */
  async refresh(): Promise<void> {
    const stored = await this.db.read(["records"], (tx) =>
      tx.objectStore("records").index("order").getAll(),
    );
    const known = new Map(this.entries.map((entry) => [entry.stored.hash, entry.record]));
    this.entries = stored.map((each) => {
      const record = known.get(each.hash);
      return record ? { record, stored: each } : toEntry(each);
    });
    this.dispatchEvent(new Event("change"));
  }

  get unsent(): StoredRecord[] {
    return this.entries.map(({ stored }) => stored).filter((each) => each.waiting !== undefined);
  }

  get parked(): Entry[] {
    return this.entries.filter(({ stored }) => stored.parked !== undefined);
  }

  /** When and by which clocks, as records keep it. */
  #now(): At {
    const wall = this.#options.clock.wall();
    const offset = 0 - wall.getTimezoneOffset();
    return {
      wall: localIso(wall, offset),
      offset_min: offset,
      mono_ms: Math.round(this.#options.clock.mono()),
      server_offset_ms: this.offsetMs,
    };
  }

  #envelope(id: string, draft: Draft, at: At, chain: Head): FieldRecord {
    return {
      ...{ id, device: chain.device, epoch: chain.epoch, seq: chain.seq + 1, prev: chain.hash },
      ...{ kind: draft.kind, version: 1, app: this.#options.app, edition: draft.edition, at },
      ...draft.about,
      body: draft.body,
    } as FieldRecord;
  }

  #event(kind: PhoneEvent["kind"], text: string, edition: string | null = null): PhoneEvent {
    return { id: uuid4(), kind, wall: this.#now().wall, text, edition };
  }

  /** The old epoch is closed with what the witness knew of it, so that the office sees the gap. */
  async #newEpoch(
    tx: Transaction<"readwrite">,
    told: Testimony | null,
    chain: Head | null,
    count: number,
  ): Promise<Head | null> {
    const device = chain?.device ?? told?.device;
    if (!device) return null;
    const last = told && (!chain || told.seq > chain.seq) ? told : chain;
    if (last) await retire(tx, { ...last, count });
    const fresh: Head = { device, epoch: uuid4(), seq: 0, count: 0, hash: null };
    const meta = tx.objectStore("meta");
    await meta.put(fresh, "chain");
    // What the office holds of this phone's own records comes back from there.
    await meta.delete("cursor");
    await meta.put(true, "fetchOwn");
    return fresh;
  }

  /**
   * Closed visits leave the phone 30 days after the office has held all of them, their photos in
   * any case; a few stay for what the next visit on their system rests on.
   */
  async #letGo(): Promise<void> {
    const before = this.#options.clock.wall().getTime() - KEEP_HELD_MS;
    await this.db.write(["records", "meta", "photos", "parts"], async (tx) => {
      const records = tx.objectStore("records");
      const visits = new Map<string, StoredRecord[]>();
      for (const each of await records.index("visit").getAll()) {
        visits.set(each.visit!, [...(visits.get(each.visit!) ?? []), each]);
      }
      const old = [...visits.values()].filter(
        (all) =>
          all.every((each) => !each.mine || (each.held !== undefined && each.held < before)) &&
          all.some(({ line }) => line.includes('"kind":"closed"') && isClosed(line)),
      );
      const chain = (await tx.objectStore("meta").get("chain")) as Head | undefined;
      const stay = remembered(old);
      const go = old.filter(([first]) => !stay.has(first!.visit!));
      for (const each of go.flat()) {
        await records.delete(each.hash);
        if (chain && each.device === chain.device && each.epoch === chain.epoch) chain.count -= 1;
      }
      if (chain && go.length > 0) await tx.objectStore("meta").put(chain, "chain");
      for (const [{ visit }] of old as [StoredRecord][]) await dropPhotos(tx, visit!);
    });
  }
}

function compare(told: Testimony | null, chain: Head | null, count: number): Alarm | null {
  if (chain && count < chain.count) return { what: "holes", seq: chain.count, found: count };
  if (!told || (!told.seq && !told.enrolment)) return null;
  if (!chain) return { what: "emptied", seq: told.seq, found: 0 };
  if (told.epoch !== chain.epoch || told.seq <= chain.seq) return null;
  return { what: "behind", seq: told.seq, found: chain.seq };
}

async function countOf(tx: Transaction<"readwrite">, { device, epoch }: Head): Promise<number> {
  const all = IDBKeyRange.bound([device, epoch, 0], [device, epoch, Infinity]);
  return tx.objectStore("records").index("chain").count(all);
}

async function retire(tx: Transaction<"readwrite">, head: Head): Promise<void> {
  const meta = tx.objectStore("meta");
  const past = ((await meta.get("past")) as Head[] | undefined) ?? [];
  const { device, epoch, seq, count, hash } = head;
  if (seq > 0) await meta.put([...past, { device, epoch, seq, count, hash }], "past");
}

async function written(tx: Transaction<"readwrite">, prepared: { id: string }[]): Promise<Entry[]> {
  const entries: Entry[] = [];
  for (const { id } of prepared) {
    const stored = await tx.objectStore("records").index("id").get(id);
    if (stored) entries.push(toEntry(stored));
  }
  return entries;
}

async function dropPhotos(tx: Transaction<"readwrite">, visit: string): Promise<void> {
  const photos = tx.objectStore("photos");
  for (const photo of await photos.index("visit").getAll(visit)) {
    if (photo.waiting) continue;
    await tx
      .objectStore("parts")
      .delete(IDBKeyRange.bound([photo.hash, 0], [photo.hash, Infinity]));
    await photos.delete(photo.hash);
  }
}

function toEntry(stored: StoredRecord): Entry {
  return { record: JSON.parse(stored.line) as FieldRecord, stored };
}

function isClosed(line: string): boolean {
  return (JSON.parse(line) as FieldRecord).kind === "closed";
}

function localIso(wall: Date, offsetMin: number): string {
  const local = new Date(wall.getTime() + offsetMin * 60_000).toISOString().slice(0, -1);
  const sign = offsetMin < 0 ? "-" : "+";
  const two = (n: number): string => String(Math.floor(n)).padStart(2, "0");
  const minutes = Math.abs(offsetMin);
  return `${local}${sign}${two(minutes / 60)}:${two(minutes % 60)}`;
}
