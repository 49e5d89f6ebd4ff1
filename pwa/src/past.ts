/** What was read on the same system before: the last time, and when it was put into service. Pure. */
import { keyOf } from "./book.ts";
import type { Book, Reading, Visit } from "./book.ts";
import type { Entry } from "./form.ts";
import type { When } from "./order.ts";

export interface Past {
  reading: Reading;
  /** The day of its visit. */
  day: string;
  /** Read at an install or commissioning: what later readings are held against. */
  baseline: boolean;
}

/** Visits on the same system that were worked on before this one was, the latest first. */
export function earlierVisits(book: Book, visit: Visit): Visit[] {
  const before = visit.first?.corrected ?? Infinity;
  return [...book.visits.values()]
    .filter(({ id, system, first }) => id !== visit.id && system === visit.system && first !== null)
    .filter(({ first }) => first!.corrected < before)
    .sort((a, b) => b.first!.corrected - a.first!.corrected);
}

export function isBaseline({ visitKind }: Visit): boolean {
  return visitKind === "install" || visitKind === "commissioning";
}

/** The last reading before, and the baseline where that is another; what the field shows as kept is left out. */
export function pastOf(earlier: readonly Visit[], { quantity, member, kept }: Entry): Past[] {
  const names = [quantity.id, ...(quantity.formerly ?? [])];
  const all = earlier.flatMap((visit): Past[] => {
    const found = names.map((id) => visit.readings.get(keyOf(id, member)));
    const reading = found.find((each) => each !== undefined && each.si !== null);
    if (!reading) return [];
    const day = visit.date ?? localDay(reading.source.when);
    return [{ reading, day, baseline: isBaseline(visit) }];
  });
  const [last] = all;
  const baseline = all.find((each) => each.baseline);
  const both = last && baseline && baseline !== last ? [last, baseline] : last ? [last] : [];
  return both.filter(({ reading }) => reading.source.record !== kept?.source.record);
}

/** The day by the clock of the phone that wrote it. */
export function localDay({ corrected, offsetMin }: Pick<When, "corrected" | "offsetMin">): string {
  return new Date(corrected + offsetMin * 60_000).toISOString().slice(0, 10);
}
