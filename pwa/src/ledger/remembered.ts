/** Which closed visits stay on the phone for what the next visit rests on. Pure. */
import type { Record as FieldRecord } from "../generated/records.ts";
import type { StoredRecord } from "./schema.ts";

/** Visits remembered at most; of some hundred records each they fill memory soon. */
const MOST = 200;

/** Of one system: enough to see where its readings go. */
const IN_A_ROW = 4;

/**
 * Of each system its last visits, and the last at which it was put into service. Where that is too much, the last of
 * every system goes before the last but one of any.
 */
export function remembered(visits: readonly (readonly StoredRecord[])[]): Set<string> {
  const latest = [...visits].sort((a, b) => lastOf(b) - lastOf(a));
  const places = new Map<string | null, number>();
  const served = new Set<string | null>();
  const ranked = latest.map((records) => {
    const [{ system, visit }] = records as [StoredRecord];
    const place = places.get(system) ?? 0;
    places.set(system, place + 1);
    const service = !served.has(system) && intoService(records);
    if (service) served.add(system);
    return { visit: visit!, rank: service ? 0 : place };
  });
  const kept = ranked.filter(({ rank }) => rank < IN_A_ROW).sort((a, b) => a.rank - b.rank);
  return new Set(kept.slice(0, MOST).map(({ visit }) => visit));
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
