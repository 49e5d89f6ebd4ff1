/**
 * One round of contact with the office: report, send what waits, fetch what is new, look for a
 * newer edition, send photos. One tab at a time does it. Nothing here is needed for work in the
 * field; a round that fails is tried again later and loses nothing.
 */
import type { EditionPointer, PhoneReport } from "../generated/api.ts";
import type { Ledger } from "../ledger/ledger.ts";
import { Photos } from "../ledger/photos.ts";
import { Queue } from "../ledger/queue.ts";
import type { StoredRecord } from "../ledger/schema.ts";
import { NoContact, NotKnown, Refused, Wait } from "./office.ts";
import type { Office } from "./office.ts";

const BATCH = 100;
const BATCH_BYTES = 3 * 1024 * 1024;
const FIRST_RETRY_MS = 5_000;
const LAST_RETRY_MS = 5 * 60_000;
const TRIES = 3;
const LOCK = "kneewall-sync";

export type State = "idle" | "running" | "no-contact" | "not-known" | "revoked" | "failed";

export interface SyncOptions {
  ledger: Ledger;
  office: Office;
  app: string;
  /** Runs `work` unless another tab is at it. */
  alone(name: string, work: () => Promise<void>): Promise<void>;
  about(): Promise<Pick<PhoneReport, "persisted" | "standalone" | "platform" | "edition">>;
  /** The office's live edition; null while there is none. */
  onPointer(pointer: EditionPointer | null): Promise<void>;
  now?(): number;
  random?(): number;
}

/** Fires "change" when one of its properties changed. */
export class Sync extends EventTarget {
  state: State = "idle";
  /** When the office last answered, ms; null if never. */
  lastContact: number | null = null;

  readonly #options: SyncOptions;
  readonly #queue: Queue;
  readonly #photos: Photos;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #failures = 0;
  #running = false;
  #again = false;
  #batch = BATCH;
  /** A single record whose sending ended without an answer, and how often. */
  #stuck = { hash: "", times: 0 };

  constructor(options: SyncOptions) {
    super();
    this.#options = options;
    this.#queue = new Queue(options.ledger);
    this.#photos = new Photos(options.ledger.db);
  }

  async start(): Promise<void> {
    const contact = await this.#queue.meta("contact");
    this.lastContact = contact?.at ?? null;
  }

  /** Something happened that makes contact worth trying. Never throws. */
  async run(): Promise<void> {
    if (this.#running) {
      this.#again = true;
      return;
    }
    if (!this.#options.ledger.enrolment) return;
    this.#running = true;
    clearTimeout(this.#timer);
    this.#set("running");
    try {
      do {
        this.#again = false;
        await this.#options.alone(LOCK, () => this.#round());
      } while (this.#again);
      this.#failures = 0;
      this.#set("idle");
    } catch (error) {
      await this.#failed(error);
    } finally {
      this.#running = false;
    }
  }

  stop(): void {
    clearTimeout(this.#timer);
  }

  async #round(): Promise<void> {
    const { office, onPointer } = this.#options;
    await this.#report();
    await this.#send();
    await this.#fetch();
    await this.#sendPhotos();
    await onPointer(await office.pointer());
  }

  async #report(): Promise<void> {
    const { ledger, office, app, about } = this.#options;
    const [heads, events, waitingPhotos] = await Promise.all([
      this.#queue.heads(),
      this.#queue.events(),
      this.#photos.waiting(),
    ]);
    const asked = this.#now();
    const reply = await office.report({
      ...{ app, heads, events, ...(await about()) },
      ...{ unsent: ledger.unsent.length, unsent_photos: waitingPhotos.length },
    });
    await this.#contact(asked, reply.server_time);
    await this.#queue.eventsTold(events.map(({ id }) => id));
    if (!(await this.#sameStore(reply.store_generation))) return;
    await this.#queue.offerMissing(reply.held);
    await this.#photos.wanted(reply.missing_photos);
  }

  /** False when the office was set back to an earlier state; then all that is kept is offered again. */
  async #sameStore(generation: string): Promise<boolean> {
    const known = await this.#queue.meta("generation");
    if (known === generation) return true;
    if (known !== undefined) {
      await this.#options.ledger.log.note("office set back", `${known} -> ${generation}`);
      await this.#queue.offerAll();
      await this.#queue.setMeta("cursor", undefined);
    }
    await this.#queue.setMeta("generation", generation);
    return false;
  }

  async #send(): Promise<void> {
    for (;;) {
      const batch = await this.#queue.next(this.#batch, BATCH_BYTES);
      if (batch.length === 0) return;
      try {
        await this.#sendBatch(batch);
        this.#batch = Math.min(BATCH, this.#batch * 2);
      } catch (error) {
        if (error instanceof NoContact) await this.#cutOff(batch);
        throw error;
      }
    }
  }

  /**
   * The office answered the report and then not the batch: a weak signal, or a record that brings
   * the office down. Smaller batches help with both; a lone record gets three tries.
   */
  async #cutOff(batch: StoredRecord[]): Promise<void> {
    this.#batch = Math.max(1, Math.floor(Math.min(this.#batch, batch.length) / 2));
    if (batch.length > 1) return;
    const { hash } = batch[0]!;
    this.#stuck = { hash, times: this.#stuck.hash === hash ? this.#stuck.times + 1 : 1 };
    if (this.#stuck.times < TRIES) return;
    await this.#queue.park(hash, "");
    await this.#options.ledger.log.note("parked", `${hash}: no answer ${TRIES} times`);
  }

  /** A batch that fails is halved, until the one record that the office chokes on is alone. */
  async #sendBatch(batch: StoredRecord[]): Promise<void> {
    const { office } = this.#options;
    const asked = this.#now();
    try {
      const reply = await office.send(batch.map(({ line }) => line));
      const sent = new Set(batch.map(({ hash }) => hash));
      const answers = reply.records.filter(({ hash }) => sent.has(hash));
      if (answers.length !== batch.length) throw new NoContact("not every record was answered");
      await this.#queue.answered(answers, this.#now());
      await this.#contact(asked, reply.server_time);
      await this.#photos.wanted(reply.missing_photos);
      await this.#sameStore(reply.store_generation);
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if (batch.length > 1) {
        const middle = Math.ceil(batch.length / 2);
        await this.#sendBatch(batch.slice(0, middle));
        await this.#sendBatch(batch.slice(middle));
        return;
      }
      // An office that refuses even its own report is ill as a whole; then nothing is parked.
      await this.#report();
      await this.#queue.park(batch[0]!.hash, error.problem.error);
      await this.#options.ledger.log.note("parked", error.message);
    }
  }

  async #fetch(): Promise<void> {
    const { office } = this.#options;
    const own = (await this.#queue.meta("fetchOwn")) === true;
    for (;;) {
      const asked = this.#now();
      const after = (await this.#queue.meta("cursor")) ?? null;
      const page = await office.records(after, own);
      await this.#contact(asked, page.server_time);
      await this.#queue.receive(page.lines, page.next, this.#now());
      if (!page.more) break;
    }
    if (own) await this.#queue.setMeta("fetchOwn", undefined);
  }

  async #sendPhotos(): Promise<void> {
    const { office } = this.#options;
    for (const { hash, size, mime, parts } of await this.#photos.waiting()) {
      const there = await office.photoParts(hash);
      if (!there.complete) {
        for (let part = 0; part < parts; part += 1) {
          if (there.parts.includes(part)) continue;
          const bytes = await this.#photos.part(hash, part);
          if (bytes) await office.putPhotoPart(hash, part, bytes);
        }
        await office.commitPhoto(hash, { size, mime: mime as "image/jpeg" });
      }
      await this.#photos.held(hash, this.#now());
    }
  }

  /** The office's clock is taken to be read halfway between asking and being answered. */
  async #contact(asked: number, serverTime: string): Promise<void> {
    const now = this.#now();
    const offsetMs = Math.round(Date.parse(serverTime) - (asked + now) / 2);
    this.lastContact = now;
    if (!Number.isFinite(offsetMs)) return;
    this.#options.ledger.offsetMs = offsetMs;
    await this.#queue.setMeta("contact", { at: now, offsetMs });
  }

  async #failed(error: unknown): Promise<void> {
    await this.#options.ledger.log.note("sync", String(error));
    this.#failures += 1;
    if (error instanceof NotKnown) {
      // Trying again by itself would not help; the person enrols anew, or asks the office.
      this.#set(error.revoked ? "revoked" : "not-known");
      return;
    }
    this.#set(error instanceof NoContact || error instanceof Wait ? "no-contact" : "failed");
    const { random = Math.random } = this.#options;
    const backoff = Math.min(LAST_RETRY_MS, FIRST_RETRY_MS * 2 ** (this.#failures - 1));
    const wait = error instanceof Wait ? error.seconds * 1000 : backoff * (0.5 + random() / 2);
    this.#timer = setTimeout(() => void this.run(), wait);
  }

  #now(): number {
    return this.#options.now?.() ?? Date.now();
  }

  #set(state: State): void {
    this.state = state;
    this.dispatchEvent(new Event("change"));
  }
}
