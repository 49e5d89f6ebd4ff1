/** Values, reasons and sources in the person's units and words. */
import { plainly, showValue } from "../bundle/reading.ts";
import type { Shown } from "../bundle/reading.ts";
import { Unknown } from "../engine/index.ts";
import type { Amended, Detail, Need, Part } from "../engine/index.ts";
import type { Bundle, Quantity, Replaced, SourceRef, Value } from "../generated/bundle.ts";
import type { Past } from "../past.ts";
import { words } from "../words/index.ts";

/** Who is spoken to, and of what. */
export interface Speaker {
  bundle: Bundle;
  system: "ip" | "si";
  /** What people call a member of a collection. */
  labelOf(member: string): string;
  quantity(id: string): Quantity | null;
}

export function sayValue(
  to: Speaker,
  quantity: Quantity,
  value: Value,
  unit?: string | null,
): Shown {
  if (typeof value === "boolean") {
    return { text: words.field[value ? "yes" : "no"].toLowerCase(), unit: "" };
  }
  if (Array.isArray(value) && value.length === 0) return { text: words.field.none, unit: "" };
  return showValue(to.bundle, quantity, value, unit || to.system);
}

/** The unit a bare number in a field is meant in: the one chosen there, else the person's own. */
export function unitOf(
  to: Speaker,
  { quantity, unit }: { quantity: Quantity; unit: string | null },
): string {
  if (unit && to.bundle.units[unit]) return unit;
  const declared = quantity.unit ?? "";
  const { system = "both", partner } = to.bundle.units[declared] ?? {};
  return system !== "both" && system !== to.system && partner ? partner : declared;
}

/** A formula with the values filled in, what is unknown by its name; "" where no part of it is decided. */
export function sayFilled(to: Speaker, parts: readonly Part[]): string {
  const text = sayParts(to, parts, ({ label }) => `${label}?`);
  return text === "?" ? "" : text;
}

/** A message or a formula as one text. */
export function sayParts(
  to: Speaker,
  parts: readonly Part[],
  unknown: (quantity: Quantity) => string = () => words.unknown.figure,
): string {
  let text = "";
  for (const part of parts) {
    const more = typeof part === "string" ? part : sayPart(to, part, unknown);
    // A unit may end in a full stop of its own.
    text += text.endsWith(".") && more.startsWith(".") ? more.slice(1) : more;
  }
  return text;
}

function sayPart(
  to: Speaker,
  part: Exclude<Part, string>,
  unknown: (quantity: Quantity) => string,
): string {
  const { value, unit = "" } = part;
  const quantity = to.quantity(part.id ?? "");
  // A table's cell has a unit and no quantity of its own.
  const shownAs: Quantity = quantity ?? { id: "", label: "", unit };
  if (value instanceof Unknown) return unknown(shownAs);
  return plainly(sayValue(to, shownAs, value, quantity && unit ? unit : null));
}

export function sayUnknown(to: Speaker, { why, detail }: Unknown): string {
  if (why === "missing") return words.unknown.missing;
  return sayDetail(to, detail);
}

function sayDetail(to: Speaker, detail: Detail): string {
  switch (detail.code) {
    case "says":
      return detail.text;
    case "limits": {
      const quantity = to.quantity(detail.quantity);
      if (!quantity) return words.unknown.outside;
      const edge = plainly(sayValue(to, quantity, detail.edge));
      return words.unknown.limits(quantity.label, edge);
    }
    case "below":
    case "above": {
      if ("quantity" in detail) {
        const series = to.quantity(detail.quantity);
        if (!series) return words.unknown[detail.code];
        const { unit = "" } = series.columns?.[0] ?? {};
        const edge = plainly(sayValue(to, { id: "", label: "", unit }, detail.edge));
        return words.unknown.edge[detail.code](series.label, edge);
      }
      const table = to.bundle.tables.find(({ id }) => id === detail.table);
      const column = table?.columns.find(({ name }) => name === detail.column);
      if (!table || !column) return words.unknown[detail.code];
      const unit = column.unit ?? "";
      const edge = plainly(sayValue(to, { id: "", label: "", unit }, detail.edge));
      return words.unknown.edge[detail.code](table.label || table.id, edge);
    }
    case "no-row":
    case "no-row-satisfies":
    case "empty-cell": {
      const table = to.bundle.tables.find(({ id }) => id === detail.table);
      return words.unknown[detail.code](table?.label || table?.id || words.unknown.aTable);
    }
    default:
      return words.unknown[detail.code];
  }
}

/** What was read on the same system before, as it was typed there. */
export function sayPast(to: Speaker, quantity: Quantity, { reading, day, baseline }: Past): string {
  const { si, unit, text } = reading;
  const value = si === null ? text : plainly(sayValue(to, quantity, si, unit));
  return (baseline ? words.field.baseline : words.field.lastTime)(value, words.day(day));
}

/** Why a typed text cannot be used. */
export function sayProblem(
  to: Speaker,
  quantity: Quantity,
  { code, params }: { code: string; params: Readonly<Record<string, unknown>> },
): string {
  const shown = (si: unknown): string =>
    typeof si === "number" ? plainly(sayValue(to, quantity, si, String(params["unit"] ?? ""))) : "";
  const unit = to.bundle.units[quantity.unit ?? ""]?.label ?? "";
  switch (code) {
    case "limits":
      return words.reading.limits(shown(params["low"]), shown(params["high"]));
    case "one-of":
      return words.reading.oneOf((quantity.one_of ?? []).map(shown).join(", "));
    case "grouping":
      return words.reading.grouping(String(params["plain"]), String(params["decimal"]));
    case "unit":
    case "dimension":
    case "no-unit":
      return words.reading.unit(unit);
    case "series":
    case "series-twice":
    case "choice":
    case "flag":
    case "date":
    case "count":
      return words.reading[code];
    default:
      return words.reading.number;
  }
}

export function sayNeed(to: Speaker, { id, member }: Need): string {
  const label = to.quantity(id)?.label ?? id;
  const of = member ? to.labelOf(member) : "";
  return of ? words.ofMember(label, of) : label;
}

/** What a later pack put in the place of an earlier rule, and why. */
export function sayAmended(to: Speaker, { id, pack, because }: Amended): string {
  const [table = "", row] = id.split(" ");
  const found = to.bundle.tables.find((each) => each.id === table);
  const name = found?.label || table.replaceAll("_", " ");
  const what = to.quantity(id)?.label ?? (row ? words.amended.row(name, row) : name);
  return words.amended.by(packOf(to.bundle, pack), what, because);
}

/** Of a check, a step or a caution: nothing where it is as it was first written. */
export function sayReplaced(
  bundle: Bundle,
  { pack = "", replaced }: { pack?: string; replaced?: Replaced | null },
): string {
  return replaced ? words.amended.by(packOf(bundle, pack), "", replaced.because) : "";
}

function packOf({ packs }: Bundle, id: string): string {
  return packs.find((each) => each.id === id)?.title ?? id;
}

export function saySource(bundle: Bundle, { of, place, mark }: SourceRef): string {
  const source = bundle.sources[of];
  const title = source ? [source.title, source.edition].filter(Boolean).join(", ") : of;
  const marks = [
    mark ? words.source.marks[mark] : "",
    source && unconfirmed(source.kind, source.confirmed),
  ];
  return [title, place, ...marks].filter(Boolean).join(" · ");
}

/** Figures in dispute that something rests on; nothing where there are none. */
export function sayDisputed(bundle: Bundle, sources: readonly SourceRef[]): string {
  const named = sources.map(({ of, place }) =>
    [bundle.sources[of]?.title ?? of, place].filter(Boolean).join(" · "),
  );
  return named.length ? words.result.disputed(named.join("; ")) : "";
}

/** A published text whose figures nobody has compared with the print yet says so. */
function unconfirmed(kind: string, confirmed = false): string {
  const published = kind !== "practice" && kind !== "memory" && kind !== "demo";
  return published && !confirmed ? words.source.unconfirmed : "";
}
