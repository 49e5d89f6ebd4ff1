/**
 * From a pointer to an edition in use: fetched, verified, tested on this phone, and only then
 * switched to, in one step. Until then, and after any failure, the edition before goes on.
 */
import { Engine } from "../engine/index.ts";
import type { EditionPointer } from "../generated/api.ts";
import { FORMAT, UNPACKED } from "../generated/bundle.ts";
import type { Bundle } from "../generated/bundle.ts";
import { unpack } from "./packed.ts";
import type { Packed } from "./packed.ts";
import { selfTest } from "./selftest.ts";
import type { Fault } from "./selftest.ts";
import { inTongue } from "./tongue.ts";

export interface Edition {
  hash: string;
  pointer: EditionPointer;
  bytes: ArrayBuffer;
  /** ms */
  fetched: number;
}

/** Where editions are kept. */
export interface Shelf {
  /** The edition for new visits. */
  current(): Promise<Edition | null>;
  get(hash: string): Promise<Edition | null>;
  /** Keeps it and makes it the one for new visits, in one step. */
  switchTo(edition: Edition): Promise<void>;
}

/** Why an edition is not used. */
export type Refusal =
  | { why: "older"; number: number; current: number }
  | { why: "format"; format: number; known: number }
  | { why: "app"; needs: string; app: string }
  | { why: "size"; expected: number; found: number }
  | { why: "hash" }
  | { why: "unreadable"; detail: string }
  | { why: "self-test"; fault: Fault };

export interface UpdateOptions {
  shelf: Shelf;
  app: string;
  download(hash: string): Promise<Uint8Array<ArrayBuffer>>;
  sha256(bytes: Uint8Array): string;
  pause(): Promise<void>;
  now(): number;
  /** The office was set back to an earlier state: its numbers may be lower than before. */
  officeSetBack?: boolean;
}

export type Outcome =
  { is: "same" } | { is: "switched"; edition: Edition } | { is: "refused"; refusal: Refusal };

/** Throws what `download` and `shelf` throw; then nothing has changed. */
export async function update(pointer: EditionPointer, options: UpdateOptions): Promise<Outcome> {
  const { shelf, app } = options;
  const current = await shelf.current();
  if (current?.hash === pointer.hash && current.pointer.number === pointer.number) {
    return { is: "same" };
  }
  const refused = (refusal: Refusal): Outcome => ({ is: "refused", refusal });
  if (current && pointer.number < current.pointer.number && !options.officeSetBack) {
    return refused({ why: "older", number: pointer.number, current: current.pointer.number });
  }
  if (pointer.format !== FORMAT && pointer.format !== UNPACKED) {
    return refused({ why: "format", format: pointer.format, known: FORMAT });
  }
  if (isOlder(app, pointer.least_app)) {
    return refused({ why: "app", needs: pointer.least_app, app });
  }
  const kept = await shelf.get(pointer.hash);
  const bytes = kept ? new Uint8Array(kept.bytes) : await options.download(pointer.hash);
  if (bytes.length !== pointer.size) {
    return refused({ why: "size", expected: pointer.size, found: bytes.length });
  }
  if (options.sha256(bytes) !== pointer.hash) return refused({ why: "hash" });
  let engine: Engine;
  try {
    engine = openBundle(bytes);
    // Each section is read, and unpacked by that.
    Object.values(engine.bundle);
    engine.prepare();
  } catch (error) {
    return refused({ why: "unreadable", detail: String(error) });
  }
  const fault = await selfTest(engine, options.pause);
  if (fault) return refused({ why: "self-test", fault });
  const { hash } = pointer;
  const edition = { hash, pointer, bytes: bytes.buffer, fetched: options.now() };
  await shelf.switchTo(edition);
  return { is: "switched", edition };
}

/** Throws when the bytes are no bundle that this release can run. */
export function openBundle(bytes: Uint8Array | ArrayBuffer, language = "en"): Engine {
  const text = new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  return new Engine(inTongue(bundleOf(text), language));
}

/** Throws when the text is no bundle of this format. */
export function bundleOf(text: string): Bundle {
  const found = JSON.parse(text) as Packed | (Bundle & { format: typeof UNPACKED });
  // Visits were begun under such editions.
  if (found.format === UNPACKED) return found as Bundle;
  if (found.format !== FORMAT) throw new RangeError(`format ${found.format}`);
  return unpack(found as Packed);
}

/** Compares dotted numbers: 0.10.0 is later than 0.9. */
export function isOlder(app: string, least: string): boolean {
  const [have, need] = [app, least].map((text) => text.split(".").map(Number));
  for (let place = 0; place < Math.max(have!.length, need!.length); place += 1) {
    const difference = (have![place] ?? 0) - (need![place] ?? 0);
    if (difference !== 0) return difference < 0;
  }
  return false;
}
