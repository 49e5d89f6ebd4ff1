/** What was typed and not yet kept, saved at every change: a phone may drop a page at any time. */
import type { Database } from "./database.ts";
import type { Draft, DraftValue } from "./schema.ts";

export class Drafts {
  readonly #db: Database;

  constructor(db: Database) {
    this.#db = db;
  }

  async read(key: string): Promise<Record<string, DraftValue>> {
    const draft = await this.#db.read(["drafts"], (tx) => tx.objectStore("drafts").get(key));
    return draft?.values ?? {};
  }

  async write(key: string, values: Record<string, DraftValue>): Promise<void> {
    await this.#db.write(["drafts"], async (tx) => {
      const drafts = tx.objectStore("drafts");
      const draft: Draft = { key, values, changed: Date.now() };
      await (Object.keys(values).length === 0 ? drafts.delete(key) : drafts.put(draft));
    });
  }

  /** One text that is no field of the rules: a note begun, a form half filled. */
  async text(key: string): Promise<string> {
    return (await this.read(key))["text"]?.text ?? "";
  }

  keepText(key: string, text: string): Promise<void> {
    return this.write(key, text ? { text: { text, unit: null } } : {});
  }
}
