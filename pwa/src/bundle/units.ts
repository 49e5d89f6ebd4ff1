/** The closed list of units of a bundle: finding one by its spelling, converting, choosing which to show. */

import { round12 } from "../engine/numbers.ts";
import type { Bundle, Unit } from "../generated/bundle.ts";

interface Spellings {
  /** The unit that owns a spelling as written, and the units that own it in any letter case. */
  readonly exact: ReadonlyMap<string, string>;
  readonly folded: ReadonlyMap<string, ReadonlySet<string>>;
}

const known = new WeakMap<Bundle, Spellings>();

/** Letter case and the two code points of the micro sign make no difference. */
export function folded(text: string): string {
  return text.toLowerCase().replaceAll("\u00b5", "\u03bc");
}

function spellingsOf(bundle: Bundle): Spellings {
  const found = known.get(bundle);
  if (found) return found;
  const exact = new Map<string, string>();
  const any = new Map<string, Set<string>>();
  for (const [name, { label, spellings = [] }] of Object.entries(bundle.units))
    for (const spelling of [name, label, ...spellings]) {
      const owner = exact.get(spelling) ?? name;
      exact.set(spelling, owner);
      any.set(folded(spelling), (any.get(folded(spelling)) ?? new Set()).add(owner));
    }
  const made = { exact, folded: any };
  known.set(bundle, made);
  return made;
}

/** The unit with this spelling; null where there is none, or several that differ by letter case. */
export function findUnit(bundle: Bundle, spelling: string): string | null {
  const spellings = spellingsOf(bundle);
  const exact = spellings.exact.get(spelling);
  if (exact !== undefined) return exact;
  const [only, ...others] = spellings.folded.get(folded(spelling)) ?? [];
  return only === undefined || others.length > 0 ? null : only;
}

/** The unit meant when `name` is written for something of this declared unit and kind; null if it cannot be. */
export function fitUnit(
  { units }: Bundle,
  name: string,
  declared: string,
  kind: string,
): string | null {
  const unit = units[name] as Unit;
  const { dimension = "", point = false, kind: own = "" } = unit;
  if (dimension !== (units[declared]?.dimension ?? "")) return null;
  if (kind === "temperature") return point || own === "absolute" ? name : null;
  if (point && (kind === "" || kind === "temperature difference")) {
    const twin = Object.entries(units).find(
      ([, other]) =>
        other.kind === "temperature difference" &&
        other.scale === unit.scale &&
        other.system === unit.system,
    );
    return twin?.[0] ?? null;
  }
  return (own === "" || own === kind) && point === (kind === "date") ? name : null;
}

export function toSi({ units }: Bundle, typed: number, unit: string): number {
  const { scale, offset = 0 } = units[unit] as Unit;
  return round12(typed * scale + offset);
}

export function fromSi({ units }: Bundle, si: number, unit: string): number {
  const { scale, offset = 0 } = units[unit] as Unit;
  return (si - offset) / scale;
}

/** The declared unit, or its partner when the person uses the other system. */
export function shownUnit({ units }: Bundle, declared: string, wanted: "ip" | "si"): string {
  const { system = "both", partner = "" } = units[declared] ?? {};
  return system === "both" || system === wanted ? declared : partner || declared;
}

export function unitLabel({ units }: Bundle, unit: string): string {
  return units[unit]?.label ?? "";
}
