/**
 * What this phone saw of the timers that run. The records say which run; when one is not found
 * here, it is taken up from its record.
 */
import type { Database } from "./database.ts";
import type { RunningTimer } from "./schema.ts";

export class Timers {
  readonly #db: Database;

  constructor(db: Database) {
    this.#db = db;
  }

  read(timer: string): Promise<RunningTimer | undefined> {
    return this.#db.read(["timers"], (tx) => tx.objectStore("timers").get(timer));
  }

  async write(timer: RunningTimer): Promise<void> {
    await this.#db.write(["timers"], (tx) => tx.objectStore("timers").put(timer));
  }

  async drop(timer: string): Promise<void> {
    await this.#db.write(["timers"], (tx) => tx.objectStore("timers").delete(timer));
  }
}
