/** The editions on this phone: the one for new visits, and all that visits still need. */
import type { Edition, Shelf } from "../bundle/update.ts";
import type { Ledger } from "./ledger.ts";
import type { Meta } from "./schema.ts";

export class Editions implements Shelf {
  readonly #ledger: Ledger;

  constructor(ledger: Ledger) {
    this.#ledger = ledger;
  }

  current(): Promise<Edition | null> {
    return this.#ledger.db.read(["meta", "editions"], async (tx) => {
      const hash = (await tx.objectStore("meta").get("edition")) as Meta["edition"] | undefined;
      return (hash && (await tx.objectStore("editions").get(hash))) || null;
    });
  }

  async get(hash: string): Promise<Edition | null> {
    const found = await this.#ledger.db.read(["editions"], (tx) =>
      tx.objectStore("editions").get(hash),
    );
    return found ?? null;
  }

  async switchTo(edition: Edition): Promise<void> {
    await this.#ledger.db.write(["meta", "editions"], async (tx) => {
      await tx.objectStore("editions").put(edition);
      await tx.objectStore("meta").put(edition.hash, "edition");
      await tx.objectStore("meta").delete("refusedEdition");
    });
  }

  /** An edition that a visit needs and this phone has not: kept beside the one for new visits. */
  async add(edition: Edition): Promise<void> {
    await this.#ledger.db.write(["editions"], (tx) => tx.objectStore("editions").put(edition));
  }

  /** Lets go of all editions but the current one and those that are still needed. */
  async prune(needed: ReadonlySet<string>): Promise<void> {
    await this.#ledger.db.write(["meta", "editions"], async (tx) => {
      const editions = tx.objectStore("editions");
      const current = (await tx.objectStore("meta").get("edition")) as string | undefined;
      for (const hash of await editions.getAllKeys()) {
        if (hash !== current && !needed.has(hash)) await editions.delete(hash);
      }
    });
  }
}
