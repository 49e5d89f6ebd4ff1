/** A short log of what the app did, for the person who has to find a fault. The oldest goes first. */
import type { Database } from "./database.ts";
import type { LogEntry } from "./schema.ts";

const KEEP = 500;

export class PhoneLog {
  readonly #db: Database;

  constructor(db: Database) {
    this.#db = db;
  }

  /** Never throws: a log that fails must not stop what it tells of. */
  async note(what: string, detail = ""): Promise<void> {
    const entry: LogEntry = { at: Date.now(), what, detail: detail.slice(0, 1000) };
    try {
      await this.#db.write(["log"], async (tx) => {
        const log = tx.objectStore("log");
        const key = await log.add(entry);
        await log.delete(IDBKeyRange.upperBound(key - KEEP));
      });
    } catch (error) {
      console.warn(what, detail, error);
    }
  }

  all(): Promise<LogEntry[]> {
    return this.#db.read(["log"], (tx) => tx.objectStore("log").getAll());
  }
}
