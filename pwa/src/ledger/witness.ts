/**
 * A second memory outside the database. A damaged database often opens without an error and
 * simply holds less, or nothing; only somebody who knows better can tell.
 */
import type { Enrolment, Head } from "./schema.ts";

export interface Testimony extends Head {
  /** Kept here too, so that a phone with an emptied database can still report and fetch. */
  enrolment: Enrolment | null;
}

const KEY = "kneewall.witness";

export class Witness {
  readonly #storage: Pick<Storage, "getItem" | "setItem">;

  constructor(storage: Pick<Storage, "getItem" | "setItem">) {
    this.#storage = storage;
  }

  read(): Testimony | null {
    try {
      const text = this.#storage.getItem(KEY);
      return text === null ? null : (JSON.parse(text) as Testimony);
    } catch {
      // A browser may forbid it; then there is no witness, and records are kept all the same.
      return null;
    }
  }

  write(testimony: Testimony): void {
    try {
      this.#storage.setItem(KEY, JSON.stringify(testimony));
    } catch {
      // As above.
    }
  }
}
