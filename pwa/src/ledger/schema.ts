/** What the phone's database holds. Changes only ever add; an older release must still open it. */
import type { DBSchema, IDBPDatabase } from "idb";
import type { Edition } from "../bundle/update.ts";
import type { PhoneEvent } from "../generated/api.ts";
import type { ValueSet } from "../generated/records.ts";

export const VERSION = 1;

/** Where one epoch of a device ends: highest `seq` written, records found, hash of the last. */
export interface Head {
  device: string;
  epoch: string;
  seq: number;
  count: number;
  hash: string | null;
}

/** The database does not hold what was once written. */
export interface Alarm {
  what: "emptied" | "behind" | "holes";
  /** What the witness says was written. */
  seq: number;
  /** What was found. */
  found: number;
}

export interface Enrolment {
  device: string;
  token: string;
  /** Whose phone it is. */
  name: string;
  office: string;
  officeDevice: string;
}

/** A record's line as it was written, and what is asked about it often. */
export interface StoredRecord {
  /** SHA-256 of the line, hex. */
  hash: string;
  line: string;
  id: string;
  device: string;
  epoch: string;
  seq: number;
  site: string | null;
  system: string | null;
  visit: string | null;
  /** Order of arrival on this phone. */
  order: number;
  /** Written on this phone, under whatever device id it had. */
  mine: boolean;
  /** Place in the queue to the office; absent when it need not be sent. */
  waiting?: number;
  /** When the office said that it holds it, ms. */
  held?: number;
  /** Why the office set it aside, or why this phone gave up sending it. */
  parked?: string;
}

export interface StoredPhoto {
  hash: string;
  mime: string;
  size: number;
  parts: number;
  /** 1 until the office holds it. */
  waiting?: 1;
  /** When the office said that it holds it, ms. */
  held?: number;
  visit: string;
}

export interface PhotoPart {
  hash: string;
  part: number;
  bytes: ArrayBuffer;
}

/** What was typed and not yet kept. `key` says where: a calculator alone, or one in a visit. */
export interface Draft {
  key: string;
  values: Record<string, DraftValue>;
  /** ms */
  changed: number;
}

export interface DraftValue {
  text: string;
  unit: string | null;
  origin?: ValueSet["origin"];
  /** The record whose value was on the screen when this was entered. */
  replaces?: string;
  /** Confirmed although outside the usual. */
  sure?: boolean;
}

/** A timed step that runs. Times in ms; see timer.ts for what they mean. */
export interface RunningTimer {
  timer: string;
  visit: string;
  checklist: string;
  step: string;
  quantity: string | null;
  member: string | null;
  targetS: number | null;
  startedWall: number;
  session: string;
  seenWall: number;
  seenMono: number;
  asleepMs: number;
  jumpedMs: number;
}

export interface LogEntry {
  /** ms */
  at: number;
  what: string;
  detail: string;
}

/** The values of the store `meta`, by key. */
export interface Meta {
  enrolment: Enrolment;
  chain: Head;
  past: Head[];
  /** Last `order` given. */
  order: number;
  /** Records are missing, and nobody has said yet that they know. */
  alarm: Alarm;
  cursor: string;
  /** This phone's own records were lost and are fetched like those of others. */
  fetchOwn: boolean;
  generation: string;
  contact: { at: number; offsetMs: number };
  /** Hash of the edition for new visits. */
  edition: string;
  /** The store generation under which the edition was taken. */
  editionGeneration: string;
  /** The last edition that could not be used, and why; it is not tried again. */
  refusedEdition: { hash: string; app: string; reason: string };
}

export interface LedgerSchema extends DBSchema {
  records: {
    key: string;
    value: StoredRecord;
    indexes: {
      id: string;
      waiting: number;
      chain: [string, string, number];
      visit: string;
      order: number;
    };
  };
  meta: { key: keyof Meta; value: Meta[keyof Meta] };
  editions: { key: string; value: Edition };
  photos: { key: string; value: StoredPhoto; indexes: { waiting: number; visit: string } };
  parts: { key: [string, number]; value: PhotoPart };
  timers: { key: string; value: RunningTimer };
  drafts: { key: string; value: Draft };
  events: { key: string; value: PhoneEvent };
  log: { key: number; value: LogEntry };
}

export function upgrade(db: IDBPDatabase<LedgerSchema>, from: number): void {
  if (from >= 1) return;
  const records = db.createObjectStore("records", { keyPath: "hash" });
  records.createIndex("id", "id");
  records.createIndex("waiting", "waiting");
  records.createIndex("chain", ["device", "epoch", "seq"]);
  records.createIndex("visit", "visit");
  records.createIndex("order", "order");
  db.createObjectStore("meta");
  db.createObjectStore("editions", { keyPath: "hash" });
  const photos = db.createObjectStore("photos", { keyPath: "hash" });
  photos.createIndex("waiting", "waiting");
  photos.createIndex("visit", "visit");
  db.createObjectStore("parts", { keyPath: ["hash", "part"] });
  db.createObjectStore("timers", { keyPath: "timer" });
  db.createObjectStore("drafts", { keyPath: "key" });
  db.createObjectStore("events", { keyPath: "id" });
  db.createObjectStore("log", { autoIncrement: true });
}
