/** Unknown as a value: why, and what is needed. */

import type { Why } from "../generated/bundle.ts";

type DomainCode =
  | "division-by-zero"
  | "fractional-power-of-negative"
  | "root-of-negative"
  | "log-of-nothing"
  | "overflow"
  | "no-root"
  | "no-such-entry"
  | "empty-list";

/** Codes with their parameters; the words for them live with whoever shows them. */
export type Detail = Readonly<
  | { code: "missing" | "when" | "no-option" | DomainCode }
  | { code: "says"; text: string }
  | { code: "limits"; quantity: string; edge: number }
  | { code: "no-row" | "no-row-satisfies"; table: string }
  | { code: "empty-cell"; table?: string; column?: string }
  | { code: "below" | "above"; table: string; column: string; edge: number }
  | { code: "below" | "above"; quantity: string; edge: number }
>;

/** A quantity that has to be entered. */
export interface Need {
  readonly id: string;
  readonly member?: string;
}

/** A need and its place among quantities and members, which orders needs. */
interface Gap {
  readonly slot: number;
  readonly position: number;
  readonly need: Need;
}

const WEIGHT = { "not-applicable": 0, outside: 1, domain: 2, missing: 3 };

/** A result that is not known. */
export class Unknown {
  readonly why: Why;
  readonly detail: Detail;
  readonly #gap: Gap | undefined;
  readonly #parts: readonly Unknown[];

  constructor(why: Why, detail: Detail, gap?: Gap, parts: readonly Unknown[] = []) {
    this.why = why;
    this.detail = detail;
    this.#gap = gap;
    this.#parts = parts;
  }

  /** The same of a value that somebody entered. */
  of(slot: number, position: number, need: Need): Unknown {
    return new Unknown(this.why, this.detail, { slot, position, need });
  }

  /** What has to be entered, in the order in which quantities are declared. */
  get needs(): Need[] {
    // Gathered when asked for: most unknowns of an evaluation are never looked at.
    const all = new Set<Unknown>([this]);
    for (const unknown of all) for (const part of unknown.#parts) all.add(part);
    const gaps = new Set([...all].flatMap((unknown) => unknown.#gap ?? []));
    return [...gaps]
      .sort((a, b) => a.slot - b.slot || a.position - b.position)
      .map(({ need }) => need);
  }
}

export const missing = new Unknown("missing", { code: "missing" });

export function outside(detail: Detail): Unknown {
  return new Unknown("outside", detail);
}

/** The arithmetic has no answer. */
export function domain(code: DomainCode): Unknown {
  return new Unknown("domain", { code });
}

/** One unknown for all unknowns among the operands: the weightiest reason, everything needed. */
export function merge(...operands: readonly unknown[]): Unknown {
  let best: Unknown | undefined;
  const parts: Unknown[] = [];
  for (const operand of operands) {
    if (!(operand instanceof Unknown) || parts.includes(operand)) continue;
    parts.push(operand);
    if (!best || WEIGHT[operand.why] < WEIGHT[best.why]) best = operand;
  }
  if (!best) throw new TypeError("nothing unknown among the operands");
  return parts.length === 1 ? best : new Unknown(best.why, best.detail, undefined, parts);
}
