/** Which closed visits stay on the phone for what the next visit rests on. Pure. */
import type { Record as FieldRecord } from "../generated/records.ts";
import type { StoredRecord } from "./schema.ts";

/** Visits remembered at most; of some hundred records each they fill memory soon. */
const MOST = 200;

/** Of each system its last visit, and the last at which it was put into service. */
export function remembered(visits: readonly (readonly StoredRecord[])[]): Set<string> {
  const latest = [...visits].sort((a, b) => lastOf(b) - lastOf(a));
  const seen = new Set<string>();
  const kept = new Set<string>();
  for (const records of latest) {
    const [{ system, visit }] = records as [StoredRecord];
    const roles = [`${system} last`, ...(intoService(records) ? [`${system} service`] : [])];
    if (kept.size < MOST && roles.some((role) => !seen.has(role))) kept.add(visit!);
    for (const role of roles) seen.add(role);
  }
  return kept;
}

function lastOf(records: readonly StoredRecord[]): number {
  return Math.max(...records.map(({ order }) => order));
}

function intoService(records: readonly StoredRecord[]): boolean {
  return records.some(({ line }) => {
    if (!line.includes('"kind":"visit-opened"')) return false;
    const record = JSON.parse(line) as FieldRecord;
    if (record.kind !== "visit-opened") return false;
    return record.body.visit_kind === "install" || record.body.visit_kind === "commissioning";
  });
}
