/** The edges: what people type to SI values, and back. Meaning: rules/LANGUAGE.md section 11. */

import { close, round12 } from "../engine/numbers.ts";
import type { Bundle, Column, Quantity, Value } from "../generated/bundle.ts";
import { findUnit, fitUnit, folded, fromSi, shownUnit, toSi, unitLabel } from "./units.ts";

/** What a typed text comes to, or the code of why it cannot be taken, with its parameters. */
export type Reading =
  | {
      readonly ok: true;
      readonly si: Value;
      /** The unit it was read in; empty where there is none. */
      readonly unit: string;
      /** Outside the usual: to be asked again. */
      readonly ask: boolean;
    }
  | (Problem & { readonly ok: false });

export interface Problem {
  readonly code:
    | "empty"
    | "number"
    | "grouping"
    | "unit"
    | "no-unit"
    | "dimension"
    | "choice"
    | "flag"
    | "date"
    | "count"
    | "series"
    | "series-twice"
    | "one-of"
    | "limits";
  readonly params: Readonly<Record<string, string | number>>;
}

/** A value as a person reads it; the unit is empty where the text has it already, or has none. */
export interface Shown {
  readonly text: string;
  readonly unit: string;
}

const MINUS = "\u2212";
/** Of a written number, so that it has room for its unit. */
const LARGEST = 1e300;
/** Signs in which a number with its unit is looked for. */
const LONGEST = 1000;
const NUMBER = /^\s*([-+\u2212]?)\s*(\d+(?:[.,]\d*)*|[.,]\d+)(?:[eE]([-+]?\d{1,2})(?!\d))?/;
const FRACTION = /^\s*([-+\u2212]?)\s*(?:(\d+)(?:-|\s+))?(\d+)\s*\/\s*(\d+)(?=$|[^\d.,/])/;
const DAY = /^(?!0000)\d{4}-\d{2}-\d{2}$/;
const BETWEEN = /;|,\s+|,$/;
const FLAGS = new Map([
  ["yes", true],
  ["true", true],
  ["no", false],
  ["false", false],
]);

class Refusal extends Error {
  readonly problem: Problem;

  constructor(code: Problem["code"], params: Problem["params"] = {}) {
    super(code);
    this.problem = { code, params };
  }
}

/** A typed value of a quantity. A number without a unit is in `unit`, or in the declared one. */
export function parseReading(
  bundle: Bundle,
  quantity: Quantity,
  typed: string,
  unit = "",
): Reading {
  try {
    return { ok: true, ...parse(bundle, quantity, typed.trim(), unit) };
  } catch (error) {
    if (error instanceof Refusal) return { ok: false, ...error.problem };
    throw error;
  }
}

interface Parsed {
  readonly si: Value;
  readonly unit: string;
  readonly ask: boolean;
}

function parse(bundle: Bundle, quantity: Quantity, text: string, unit: string): Parsed {
  const { type = "number", choices = "", unit: declared = "", kind = "" } = quantity;
  const plain = (si: Value): Parsed => ({ si, unit: "", ask: false });
  if (text === "") throw new Refusal("empty");
  switch (type) {
    case "choice":
      return plain(option(bundle, choices, text));
    case "text":
      return plain(text);
    case "flag": {
      const flag = FLAGS.get(folded(text));
      if (flag === undefined) throw new Refusal("flag", { text });
      return plain(flag);
    }
    case "date":
      if (!isDay(text)) throw new Refusal("date", { text });
      return plain(text);
    case "series":
      return plain(series(bundle, quantity, text));
    case "texts":
    case "list": {
      const entries = text.split(BETWEEN).filter((part) => part.trim() !== "");
      if (type === "texts") return plain(entries.map((part) => part.trim()));
      if (choices) return plain(entries.map((part) => option(bundle, choices, part)));
      const all = entries.map((part) => measure(bundle, part, declared, kind, unit));
      const ask = all.map((each) => judge(quantity, each)).includes(true);
      return { si: all.map(({ si }) => si), unit: all[0]?.unit ?? "", ask };
    }
    default: {
      const read = measure(bundle, text, declared, kind, unit);
      if (type === "count" && !Number.isInteger(read.si)) throw new Refusal("count", { text });
      return { ...read, ask: judge(quantity, read) };
    }
  }
}

interface Measured {
  readonly si: number;
  readonly unit: string;
}

/** A number with its unit, or in `unit`, or in the declared one. */
function measure(
  bundle: Bundle,
  text: string,
  declared: string,
  kind: string,
  unit = "",
): Measured {
  const { number, rest } = splitNumber(text);
  const name = rest === "" ? unit || declared : findUnit(bundle, rest);
  if (name === null) throw new Refusal("unit", { text: rest });
  if (name === "") return { si: round12(number), unit: "" };
  if (declared === "") throw new Refusal("no-unit", { text: rest });
  const fit = fitUnit(bundle, name, declared, kind);
  if (fit === null) throw new Refusal("dimension", { unit: name, declared });
  return { si: toSi(bundle, number, fit), unit: fit };
}

/** The number at the start of a text, and the rest. */
function splitNumber(text: string): { number: number; rest: string } {
  if (text.length > LONGEST && [...text].length > LONGEST) throw new Refusal("number", { text });
  let number: number;
  let found = FRACTION.exec(text);
  if (found) {
    const [, , whole = "0", over, under] = found;
    number = Number(whole) + Number(over) / Number(under);
  } else {
    found = NUMBER.exec(text);
    const [, , digits = "", power = "0"] = found ?? [];
    const decimal = digits.replaceAll(",", ".");
    if ((digits.match(/[.,]/g) ?? []).length > 1 || /\d,\d{3}$/.test(digits))
      throw new Refusal("grouping", { plain: digits.replaceAll(",", ""), decimal });
    number = Number(`${decimal.replace(/\.$/, "") || "-"}e${power}`);
  }
  if (!found || !(number <= LARGEST)) throw new Refusal("number", { text });
  const negative = found[1] === "-" || found[1] === MINUS;
  return { number: negative ? -number : number, rest: text.slice(found[0].length).trim() };
}

function option({ choices }: Bundle, list: string, text: string): string {
  const wanted = folded(text.trim());
  const found = choices[list]?.options.find(({ value, label, spellings = [] }) =>
    [value, label, ...spellings].some((spelling) => folded(spelling) === wanted),
  );
  if (!found) throw new Refusal("choice", { text: text.trim() });
  return found.value;
}

function isDay(text: string): boolean {
  const at = DAY.test(text) ? Date.parse(`${text}T00:00:00Z`) : NaN;
  return Number.isFinite(at) && new Date(at).toISOString().startsWith(`${text}T`);
}

function series(bundle: Bundle, quantity: Quantity, text: string): number[][] {
  const [first, second] = (quantity.columns ?? []) as readonly [Column, Column];
  const side = (part: string, { unit = "" }: Column) =>
    measure(bundle, part, unit, bundle.units[unit]?.kind ?? "").si;
  const parts = text.split(BETWEEN).filter((part) => part.trim() !== "");
  const points = parts.map((part) => {
    const [x, y, ...more] = part.split(":");
    if (x === undefined || y === undefined || more.length > 0)
      throw new Refusal("series", { text: part.trim() });
    const point = [side(x, first), side(y, second)] as const;
    judge(quantity, { si: point[1], unit: second.unit ?? "" });
    return [...point];
  });
  points.sort(([x = 0], [other = 0]) => x - other);
  if (points.some(([x = 0], k) => k > 0 && close(x, points[k - 1]?.[0] as number)))
    throw new Refusal("series-twice");
  return points;
}

/** Whether a value is to be asked again. Refuses what the quantity cannot be. */
function judge({ one_of = [], limits, usual }: Quantity, { si, unit }: Measured): boolean {
  if (one_of.length > 0 && !one_of.some((x) => close(si, x))) throw new Refusal("one-of", { unit });
  const [low, high] = limits ?? [-Infinity, Infinity];
  if ((si < low && !close(si, low)) || (si > high && !close(si, high)))
    throw new Refusal("limits", { low, high, unit });
  return !!usual && (si < usual[0] || si > usual[1]);
}

/** A value in a person's system of units, or in a unit named. */
export function showValue(
  bundle: Bundle,
  quantity: Quantity,
  value: Value,
  wanted: string = "",
): Shown {
  const { unit: declared = "", choices = "", columns = [], decimals = null } = quantity;
  const unitFor = (own: string) =>
    wanted === "ip" || wanted === "si" ? shownUnit(bundle, own, wanted) : wanted || own;
  if (typeof value === "boolean") return { text: value ? "yes" : "no", unit: "" };
  if (typeof value === "string") {
    const options = bundle.choices[choices]?.options ?? [];
    return { text: options.find((each) => each.value === value)?.label ?? value, unit: "" };
  }
  if (typeof value === "number") {
    const unit = unitFor(declared);
    return {
      text: digits(bundle, value, unit, declared, decimals),
      unit: unitLabel(bundle, unit),
    };
  }
  if (quantity.type === "series") {
    const system = wanted === "ip" || wanted === "si" ? wanted : null;
    const side = (x: number, { unit = "" }: Column) => {
      const shown = system ? shownUnit(bundle, unit, system) : unit;
      return plainly({
        text: digits(bundle, x, shown, shown, null),
        unit: unitLabel(bundle, shown),
      });
    };
    const point = (of: readonly number[]) =>
      of.map((x, k) => side(x, columns[k] as Column)).join(": ");
    return { text: (value as readonly (readonly number[])[]).map(point).join(", "), unit: "" };
  }
  const items = (value as readonly (string | number)[]).map((item) =>
    showValue(bundle, quantity, item, wanted),
  );
  return { text: items.map(({ text }) => text).join(", "), unit: items[0]?.unit ?? "" };
}

/** Text and unit as one. */
export function plainly({ text, unit }: Shown): string {
  return unit ? `${text} ${unit}` : text;
}

function digits(
  bundle: Bundle,
  si: number,
  unit: string,
  declared: string,
  decimals: number | null,
): string {
  const x = unit ? fromSi(bundle, si, unit) : si;
  if (decimals === null || unit === declared) return formatNumber(x, decimals);
  const scale = (name: string) => bundle.units[name]?.scale ?? 1;
  const more = Math.round(Math.log10(scale(unit) / scale(declared)));
  return formatNumber(x, Math.max(0, decimals + more));
}

/** Fixed decimals, or four significant digits without trailing zeros; − for a minus. */
export function formatNumber(x: number, decimals: number | null): string {
  // The decimal text is rounded, not the binary number: 1.005 to two places is 1.01.
  const [digits = "", size = ""] = Math.abs(x).toExponential(11).split("e");
  const places = decimals ?? Math.max(0, 3 - Number(size));
  const more = Number(size) + places - 11;
  const power = 10n ** BigInt(Math.abs(more));
  const twelve = BigInt(digits.replace(".", ""));
  const steps = more < 0 ? (twelve + power / 2n) / power : twelve * power;
  let text = steps.toString().padStart(places + 1, "0");
  if (places > 0) text = `${text.slice(0, -places)}.${text.slice(-places)}`;
  if (decimals === null && text.includes(".")) text = text.replace(/\.?0+$/, "");
  return x < 0 && /[1-9]/.test(text) ? MINUS + text : text;
}
