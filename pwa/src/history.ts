/** What each visit on a system found, the oldest first: each by its own rules, or as its phone sent it. Pure. */
import type { Book, Visit } from "./book.ts";
import { keyOf } from "./book.ts";
import { Unknown } from "./engine/index.ts";
import type { Engine } from "./engine/index.ts";
import type { Bundle, Quantity, Verdict } from "./generated/bundle.ts";
import { isBaseline, localDay } from "./past.ts";
import { collectionOf, evaluate, groundOn, quantityOf, worst } from "./work.ts";
import type { Work } from "./work.ts";

/** One visit as it was found then. */
export interface Then {
  /** When its work began, ms. */
  at: number;
  day: string;
  /** An install or commissioning: what later visits are held against. */
  baseline: boolean;
  /** Its rules were not those of the visit that looks back. */
  otherRules: boolean;
  /** SI; null where that visit knew none. */
  value(quantity: Quantity, member: string | null): number | null;
  /** The worst of these checks; null where none was judged. */
  verdict(checks: readonly string[], member: string | null): Verdict | null;
}

type Findings = Pick<Then, "value" | "verdict">;

/** The rules of an edition, where they are at hand. */
export type RulesOf = (edition: string) => Engine | null;

/**
 * The visits on the system up to the one looked at, which comes last, with what is typed and not kept yet.
 * `edition` is its own, `now` stands for its time before anything is recorded in it. Empty without a visit.
 */
export function historyOf(
  book: Book,
  work: Work,
  edition: string,
  rulesOf: RulesOf,
  now: number,
): Then[] {
  const { visit, earlier } = work;
  if (!visit) return [];
  const before = [...earlier].reverse().map((each): Then => {
    const engine = each.edition === null ? null : rulesOf(each.edition);
    const otherRules = each.edition !== edition;
    const findings = engine
      ? computed(() => workOf(book, each, engine), work.engine.bundle)
      : sent(each);
    return { ...timeOf(each, now), otherRules, ...findings };
  });
  const present = computed(() => work, work.engine.bundle);
  return [...before, { ...timeOf(visit, now), otherRules: false, ...present }];
}

function timeOf(visit: Visit, now: number): Pick<Then, "at" | "day" | "baseline"> {
  const began = visit.first ?? {
    corrected: now,
    offsetMin: -new Date(now).getTimezoneOffset(),
  };
  return { at: began.corrected, day: localDay(began), baseline: isBaseline(visit) };
}

const kept = new WeakMap<Visit, Map<Engine, Work>>();

/** A fold makes every visit anew, so what a visit came to stands as long as the visit does. */
function workOf(book: Book, visit: Visit, engine: Engine): Work {
  const works = kept.get(visit) ?? new Map<Engine, Work>();
  kept.set(visit, works);
  const work = works.get(engine) ?? evaluate(groundOn(book, visit, engine));
  works.set(engine, work);
  return work;
}

function computed(workOf: () => Work, present: Bundle): Findings {
  return {
    value(quantity, member) {
      const { engine, answer, members } = workOf();
      const then = namesOf(quantity).map((id) => quantityOf(engine, id));
      const known = then.find((each) => each !== null);
      if (!known || !alike(present, quantity, engine.bundle, known)) return null;
      const collection = collectionOf(engine, known.id);
      if (collection !== null && !members[collection]?.includes(member ?? "")) return null;
      const value = answer.value(known.id, member ?? undefined);
      return value instanceof Unknown || typeof value !== "number" ? null : value;
    },
    verdict(checks, member) {
      const { engine, answer } = workOf();
      const known = engine.bundle.checks.filter(({ id }) => checks.includes(id));
      return worstOf(answer.checks(known.map(({ id }) => id)), member);
    },
  };
}

/** A quantity may have been another thing under earlier rules: such a figure belongs on no common line. */
function alike(present: Bundle, quantity: Quantity, bundle: Bundle, then: Quantity): boolean {
  const sort = ({ units }: Bundle, { type = "number", unit = "" }: Quantity): string =>
    JSON.stringify([type, units[unit]?.dimension ?? "", units[unit]?.kind ?? ""]);
  return sort(present, quantity) === sort(bundle, then);
}

/** Without its rules a visit is what was read there, and what its phone found when it was signed or closed. */
function sent(visit: Visit): Findings {
  const { results = [], checks: judged = [] } = visit.found ?? {};
  return {
    value(quantity, member) {
      const names = namesOf(quantity);
      if (quantity.tree == null) {
        const readings = names.map((id) => visit.readings.get(keyOf(id, member)));
        const si = readings.find((each) => each !== undefined)?.si;
        return typeof si === "number" ? si : null;
      }
      const result = results.find(
        (each) => names.includes(each.quantity) && (each.member ?? null) === (member || null),
      );
      return typeof result?.si === "number" ? result.si : null;
    },
    verdict(checks, member) {
      return worstOf(
        judged.filter(({ id }) => checks.includes(id)),
        member,
      );
    },
  };
}

function worstOf(
  judged: readonly { member?: string | null; verdict: Verdict }[],
  member: string | null,
): Verdict | null {
  const verdicts = judged
    .filter((each) => !each.member || !member || each.member === member)
    .map(({ verdict }) => verdict)
    .filter((verdict) => verdict !== "not-applicable");
  return verdicts.length ? worst(verdicts) : null;
}

function namesOf({ id, formerly = [] }: Quantity): string[] {
  return [id, ...formerly];
}
