/** What several tests need: a ledger on a database in memory, and clocks that do as told. */
import "fake-indexeddb/auto";
import type { EnrolReply } from "../src/generated/api.ts";
import { Ledger } from "../src/ledger/ledger.ts";
import type { Draft, LedgerOptions } from "../src/ledger/ledger.ts";

export const PHONE = "11111111-1111-4111-8111-111111111111";
export const OFFICE = "22222222-2222-4222-8222-222222222222";
export const SITE = "33333333-3333-4333-8333-333333333333";
export const SYSTEM = "44444444-4444-4444-8444-444444444444";
export const VISIT = "55555555-5555-4555-8555-555555555555";
export const ABOUT = { site: SITE, system: SYSTEM, visit: VISIT };

export class MemoryStorage {
  readonly items = new Map<string, string>();
  getItem(key: string): string | null {
    return this.items.get(key) ?? null;
  }
  setItem(key: string, value: string): void {
    this.items.set(key, value);
  }
}

let names = 0;
export const freshName = (): string => `test-${(names += 1)}`;

export function enrolReply(change: Partial<EnrolReply> = {}): EnrolReply {
  return {
    ...{ device: PHONE, token: "token", office: "Demo office", office_device: OFFICE },
    ...{ store_generation: "g1", server_time: "2026-11-25T08:00:00.000+00:00" },
    ...change,
  };
}

export async function openLedger(options: Partial<LedgerOptions> = {}): Promise<Ledger> {
  const ledger = new Ledger({
    name: freshName(),
    app: "0.1.0",
    clock: { wall: () => new Date(), mono: () => performance.now() },
    storage: new MemoryStorage(),
    alarmText: ({ what, seq }) => `${what} ${seq}`,
    ...options,
  });
  await ledger.start();
  return ledger;
}

export async function enrolled(options: Partial<LedgerOptions> = {}): Promise<Ledger> {
  const ledger = await openLedger(options);
  await ledger.enrol(enrolReply(), "Test phone");
  return ledger;
}

export function note(text: string): Draft {
  return { kind: "note", about: ABOUT, edition: null, body: { text } };
}
