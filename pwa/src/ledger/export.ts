/** The way out when nothing else works: a file with all that the office has not. */
import type { Ledger } from "./ledger.ts";

/** One record a line, the bytes as they were written; what the office takes in as it is. */
export function unsentLines(ledger: Ledger): string {
  return ledger.entries
    .filter(({ stored }) => stored.waiting !== undefined || stored.parked !== undefined)
    .map(({ stored }) => `${stored.line}\n`)
    .join("");
}

export function exportName(now: Date): string {
  return `kneewall-unsent-${now.toISOString().slice(0, 19).replaceAll(":", "")}.txt`;
}
