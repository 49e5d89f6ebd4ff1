/** Pictures, as plain bytes in parts: some browsers lose blobs, and a part can be sent alone. */
import { PART_SIZE } from "../generated/api.ts";
import type { Database } from "./database.ts";
import { sha256Hex } from "./hash.ts";
import type { StoredPhoto } from "./schema.ts";

export class Photos {
  readonly #db: Database;

  constructor(db: Database) {
    this.#db = db;
  }

  /** Returns the hash by which a record names it. Throws a LedgerError when it is not on disk. */
  async keep(bytes: Uint8Array, mime: string, visit: string): Promise<string> {
    const hash = sha256Hex(bytes);
    const parts: ArrayBuffer[] = [];
    for (let start = 0; start < bytes.length; start += PART_SIZE) {
      parts.push(bytes.slice(start, start + PART_SIZE).buffer);
    }
    const photo: StoredPhoto = {
      ...{ hash, mime, visit, size: bytes.length, parts: parts.length },
      waiting: 1,
    };
    await this.#db.write(["photos", "parts"], async (tx) => {
      for (const [part, each] of parts.entries()) {
        await tx.objectStore("parts").put({ hash, part, bytes: each });
      }
      await tx.objectStore("photos").put(photo);
    });
    return hash;
  }

  waiting(): Promise<StoredPhoto[]> {
    return this.#db.read(["photos"], (tx) => tx.objectStore("photos").index("waiting").getAll());
  }

  async part(hash: string, part: number): Promise<ArrayBuffer | null> {
    const found = await this.#db.read(["parts"], (tx) => tx.objectStore("parts").get([hash, part]));
    return found?.bytes ?? null;
  }

  /** The whole picture, or null when this phone has not got it. */
  async bytes(hash: string): Promise<{ mime: string; parts: ArrayBuffer[] } | null> {
    return this.#db.read(["photos", "parts"], async (tx) => {
      const photo = await tx.objectStore("photos").get(hash);
      const parts = await tx
        .objectStore("parts")
        .getAll(IDBKeyRange.bound([hash, 0], [hash, Infinity]));
      if (!photo || parts.length !== photo.parts) return null;
      return { mime: photo.mime, parts: parts.map(({ bytes }) => bytes) };
    });
  }

  async held(hash: string, now: number): Promise<void> {
    await this.#change(hash, (photo) => {
      delete photo.waiting;
      photo.held = now;
    });
  }

  /** The office asks for these. */
  async wanted(hashes: readonly string[]): Promise<void> {
    for (const hash of hashes) {
      await this.#change(hash, (photo) => {
        photo.waiting = 1;
      });
    }
  }

  async #change(hash: string, change: (photo: StoredPhoto) => void): Promise<void> {
    await this.#db.write(["photos"], async (tx) => {
      const photo = await tx.objectStore("photos").get(hash);
      if (!photo) return;
      change(photo);
      await tx.objectStore("photos").put(photo);
    });
  }
}
