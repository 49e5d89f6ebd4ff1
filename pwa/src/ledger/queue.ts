/** What of the ledger the office has, has not, and has sent: the state that sync reads and writes. */
import type { Head as Claim, Held, LineAnswer, PhoneEvent } from "../generated/api.ts";
import type { Record as FieldRecord } from "../generated/records.ts";
import type { Ledger } from "./ledger.ts";
import { sha256Hex } from "./hash.ts";
import type { Head, Meta, StoredRecord } from "./schema.ts";

export class Queue {
  readonly #ledger: Ledger;

  constructor(ledger: Ledger) {
    this.#ledger = ledger;
  }

  /** The oldest records that wait, at most `count` and `bytes` together, but at least one. */
  async next(count: number, bytes: number): Promise<StoredRecord[]> {
    const waiting = await this.#ledger.db.read(["records"], (tx) =>
      tx.objectStore("records").index("waiting").getAll(null, count),
    );
    let size = 0;
    const fits = waiting.findIndex(({ line }) => (size += line.length * 3 + 1) > bytes);
    return fits === -1 ? waiting : waiting.slice(0, Math.max(1, fits));
  }

  /** The office holds these; what it set aside is kept with its reason. */
  async answered(answers: readonly LineAnswer[], now: number): Promise<void> {
    await this.#change(
      answers.map(({ hash }) => hash),
      (stored, index) => {
        delete stored.waiting;
        delete stored.parked;
        stored.held = now;
        const { status, reason } = answers[index]!;
        if (status === "quarantined") stored.parked = reason ?? "";
      },
    );
  }

  /** This one is not sent again by itself; the others go on. */
  async park(hash: string, reason: string): Promise<void> {
    await this.#change([hash], (stored) => {
      delete stored.waiting;
      stored.parked = reason;
    });
  }

  /** Everything that was parked waits again. */
  async retryParked(): Promise<void> {
    const parked = this.#ledger.parked.map(({ stored }) => stored.hash);
    await this.#change(parked, (stored) => {
      stored.waiting = stored.order;
      delete stored.parked;
    });
  }

  /** Offers everything kept on this phone again: the office lost some of it. */
  async offerAll(): Promise<void> {
    const mine = this.#ledger.entries.filter(({ stored }) => stored.mine);
    await this.#offer(mine.map(({ stored }) => stored.hash));
    await this.#ledger.db.write(["photos"], async (tx) => {
      const photos = tx.objectStore("photos");
      for (const photo of await photos.getAll()) await photos.put({ ...photo, waiting: 1 });
    });
  }

  /** Offers again what the office once confirmed and does not hold any more. */
  async offerMissing(held: readonly Held[]): Promise<void> {
    const lacks = ({ device, epoch, seq }: StoredRecord): boolean => {
      const office = held.find((each) => each.device === device && each.epoch === epoch);
      if (!office) return false;
      if (seq > office.highest) return true;
      return office.holes.some(([first, last]) => first <= seq && seq <= last);
    };
    const wanted = this.#ledger.entries.filter(
      ({ stored }) => stored.mine && stored.held !== undefined && lacks(stored),
    );
    await this.#offer(wanted.map(({ stored }) => stored.hash));
  }

  /** Lines that the office sent; returns how many are new here. */
  async receive(lines: readonly string[], cursor: string, now: number): Promise<number> {
    const records = lines.map((line) => ({ line, hash: sha256Hex(line), record: read(line) }));
    const device = this.#ledger.enrolment?.device;
    const added = await this.#ledger.db.write(["records", "meta"], async (tx) => {
      const store = tx.objectStore("records");
      const meta = tx.objectStore("meta");
      let order = ((await meta.get("order")) as number | undefined) ?? 0;
      let added = 0;
      for (const { line, hash, record } of records) {
        if (!record || (await store.getKey(hash)) !== undefined) continue;
        order += 1;
        added += 1;
        const { id, device: author, epoch, seq } = record;
        const { site = null, system = null, visit = null } = record;
        const mine = author === device;
        await store.add({
          ...{ hash, line, id, device: author, epoch, seq, site, system, visit, order, mine },
          held: now,
        });
      }
      await meta.put(order, "order");
      await meta.put(cursor, "cursor");
      return added;
    });
    if (added > 0) await this.#ledger.refresh();
    return added;
  }

  /** How far each epoch of the device enrolled now has come. */
  async heads(): Promise<Claim[]> {
    const device = this.#ledger.enrolment?.device;
    return this.#ledger.db.read(["meta"], async (tx) => {
      const meta = tx.objectStore("meta");
      const past = ((await meta.get("past")) as Head[] | undefined) ?? [];
      const chain = (await meta.get("chain")) as Head | undefined;
      return [...past, ...(chain ? [chain] : [])]
        .filter((head) => head.device === device)
        .map(({ epoch, seq, count, hash }) => ({ epoch, seq, count, hash }));
    });
  }

  events(): Promise<PhoneEvent[]> {
    return this.#ledger.db.read(["events"], (tx) => tx.objectStore("events").getAll());
  }

  async eventsTold(ids: readonly string[]): Promise<void> {
    await this.#ledger.db.write(["events"], async (tx) => {
      for (const id of ids) await tx.objectStore("events").delete(id);
    });
  }

  async meta<K extends keyof Meta>(key: K): Promise<Meta[K] | undefined> {
    const value = await this.#ledger.db.read(["meta"], (tx) => tx.objectStore("meta").get(key));
    return value as Meta[K] | undefined;
  }

  async setMeta<K extends keyof Meta>(key: K, value: Meta[K] | undefined): Promise<void> {
    await this.#ledger.db.write(["meta"], async (tx) => {
      const meta = tx.objectStore("meta");
      await (value === undefined ? meta.delete(key) : meta.put(value, key));
    });
  }

  #offer(hashes: string[]): Promise<void> {
    return this.#change(hashes, (stored) => {
      stored.waiting = stored.order;
      delete stored.held;
      delete stored.parked;
    });
  }

  async #change(
    hashes: string[],
    change: (stored: StoredRecord, index: number) => void,
  ): Promise<void> {
    if (hashes.length === 0) return;
    await this.#ledger.db.write(["records"], async (tx) => {
      const records = tx.objectStore("records");
      for (const [index, hash] of hashes.entries()) {
        const stored = await records.get(hash);
        if (!stored) continue;
        change(stored, index);
        await records.put(stored);
      }
    });
    await this.#ledger.refresh();
  }
}

/** Null for what is no record: the office's later release may send lines that this one cannot read. */
function read(line: string): FieldRecord | null {
  try {
    const found = JSON.parse(line) as Partial<FieldRecord> | null;
    return typeof found?.id === "string" && typeof found.device === "string"
      ? (found as FieldRecord)
      : null;
  } catch {
    return null;
  }
}
