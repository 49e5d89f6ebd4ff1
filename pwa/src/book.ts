/** What records amount to: sites, systems, visits and all that was done on them. Made by `fold`. */
import type {
  Note,
  Photo,
  ResultSnapshot,
  SiValue,
  Signed,
  StepDone,
  ValueSet,
  VisitKind,
} from "./generated/records.ts";
import { byText } from "./order.ts";
import type { Source, When } from "./order.ts";

export interface Correction {
  source: Source;
  text: string;
  unit: string | null;
  si: SiValue | null;
  reason: string;
}

/** What a quantity was said to be, as corrected; `conflicts` are other devices' standing values. */
export interface Reading {
  source: Source;
  quantity: string;
  member: string | null;
  text: string;
  unit: string | null;
  si: SiValue | null;
  origin: ValueSet["origin"];
  corrections: Correction[];
  conflicts: Reading[];
  earlier: Reading[];
}

export interface StepState {
  source: Source;
  checklist: string;
  step: string;
  member: string | null;
  outcome: StepDone["outcome"];
  reason: string;
}

export interface TimerState {
  timer: string;
  started: Source | null;
  stopped: Source | null;
  checklist: string | null;
  step: string | null;
  quantity: string | null;
  targetS: number | null;
  elapsedS: number | null;
  observed: boolean | null;
  asleepS: number;
  clockChanged: boolean;
  readings: { elapsedS: number; text: string; unit: string | null; si: SiValue | null }[];
}

export interface Kept<Body> {
  source: Source;
  body: Body;
}

export interface Site {
  id: string;
  name: string;
  address: string;
}

export interface Member {
  collection: string;
  id: string;
  label: string;
}

export interface System {
  id: string;
  site: string;
  label: string;
  members: Member[];
}

export interface Visit {
  id: string;
  site: string;
  system: string;
  title: string;
  visitKind: VisitKind | null;
  date: string | null;
  checklists: readonly string[];
  assignedTo: string | null;
  /** Fixed by the first field record, changed by edition-moved. */
  edition: string | null;
  /** By `keyOf(quantity, member)`. */
  readings: Map<string, Reading>;
  /** By `keyOf(checklist, step, member)`. */
  steps: Map<string, StepState>;
  timers: TimerState[];
  notes: (Kept<Note> & { text: string; corrections: Correction[] })[];
  photos: Kept<Photo>[];
  signatures: Kept<Signed>[];
  comments: Kept<{ text: string }>[];
  closed: Source | null;
  /** What its phone found when it was signed or closed, where that still holds. */
  found: ResultSnapshot | null;
  first: When | null;
  last: When | null;
}

export interface Book {
  sites: Map<string, Site>;
  systems: Map<string, System>;
  visits: Map<string, Visit>;
}

export type VisitState = "planned" | "in work" | "closed";

export function stateOf(visit: Visit): VisitState {
  if (visit.closed) return "closed";
  return visit.first ? "in work" : "planned";
}

export function keyOf(...parts: (string | null | undefined)[]): string {
  return parts.map((part) => part ?? "").join("\n");
}

/**
 * The readings a visit rests on, by quantity and member. `carries` says whether a quantity is kept
 * with the site or the system from visit to visit, or asked anew at each.
 */
export function valuesOf(
  book: Book,
  visit: Visit,
  carries: (quantity: string) => "site" | "system" | "visit",
): Map<string, Reading> {
  const found = new Map<string, Reading>();
  const until = visit.last?.corrected ?? Infinity;
  const lastOf = ({ last }: Visit): number => last?.corrected ?? Infinity;
  const others = [...book.visits.values()]
    .filter(({ id, site }) => id !== visit.id && site === visit.site)
    .filter((other) => visit.last === null || (other.last !== null && lastOf(other) <= until))
    .sort((a, b) => lastOf(a) - lastOf(b) || byText(a.id, b.id));
  for (const other of others) {
    for (const [key, reading] of other.readings) {
      const kept = carries(reading.quantity);
      const same = kept === "site" || (kept === "system" && other.system === visit.system);
      if (same) found.set(key, reading);
    }
  }
  for (const [key, reading] of visit.readings) found.set(key, reading);
  for (const [key, { si }] of found) if (si === null) found.delete(key);
  return found;
}
