/**
 * What is typed into a calculator or a step and not kept yet. Saved at every change, so that a page
 * that the phone drops comes back as it was.
 */
import { keyOf } from "./book.ts";
import type { Reading } from "./book.ts";
import { parseReading } from "./bundle/reading.ts";
import type { Bundle, Quantity } from "./generated/bundle.ts";
import type { SiValue, ValueSet } from "./generated/records.ts";
import type { Drafts } from "./ledger/drafts.ts";
import type { DraftValue } from "./ledger/schema.ts";

/** A quantity that can be entered, for one member where it has several. */
export interface Slot {
  quantity: Quantity;
  member: string | null;
}

/** A field as it stands. */
export interface Entry extends Slot {
  key: string;
  text: string;
  unit: string | null;
  /** Null: nothing, or nothing that can be used. */
  si: SiValue | null;
  /** Why the text cannot be used: a code with its parameters. */
  problem: { code: string; params: Readonly<Record<string, unknown>> } | null;
  /** Outside the usual and not confirmed yet; it is not used until it is. */
  ask: boolean;
  /** Differs from what is kept. */
  changed: boolean;
  kept: Reading | null;
}

export class Form {
  readonly #drafts: Drafts;
  readonly #key: string;
  #values: Record<string, DraftValue> = {};
  #saving: Promise<void> = Promise.resolve();

  constructor(drafts: Drafts, key: string) {
    this.#drafts = drafts;
    this.#key = key;
  }

  async load(): Promise<void> {
    this.#values = await this.#drafts.read(this.#key);
  }

  entry(bundle: Bundle, slot: Slot, kept: Reading | null): Entry {
    const key = keyOf(slot.quantity.id, slot.member);
    const draft = this.#values[key];
    const text = draft?.text ?? kept?.text ?? "";
    const unit = draft?.unit ?? kept?.unit ?? null;
    const none = { si: null, problem: null, ask: false };
    const of = { ...slot, key, text, unit, kept, changed: draft !== undefined };
    if (!draft) return { ...of, ...none, si: kept?.si ?? null };
    if (text.trim() === "") return { ...of, ...none };
    const read = parseReading(bundle, slot.quantity, text, unit ?? undefined);
    if (!read.ok) return { ...of, ...none, problem: read };
    const ask = read.ask && !draft.sure;
    // The text may name a unit of its own.
    return {
      ...of,
      unit: read.unit || unit,
      problem: null,
      ask,
      si: ask ? null : (read.si as SiValue),
    };
  }

  /** Values to compute with in place of the kept ones, by key; null where one was emptied. */
  typed(entries: readonly Entry[]): Map<string, SiValue | null> {
    return new Map(entries.filter(({ changed }) => changed).map(({ key, si }) => [key, si]));
  }

  /** What goes into records: every changed value that is understood. */
  toKeep(entries: readonly Entry[], calculator: string | null): ValueSet[] {
    return entries
      .filter(({ changed, problem, ask }) => changed && !problem && !ask)
      .map(({ key, quantity, member, text, unit, si }) => {
        const { origin = "typed", replaces } = this.#values[key]!;
        return {
          ...{ quantity: quantity.id, member, text, unit: unit || null, si, origin, calculator },
          ...(replaces === undefined ? {} : { replaces }),
        };
      });
  }

  set(entry: Entry, text: string, change: Partial<DraftValue> = {}): void {
    const origin: ValueSet["origin"] =
      entry.quantity.type === "choice" || entry.quantity.type === "flag" ? "picked" : "typed";
    const replaces = entry.kept?.source.record;
    this.#values = {
      ...this.#values,
      [entry.key]: {
        ...{ text, unit: entry.unit, origin },
        ...(replaces === undefined ? {} : { replaces }),
        ...change,
      },
    };
    this.#save();
  }

  /** Forgets these drafts, or all. */
  forget(keys: readonly string[] = Object.keys(this.#values)): void {
    const left = Object.entries(this.#values).filter(([key]) => !keys.includes(key));
    this.#values = Object.fromEntries(left);
    this.#save();
  }

  /** Resolves when everything typed so far is on disk. */
  settled(): Promise<void> {
    return this.#saving;
  }

  #save(): void {
    const values = this.#values;
    // One after the other, so that the last one stands. A draft that cannot be saved is still shown.
    this.#saving = this.#saving
      .then(() => this.#drafts.write(this.#key, values))
      .catch(() => undefined);
  }
}
