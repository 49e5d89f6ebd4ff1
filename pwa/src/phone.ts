/** The phone as a whole: its ledger, its rules, its contact with the office. One for the page. */
import { fold } from "./fold.ts";
import type { Book, Visit } from "./book.ts";
import { stateOf } from "./book.ts";
import { openBundle, update } from "./bundle/update.ts";
import type { Edition, Refusal } from "./bundle/update.ts";
import type { Engine } from "./engine/index.ts";
import type { EditionPointer } from "./generated/api.ts";
import type { Record as FieldRecord } from "./generated/records.ts";
import { Drafts } from "./ledger/drafts.ts";
import { Editions } from "./ledger/editions.ts";
import { StoreFull } from "./ledger/errors.ts";
import { sha256Hex } from "./ledger/hash.ts";
import { Ledger } from "./ledger/ledger.ts";
import type { Draft } from "./ledger/ledger.ts";
import { Photos } from "./ledger/photos.ts";
import { Queue } from "./ledger/queue.ts";
import { Timers } from "./ledger/timers.ts";
import { uuid4 } from "./ledger/uuid.ts";
import { Release } from "./release.ts";
import { readSettings, writeSettings } from "./settings.ts";
import type { Settings } from "./settings.ts";
import { Office } from "./sync/office.ts";
import { Sync } from "./sync/sync.ts";
import { en } from "./words/en.ts";
import { words } from "./words/index.ts";

/** An edition made ready. */
export interface Rules {
  hash: string;
  pointer: EditionPointer;
  engine: Engine;
}

export type Start = "starting" | "ready" | "no-store";

const SAY_MS = 6000;
const pause = (): Promise<void> => new Promise((done) => setTimeout(done));

/** Fires "change" whenever something that a screen shows may have changed. */
export class Phone extends EventTarget {
  readonly ledger: Ledger;
  readonly photos: Photos;
  readonly drafts: Drafts;
  readonly timers: Timers;
  readonly queue: Queue;
  readonly editions: Editions;
  readonly office: Office;
  readonly sync: Sync;
  readonly release = new Release();
  /** Names this start of the app: monotonic times of two of them cannot be compared. */
  readonly session = uuid4();

  settings: Settings = readSettings();
  start: Start = "starting";
  /** The rules for new visits; null while this phone has none. */
  rules: Rules | null = null;
  /** Said in the strip and to screen readers: what was saved, what was not. */
  message = "";
  trouble = "";
  /** Storage that the browser does not clear by itself; null: not known. */
  persisted: boolean | null = null;
  refusedEdition: { hash: string; reason: string } | null = null;

  #book: { of: unknown; book: Book } | null = null;
  #saying: ReturnType<typeof setTimeout> | undefined;
  readonly #opened = new Map<string, Promise<Rules | null>>();

  constructor() {
    super();
    this.ledger = new Ledger({
      app: APP_VERSION,
      clock: { wall: () => new Date(), mono: () => performance.now() },
      storage: localStorage,
      alarmText: en.alarm.forOffice,
      onBlocked: () => this.#trouble(words.store.blocked),
    });
    const { db } = this.ledger;
    this.photos = new Photos(db);
    this.drafts = new Drafts(db);
    this.timers = new Timers(db);
    this.queue = new Queue(this.ledger);
    this.editions = new Editions(this.ledger);
    this.office = new Office(
      (url, init) => fetch(url, init),
      () => this.ledger.enrolment?.token ?? null,
    );
    this.sync = new Sync({
      ledger: this.ledger,
      office: this.office,
      app: APP_VERSION,
      alone: (name, work) => alone(name, work),
      about: async () => this.#about(),
      onPointer: (pointer) => this.#onPointer(pointer),
    });
    const changed = (): void => this.changed();
    for (const part of [this.ledger, this.sync, this.release])
      part.addEventListener("change", changed);
    this.release.addEventListener("failed", () => {
      void this.ledger.tell("install-failed", en.release.failed).catch(() => undefined);
    });
  }

  changed(): void {
    this.dispatchEvent(new Event("change"));
  }

  async begin(): Promise<void> {
    void this.release.start().catch((error: unknown) => this.#note("release", error));
    try {
      await this.ledger.start();
      const current = await this.editions.current();
      if (current) this.rules = await this.#open(current);
      this.start = "ready";
    } catch (error) {
      this.start = "no-store";
      this.#note("start", error);
    }
    this.changed();
    if (this.start !== "ready") return;
    await this.sync.start();
    const refused = await this.queue.meta("refusedEdition");
    if (refused?.app === APP_VERSION) this.refusedEdition = refused;
    void navigator.storage?.persisted?.().then((persisted) => {
      this.persisted = persisted;
      this.changed();
    });
    this.#contactWhenever();
    void this.contact();
  }

  get book(): Book {
    const { entries } = this.ledger;
    if (this.#book?.of !== entries) {
      this.#book = { of: entries, book: fold(entries.map(({ record }) => record)) };
    }
    return this.#book!.book;
  }

  /** A timed step runs on this phone: no update is offered. */
  get timing(): boolean {
    const device = this.ledger.enrolment?.device;
    return [...this.book.visits.values()].some(
      (visit) =>
        stateOf(visit) !== "closed" &&
        visit.timers.some(({ started, stopped }) => started?.device === device && !stopped),
    );
  }

  set(change: Partial<Settings>): void {
    this.settings = { ...this.settings, ...change };
    writeSettings(this.settings);
    if (change.language) return location.reload();
    this.changed();
  }

  /** Stands in the strip for a while, and is read out. */
  say(message: string): void {
    clearTimeout(this.#saying);
    this.message = message;
    if (message) this.#saying = setTimeout(() => this.say(""), SAY_MS);
    this.changed();
  }

  /** The rules of a visit: those it was begun under, else those for new visits. */
  async rulesFor(visit: Visit): Promise<Rules | null> {
    return visit.edition === null ? this.rules : this.rulesOf(visit.edition);
  }

  /** Null when they are not here and the office cannot be asked. */
  rulesOf(hash: string): Promise<Rules | null> {
    if (this.rules?.hash === hash) return Promise.resolve(this.rules);
    const known = this.#opened.get(hash) ?? this.#find(hash);
    this.#opened.set(hash, known);
    void known.then((rules) => rules ?? this.#opened.delete(hash));
    return known;
  }

  /** The same without asking the office: what only looks back is not fetched for that. */
  async rulesHere(hash: string): Promise<Rules | null> {
    const here = this.#opened.has(hash) || (await this.editions.get(hash)) !== null;
    return here ? this.rulesOf(hash) : null;
  }

  /** Throws an OfficeError or LedgerError when it did not work. */
  async enrol(code: string, name: string): Promise<void> {
    const reply = await this.office.enrol({ code, name, app: APP_VERSION });
    await this.ledger.enrol(reply, name);
    // Asked for at a tap of the person's, and not waited for: some browsers never answer.
    void navigator.storage?.persist?.().then((persisted) => {
      this.persisted = persisted;
      this.changed();
    });
    await this.contact();
  }

  /** Contact with the office now. Without an enrolment only rules are asked for. */
  async contact(): Promise<void> {
    if (this.ledger.enrolment) {
      await this.sync.run();
    } else if (!this.rules) {
      const pointer = await this.office.pointer().catch(() => null);
      await this.#onPointer(pointer).catch((error: unknown) => this.#note("rules", error));
    }
  }

  /**
   * Writes records and says so once they are on disk. Throws, with the trouble said, when they are
   * not; whoever called keeps the input.
   */
  async write(...drafts: Draft[]): Promise<FieldRecord[]> {
    try {
      const records = await this.ledger.write(...drafts);
      this.trouble = "";
      this.say(words.saved);
      void this.contact();
      return records;
    } catch (error) {
      this.#failedToWrite(error);
      throw error;
    }
  }

  #failedToWrite(error: unknown): void {
    const full = error instanceof StoreFull;
    const what = full ? "full" : "notSaved";
    this.#trouble(words.store[what]);
    this.#note("write", error);
    const kind = full ? "storage-full" : "write-failed";
    void this.ledger.tell(kind, en.store[what]).catch(() => undefined);
  }

  #trouble(text: string): void {
    this.trouble = text;
    this.message = "";
    this.changed();
  }

  #note(what: string, error: unknown): void {
    void this.ledger.log.note(what, String(error));
  }

  async #find(hash: string): Promise<Rules | null> {
    const kept = await this.editions.get(hash);
    if (kept) return this.#open(kept);
    const bytes = await this.office.edition(hash).catch(() => null);
    if (!bytes || sha256Hex(bytes) !== hash) return null;
    // What the pointer said of it is not known here; its number only matters for the current one.
    const pointer: EditionPointer = {
      ...{ number: 0, hash, size: bytes.length, format: 1, date: "", author: "", note: "" },
      ...{ least_app: "0", signature: null },
    };
    const edition = { hash, pointer, bytes: bytes.buffer, fetched: Date.now() };
    const rules = await this.#open(edition);
    if (rules) await this.editions.add(edition);
    return rules;
  }

  async #open(edition: Edition): Promise<Rules | null> {
    try {
      const { hash, pointer } = edition;
      return { hash, pointer, engine: openBundle(edition.bytes, this.settings.language) };
    } catch (error) {
      this.#note("rules", error);
      return null;
    }
  }

  async #onPointer(pointer: EditionPointer | null): Promise<void> {
    if (!pointer) return;
    const before = await this.queue.meta("refusedEdition");
    if (before?.hash === pointer.hash && before.app === APP_VERSION) return;
    const generation = await this.queue.meta("generation");
    const outcome = await update(pointer, {
      shelf: this.editions,
      app: APP_VERSION,
      download: (hash) => this.office.edition(hash),
      sha256: sha256Hex,
      pause,
      now: Date.now,
      officeSetBack: generation !== (await this.queue.meta("editionGeneration")),
    });
    if (outcome.is === "refused") return this.#refused(pointer, outcome.refusal);
    if (outcome.is === "switched") {
      this.rules = await this.#open(outcome.edition);
      this.refusedEdition = null;
      await this.queue.setMeta("editionGeneration", generation);
      await this.editions.prune(this.#neededEditions());
      this.say(words.rules.switched(pointer.number));
    }
  }

  async #refused(pointer: EditionPointer, refusal: Refusal): Promise<void> {
    const reason = words.rules.refused(pointer.number, refusal);
    const told = en.rules.refused(pointer.number, refusal);
    this.#note("rules", told);
    // Bytes that arrived damaged are asked for again next time; the rest will not change by itself.
    if (refusal.why === "size" || refusal.why === "hash") return;
    const refused = { hash: pointer.hash, app: APP_VERSION, reason };
    await this.queue.setMeta("refusedEdition", refused);
    const kind = refusal.why === "self-test" ? "self-test-failed" : "edition-refused";
    await this.ledger.tell(kind, told, pointer.hash);
    this.refusedEdition = refused;
    this.changed();
  }

  #neededEditions(): Set<string> {
    const unsent = new Set(this.ledger.unsent.map(({ visit }) => visit));
    const visits = [...this.book.visits.values()].filter(
      (visit) => stateOf(visit) !== "closed" || unsent.has(visit.id),
    );
    return new Set(visits.flatMap(({ edition }) => edition ?? []));
  }

  #about(): {
    edition: string | null;
    persisted: boolean | null;
    standalone: boolean;
    platform: string;
  } {
    return {
      edition: this.rules?.hash ?? null,
      persisted: this.persisted,
      standalone: matchMedia("(display-mode: standalone)").matches,
      platform: navigator.userAgent.slice(0, 400),
    };
  }

  #contactWhenever(): void {
    const contact = (): void => void this.contact();
    addEventListener("online", contact);
    addEventListener("pageshow", contact);
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState !== "visible") return;
      // Another tab may have written meanwhile.
      void this.ledger.refresh().catch((error: unknown) => this.#note("refresh", error));
      contact();
    });
  }
}

/** One tab at a time talks to the office; browsers without locks have one tab in practice. */
async function alone(name: string, work: () => Promise<void>): Promise<void> {
  if (!navigator.locks) return work();
  await navigator.locks.request(name, { ifAvailable: true }, async (lock) => {
    if (lock) await work();
  });
}
