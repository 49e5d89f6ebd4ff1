/**
 * The connection to the phone's database. Browsers lose it: handles die while the phone sleeps,
 * another tab wants to upgrade, opening hangs. Every use has a time limit; a dead handle is
 * opened anew once, and what fails twice is an error that somebody sees.
 */
import { openDB } from "idb";
import type { IDBPDatabase, IDBPTransaction, StoreNames } from "idb";
import { LedgerError, StoreFull, StoreGone, StoreTooNew } from "./errors.ts";
import { VERSION, upgrade } from "./schema.ts";
import type { LedgerSchema } from "./schema.ts";

type Connection = IDBPDatabase<LedgerSchema>;
export type Stores = StoreNames<LedgerSchema>[];
export type Transaction<Mode extends IDBTransactionMode> = IDBPTransaction<
  LedgerSchema,
  Stores,
  Mode
>;

export interface DatabaseOptions {
  name: string;
  /** Longest wait for opening, reading or writing, ms. */
  limitMs: number;
  /** Another tab of the app keeps an older database open. */
  onBlocked(): void;
}

export class Database {
  /** The database did not exist before it was opened just now. */
  fresh = false;

  readonly #options: DatabaseOptions;
  #connection: Promise<Connection> | null = null;

  constructor(options: DatabaseOptions) {
    this.#options = options;
  }

  /** Reads from one consistent state. `work` may run twice. */
  read<T>(stores: Stores, work: (tx: Transaction<"readonly">) => Promise<T>): Promise<T> {
    return this.#run(stores, "readonly", work);
  }

  /**
   * Writes all or nothing; resolves only after the browser has flushed it to disk. `work` may run
   * twice, the first time perhaps with success that was never reported.
   */
  write<T>(stores: Stores, work: (tx: Transaction<"readwrite">) => Promise<T>): Promise<T> {
    return this.#run(stores, "readwrite", work);
  }

  async close(): Promise<void> {
    const connection = await this.#connection?.catch(() => null);
    this.#connection = null;
    connection?.close();
  }

  async #run<T, Mode extends "readonly" | "readwrite">(
    stores: Stores,
    mode: Mode,
    work: (tx: Transaction<Mode>) => Promise<T>,
  ): Promise<T> {
    try {
      return await this.#attempt(stores, mode, work);
    } catch (error) {
      if (!(error instanceof StoreGone)) throw error;
      await this.close();
    }
    return this.#attempt(stores, mode, work);
  }

  async #attempt<T, Mode extends "readonly" | "readwrite">(
    stores: Stores,
    mode: Mode,
    work: (tx: Transaction<Mode>) => Promise<T>,
  ): Promise<T> {
    let tx: Transaction<Mode> | undefined;
    const attempt = async (): Promise<T> => {
      const connection = await this.#open();
      tx = connection.transaction(stores, mode, { durability: "strict" });
      const done = tx.done.then(
        () => null,
        (error: unknown) => error,
      );
      try {
        const result = await work(tx);
        const failure = await done;
        if (failure !== null) throw failure;
        return result;
      } catch (error) {
        abort(tx);
        // A full disk ends the transaction; its requests only say that it has ended.
        const failure = await done;
        throw isQuota(failure) ? failure : error;
      }
    };
    try {
      return await within(this.#options.limitMs, attempt());
    } catch (error) {
      if (tx) abort(tx);
      throw known(error);
    }
  }

  #open(): Promise<Connection> {
    this.#connection ??= this.#connect().catch((error: unknown) => {
      this.#connection = null;
      throw error;
    });
    return this.#connection;
  }

  async #connect(): Promise<Connection> {
    const { name, limitMs, onBlocked } = this.#options;
    const gone = (): void => {
      this.#connection = null;
    };
    const open = (version: number | undefined): Promise<Connection> => {
      const opening = openDB<LedgerSchema>(name, version, {
        upgrade: (db, from) => {
          if (from === 0) this.fresh = true;
          upgrade(db, from);
        },
        blocked: onBlocked,
        blocking: (_current, _wanted, event) => {
          (event.target as IDBDatabase).close();
          gone();
        },
        terminated: gone,
      });
      const opened = within(limitMs, opening);
      // One that opens after all must not stand in the way of the next.
      opened.catch(() => void opening.then((late) => late.close()).catch(() => undefined));
      return opened;
    };
    try {
      return await open(VERSION);
    } catch (error) {
      if (!(error instanceof DOMException) || error.name !== "VersionError") throw error;
    }
    const newer = await open(undefined);
    const stores: StoreNames<LedgerSchema>[] = ["records", "meta", "editions", "log"];
    if (stores.every((store) => newer.objectStoreNames.contains(store))) return newer;
    newer.close();
    throw new StoreTooNew("a newer release has changed the database");
  }
}

function abort(tx: { abort(): void }): void {
  try {
    tx.abort();
  } catch {
    // It has ended already.
  }
}

async function within<T>(limitMs: number, promise: Promise<T>): Promise<T> {
  let timer: ReturnType<typeof setTimeout> | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(() => reject(new StoreGone("the database does not answer")), limitMs);
  });
  try {
    return await Promise.race([promise, late]);
  } finally {
    clearTimeout(timer);
  }
}

function isQuota(error: unknown): boolean {
  return error instanceof DOMException && error.name === "QuotaExceededError";
}

/** Our error for the browser's; errors of `work` itself pass as they are. */
function known(error: unknown): unknown {
  if (error instanceof LedgerError || !(error instanceof DOMException)) return error;
  if (isQuota(error)) return new StoreFull(error.message);
  return new StoreGone(`${error.name}: ${error.message}`);
}
