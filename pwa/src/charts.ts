/** What the charts of rules show: a series as it was read, results over one number, or visits. Pure. */
import { keyOf } from "./book.ts";
import { formatNumber, plainly } from "./bundle/reading.ts";
import { fromSi, shownUnit, unitLabel } from "./bundle/units.ts";
import { Unknown } from "./engine/index.ts";
import type { Answer } from "./engine/index.ts";
import { inputsOf } from "./engine/written.ts";
import { OVER_VISITS } from "./generated/bundle.ts";
import type { Bundle, Chart, Quantity, Step, Value, Verdict } from "./generated/bundle.ts";
import type { Then } from "./history.ts";
import { sayValue } from "./parts/say.ts";
import type { Speaker } from "./parts/say.ts";
import { collectionOf } from "./work.ts";
import type { Work } from "./work.ts";

export interface Axis {
  label: string;
  unit: string;
}

/** Figures in the units of the axes. */
export interface Plot {
  title: string;
  across: Axis;
  up: Axis;
  /** A gap where there is no figure. */
  lines: { label: string; points: (readonly [number, number | null])[] }[];
  limits: { label: string; said: string; at: number }[];
  /** The present values; `first` marks the one that the others are held against. */
  marks: { x: number; y: number; said: string; first?: boolean }[];
  /** The same figures in words. */
  rows: string[][];
  /** Of a chart over visits: where each stands, and what it found; in place of `rows`. */
  visits?: VisitLine[];
}

export interface VisitLine {
  at: number;
  day: string;
  baseline: boolean;
  otherRules: boolean;
  /** By line; null where that visit knew none. */
  figures: ({ said: string; verdict: Verdict | null } | null)[];
}

const DAY_MS = 86_400_000;

/** The results of the same values but one. */
export type AskAgain = (key: string, si: number) => Answer;
/** One member of each collection. */
export type Chosen = Readonly<Record<string, string>>;

/** Entries of the table behind a curve, at most. */
const ROWS = 11;

/** Null while there is nothing to draw. */
export function plotOf(
  to: Speaker,
  work: Work,
  chart: Chart,
  chosen: Chosen,
  again: AskAgain,
  history: readonly Then[],
): Plot | null {
  if (chart.over === OVER_VISITS) return visitsPlot(to, work, chart, chosen, history);
  if (!chart.series) return curveOf(to, work, chart, chosen, again);
  const quantity = to.quantity(chart.series);
  const si = valueAt(work, chart.series, chosen);
  if (!quantity || si instanceof Unknown) return null;
  const limits = chart.lines ?? [];
  return seriesPlot(
    to,
    quantity,
    si,
    limitsOf(to, work, limits, chosen, upOf(to, quantity)),
    chart.title,
  );
}

/** Charts of the series that a step reads, and its calculator's of what it shows. */
export function chartsOfStep(
  { calculators }: Bundle,
  { calculator, enter = [], if_known: maybe = [], show = [] }: Step,
): Chart[] {
  const own = calculators.find(({ id }) => id === calculator)?.charts ?? [];
  const all = [...own, ...calculators.flatMap(({ charts = [] }) => charts)];
  const series = [...enter, ...maybe].flatMap(
    (id) => all.find((chart) => chart.series === id) ?? [],
  );
  return [...series, ...own.filter((chart) => chart.show?.some((id) => show.includes(id)))];
}

/** A series that rules may say nothing more of. */
export function seriesPlot(
  to: Speaker,
  quantity: Quantity,
  si: Value,
  limits: Plot["limits"] = [],
  title = quantity.label,
): Plot | null {
  const [first, second] = quantity.columns ?? [];
  const points = (Array.isArray(si) ? si : []) as readonly (readonly [number, number])[];
  if (quantity.type !== "series" || !first || !second || points.length === 0) return null;
  const x = shownUnit(to.bundle, first.unit ?? "", to.system);
  const y = upOf(to, quantity);
  const shown = points.map(([a, b]) => [inUnit(to, a, x), inUnit(to, b, y)] as const);
  const [lastX, lastY] = shown.at(-1)!;
  const said = (n: number, unit: string): string =>
    plainly({ text: formatNumber(n, null), unit: unitLabel(to.bundle, unit) });
  return {
    title,
    across: { label: nameOf(first), unit: unitLabel(to.bundle, x) },
    up: { label: nameOf(second), unit: unitLabel(to.bundle, y) },
    lines: [{ label: "", points: shown }],
    limits,
    marks: [{ x: lastX, y: lastY, said: said(lastY, y) }],
    rows: shown.map(([a, b]) => [said(a, x), said(b, y)]),
  };
}

function curveOf(
  to: Speaker,
  work: Work,
  { title, over = "", ends, steps = 40, show = [], lines = [] }: Chart,
  chosen: Chosen,
  again: AskAgain,
): Plot | null {
  const input = to.quantity(over);
  const shown = show.flatMap((id) => to.quantity(id) ?? []);
  const [first] = shown;
  if (!input || !first || !ends) return null;
  const x = shownUnit(to.bundle, input.unit ?? "", to.system);
  const y = shownUnit(to.bundle, first.unit ?? "", to.system);
  const key = keyOf(over, memberOf(work, over, chosen));
  const [from, end] = ends;
  const ids = shown.map(({ id }) => id);
  const asked = Array.from({ length: steps + 1 }, (_, n) => {
    const si = from + ((end - from) * n) / steps;
    return { si, found: again(key, si).values(ids, chosen) };
  });
  const known = (value: Value | Unknown): number | null =>
    typeof value === "number" ? inUnit(to, value, y) : null;
  const drawn = shown.map(({ label }, at) => ({
    label: shown.length > 1 ? label : "",
    points: asked.map(({ si, found }) => [inUnit(to, si, x), known(found[at]!)] as const),
  }));
  if (!drawn.some(({ points }) => points.some(([, figure]) => figure !== null))) return null;
  const present = valueAt(work, over, chosen);
  const every = Math.max(1, Math.ceil(steps / (ROWS - 1)));
  return {
    title,
    across: { label: input.label, unit: unitLabel(to.bundle, x) },
    up: { label: shown.length > 1 ? "" : first.label, unit: unitLabel(to.bundle, y) },
    lines: drawn,
    limits: limitsOf(to, work, lines, chosen, y),
    marks: shown.flatMap((quantity) => {
      const value = valueAt(work, quantity.id, chosen);
      if (typeof present !== "number" || typeof value !== "number") return [];
      const said = plainly(sayValue(to, quantity, value));
      return [{ x: inUnit(to, present, x), y: inUnit(to, value, y), said }];
    }),
    rows: asked
      .filter((_, n) => n % every === 0)
      .map(({ si, found }) => [
        plainly(sayValue(to, input, si)),
        ...shown.map((quantity, at) => {
          const value = found[at]!;
          return value instanceof Unknown ? "" : plainly(sayValue(to, quantity, value));
        }),
      ]),
  };
}

/** Without a visit there is none to look back on; with visits that know nothing, no line has a point. */
function visitsPlot(
  to: Speaker,
  work: Work,
  chart: Chart,
  chosen: Chosen,
  history: readonly Then[],
): Plot | null {
  const { title, show = [], lines = [] } = chart;
  const asked = show.flatMap((id) => to.quantity(id) ?? []);
  const found = asked.map((quantity) => {
    const member = memberOf(work, quantity.id, chosen);
    const values = history.map((then) => then.value(quantity, member));
    return { quantity, member, values, checks: checksOn(to.bundle, chart, quantity.id) };
  });
  const known = found.filter(({ values }) => values.some((value) => value !== null));
  const shown = known.length ? known : found.slice(0, 1);
  const [first] = shown;
  if (!first || history.length === 0) return null;
  const y = shownUnit(to.bundle, first.quantity.unit ?? "", to.system);
  const xs = history.map(({ at }) => at / DAY_MS);
  const several = shown.length > 1;
  return {
    title,
    across: { label: "", unit: "" },
    up: { label: several ? "" : first.quantity.label, unit: unitLabel(to.bundle, y) },
    lines: shown.map(({ quantity, values }) => ({
      label: several ? quantity.label : "",
      points: values.map((si, at) => [xs[at]!, si === null ? null : inUnit(to, si, y)] as const),
    })),
    limits: known.length ? limitsOf(to, work, lines, chosen, y) : [],
    marks: shown.flatMap(({ quantity, values }) => {
      const last = values.map((si) => si !== null).lastIndexOf(true);
      const start = values.map((si, at) => si !== null && history[at]!.baseline).lastIndexOf(true);
      return values.flatMap((si, at) => {
        if (si === null) return [];
        const said = at === last || at === start ? plainly(sayValue(to, quantity, si)) : "";
        return [{ x: xs[at]!, y: inUnit(to, si, y), said, first: at === start }];
      });
    }),
    rows: [],
    visits: history.map((then, at) => ({
      ...{ at: xs[at]!, day: then.day, baseline: then.baseline, otherRules: then.otherRules },
      figures: shown.map(({ quantity, member, values, checks }) => {
        const si = values[at]!;
        if (si === null) return null;
        const said = plainly(sayValue(to, quantity, si));
        return { said, verdict: checks.length ? then.verdict(checks, member) : null };
      }),
    })),
  };
}

/** The checks of the chart's calculator whose conditions name a quantity. */
function checksOn({ calculators, checks, quantities }: Bundle, chart: Chart, id: string): string[] {
  const own = calculators.find(({ charts = [] }) => charts.includes(chart))?.checks ?? [];
  const slot = quantities.findIndex((each) => each.id === id);
  return checks
    .filter((check) => own.includes(check.id) && inputsOf(check).includes(slot))
    .map((check) => check.id);
}

function limitsOf(
  to: Speaker,
  work: Work,
  ids: readonly string[],
  chosen: Chosen,
  unit: string,
): Plot["limits"] {
  return ids.flatMap((id) => {
    const quantity = to.quantity(id);
    const value = valueAt(work, id, chosen);
    if (!quantity || typeof value !== "number") return [];
    const said = plainly(sayValue(to, quantity, value));
    return [{ label: quantity.label, said, at: inUnit(to, value, unit) }];
  });
}

function upOf(to: Speaker, { columns = [] }: Quantity): string {
  return shownUnit(to.bundle, columns[1]?.unit ?? "", to.system);
}

function valueAt(work: Work, id: string, chosen: Chosen): Value | Unknown {
  return work.answer.value(id, memberOf(work, id, chosen) ?? undefined);
}

function memberOf({ engine, members }: Work, id: string, chosen: Chosen): string | null {
  const collection = collectionOf(engine, id);
  if (collection === null) return null;
  return (chosen[collection] ?? members[collection]?.[0]) || null;
}

function inUnit(to: Speaker, si: number, unit: string): number {
  return unit ? fromSi(to.bundle, si, unit) : si;
}

function nameOf({ label = "", name }: { label?: string; name: string }): string {
  return label || name.charAt(0).toUpperCase() + name.slice(1).replaceAll("_", " ");
}
