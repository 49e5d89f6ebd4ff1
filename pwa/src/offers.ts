/** What rules find for a field that a person fills in. Pure. */
import { plainly } from "./bundle/reading.ts";
import { Unknown } from "./engine/index.ts";
import type { Entry } from "./form.ts";
import { sayValue, unitOf } from "./parts/say.ts";
import type { Speaker } from "./parts/say.ts";
import { pathOf } from "./routes.ts";
import { calculatorOf } from "./work.ts";
import type { Work } from "./work.ts";
import { words } from "./words/index.ts";

/** A value that may be taken into a field. */
export interface Offer {
  /** The calculator that finds it; empty of today's date. */
  by: string;
  /** What is entered when it is taken. */
  text: string;
  /** The same, in words and with its unit. */
  said: string;
  /** Where its working stands. */
  href?: string;
  /** Beside it: nothing was entered yet, the same, something else. */
  is: "free" | "same" | "other";
}

/** `today` is what an empty date is offered. */
export function offersFor(to: Speaker, work: Work, entry: Entry, today: string): Offer[] {
  const { quantity, member, si, text } = entry;
  const free = text.trim() === "";
  if (quantity.type === "date" && free) {
    return [{ by: "", text: today, said: words.field.today(today), is: "free" }];
  }
  const unit = quantity.unit ? unitOf(to, entry) : null;
  const own = si === null ? "" : plainly(sayValue(to, quantity, si, unit));
  return work.engine.bundle.quantities
    .filter(({ offers }) => offers === quantity.id)
    .flatMap((derived): Offer[] => {
      const value = work.answer.value(derived.id, member ?? undefined);
      if (value instanceof Unknown) return [];
      const found = sayValue(to, quantity, value, unit);
      // Compared as they are shown: what was taken was rounded to what is shown.
      const is = free ? "free" : plainly(found) === own ? "same" : "other";
      const calculator = calculatorOf(work.engine, derived.id);
      const of = {
        by: calculator?.title ?? derived.label,
        // A flag is entered in the same words in every language.
        text: typeof value === "boolean" ? (value ? "yes" : "no") : found.text,
        said: plainly(found),
        is,
      } as const;
      if (!calculator) return [of];
      const visit = work.visit ? { visit: work.visit.id } : {};
      const route = { at: "result", ...visit, calculator: calculator.id } as const;
      const href = pathOf({ ...route, quantity: derived.id, ...(member ? { member } : {}) });
      return [{ ...of, href }];
    });
}
