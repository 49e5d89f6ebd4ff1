/** A chart: thin ink lines, limits dashed and named at their ends, present values as dots; a table behind. */
import { html, nothing, svg } from "lit";
import type { SVGTemplateResult, TemplateResult } from "lit";
import { scaleLinear } from "d3-scale";
import type { ScaleLinear } from "d3-scale";
import { line } from "d3-shape";
import type { Plot, VisitLine } from "../charts.ts";
import { words } from "../words/index.ts";
import { visited } from "./visited.ts";

const WIDTH = 350;
const HEIGHT = 250;
const EDGE = { right: 8, top: 30, bottom: 48 };
const RIGHT = WIDTH - EDGE.right;
const BOTTOM = HEIGHT - EDGE.bottom;
/** From one line of letters to the next. */
const LINE = 19;
/** Width of a letter and of a digit, on average. */
const LETTER = 8.2;
const DIGIT = 10.2;

type Scale = ScaleLinear<number, number>;
interface Tick {
  at: number;
  said: string;
  anchor?: "start" | "middle" | "end";
}
interface Label {
  kind: "value" | "name";
  text: string;
  x: number;
  y: number;
  anchor: "start" | "end";
}

export function chart(plot: Plot): TemplateResult {
  return html`<figure class="chart-of">
    <figcaption>${plot.title}</figcaption>
    ${plot.lines.some(({ points }) => points.some(([, figure]) => figure !== null)) ? drawn(plot) : nothing}
    ${plot.visits ? visited(plot, plot.visits) : html`<div class="unseen">${table(plot)}</div>`}
  </figure>`;
}

function drawn(plot: Plot): TemplateResult {
  const y = upScale(plot);
  const left = 16 + DIGIT * Math.max(...y.ticks(4).map((tick) => written(tick).length));
  const x = acrossScale(plot, left);
  const marks = plot.marks.filter((mark) => within(x, mark.x) && within(y, mark.y));
  const labels = apart([
    ...marks.flatMap(({ said, ...mark }): Label[] => {
      if (!said) return [];
      const anchor = x(mark.x) > (left + RIGHT) / 2 ? "end" : "start";
      const aside = anchor === "end" ? -9 : 9;
      const crossed = plot.limits.some(({ at }) => y(at) > y(mark.y) && y(at) < y(mark.y) + 22);
      const next = beside(plot, mark, anchor);
      const below = crossed || (next !== null && next < mark.y) ? -10 : 20;
      const text = mark.first && plot.visits ? words.chart.whenNew(said) : said;
      return [{ kind: "value", text, x: x(mark.x) + aside, y: y(mark.y) + below, anchor }];
    }),
    ...plot.limits.map(({ label, said, at }): Label => {
      const room = RIGHT - left - LETTER * (said.length + 1);
      const text = `${shortened(label, room)} ${said}`;
      return { kind: "name", text, x: left + 6, y: y(at) - 6, anchor: "start" };
    }),
    ...plot.lines.flatMap(({ label, points }): Label[] => {
      const last = points.filter(([, figure]) => figure !== null).at(-1);
      if (!label || !last) return [];
      return [{ kind: "name", text: label, x: x(last[0]), y: y(last[1]!) - 8, anchor: "end" }];
    }),
  ]);
  return html`<svg class="chart" viewBox="0 0 ${WIDTH} ${HEIGHT}" aria-hidden="true">
    ${axes(plot, x, y, left)}
    ${plot.limits.map(({ at }) => svg`<path class="limit" d="M${left} ${y(at)}H${RIGHT}" />`)}
    ${plot.lines.map(({ points }) => svg`<path class="ink" d=${path(points, x, y)} />`)}
    ${marks.map(
      (mark) =>
        svg`${
          mark.first ? svg`<circle class="ring" cx=${x(mark.x)} cy=${y(mark.y)} r="9" />` : nothing
        }<circle class="dot" cx=${x(mark.x)} cy=${y(mark.y)} r="5" />`,
    )}
    ${labels.map(
      ({ kind, text, x, y, anchor }) =>
        svg`<text class=${kind} x=${x} y=${y} text-anchor=${anchor}>${text}</text>`,
    )}
  </svg>`;
}

function table(plot: Plot): TemplateResult {
  return html`<table>
    <caption>
      ${plot.title}
    </caption>
    <tr>
      <th scope="col">${plot.across.label}</th>
      ${
        plot.lines.length > 1
          ? plot.lines.map(({ label }) => html`<th scope="col">${label}</th>`)
          : html`<th scope="col">${plot.up.label}</th>`
      }
    </tr>
    ${plot.rows.map(
      (row) =>
        html`<tr>
          ${row.map((cell) => html`<td>${cell}</td>`)}
        </tr>`,
    )}
    ${plot.limits.map(
      ({ label, said }) =>
        html`<tr>
          <td colspan=${plot.lines.length + 1}>${label} ${said}</td>
        </tr>`,
    )}
  </table>`;
}

/** The figure of its line before a mark, or after it: where its label is written. */
function beside(
  { lines }: Plot,
  { x, y }: { x: number; y: number },
  anchor: Label["anchor"],
): number | null {
  const own = lines.find(({ points }) => points.some(([a, b]) => a === x && b === y));
  const known = (own?.points ?? []).filter(([, figure]) => figure !== null);
  const at = known.findIndex(([a]) => a === x);
  return known[anchor === "end" ? at - 1 : at + 1]?.[1] ?? null;
}

function acrossScale({ lines, marks, visits }: Plot, left: number): Scale {
  const all = [...lines.flatMap(({ points }) => points.map(([x]) => x)), ...marks.map((m) => m.x)];
  const low = Math.min(...all);
  const high = Math.max(...all);
  // One reading alone stands at the left, with room for the next.
  const end = high > low ? high : low + Math.max(1, Math.abs(low));
  return scaleLinear([low, end], [visits ? left + 12 : left, RIGHT - 6]);
}

/** From zero where the figures come near it; else close around them, so that a small loss shows. */
function upScale({ lines, limits, marks }: Plot): Scale {
  const all = [
    ...lines.flatMap(({ points }) => points.flatMap(([, figure]) => figure ?? [])),
    ...limits.map(({ at }) => at),
    ...marks.map((mark) => mark.y),
  ];
  const low = Math.min(...all);
  const high = Math.max(...all);
  const close = low > 0 && high - low < low / 2;
  const room = (high - low || Math.abs(high) || 1) * 0.12;
  const from = close ? low - room : Math.min(0, low);
  return scaleLinear([from, Math.max(high + room, from + room)], [BOTTOM, EDGE.top]).nice(4);
}

function axes({ across, up, visits }: Plot, x: Scale, y: Scale, left: number): SVGTemplateResult[] {
  return [
    ...y.ticks(4).map(
      (tick) =>
        svg`<path class="axis" d="M${left - 6} ${y(tick)}h6" /><text
          x=${left - 9} y=${y(tick) + 5} text-anchor="end">${written(tick)}</text>`,
    ),
    ...(visits ? days(visits, x) : x.ticks(4).map((at) => ({ at, said: written(at) }))).map(
      ({ at, said, anchor = "middle" }: Tick) =>
        svg`<path class="axis" d="M${x(at)} ${BOTTOM}v6" /><text
          x=${x(at)} y=${BOTTOM + 22} text-anchor=${anchor}>${said}</text>`,
    ),
    svg`<path class="axis" d="M${left} ${EDGE.top}V${BOTTOM}H${RIGHT}" fill="none" />`,
    svg`<text x=${RIGHT} y=${HEIGHT - 6} text-anchor="end">${titled(across)}</text>`,
    svg`<text x="0" y=${EDGE.top - 14}>${titled(up)}</text>`,
  ];
}

/** The days of the first and the last visit, and of those between that have room. */
function days(visits: readonly VisitLine[], x: Scale): Tick[] {
  const [first, ...after] = visits.map(({ at, day }) => ({ at, said: words.day(day) }));
  const last = after.pop();
  if (!first) return [];
  const placed: Tick[] = [{ ...first, anchor: "start" }];
  let free = x(first.at) + width(first.said);
  const end = last ? x(last.at) - width(last.said) : Infinity;
  for (const tick of after) {
    const half = width(tick.said) / 2;
    if (x(tick.at) - half < free || x(tick.at) + half > end) continue;
    placed.push(tick);
    free = x(tick.at) + half;
  }
  return last && end >= free ? [...placed, { ...last, anchor: "end" }] : placed;
}

/** Of a tick's words, with the space to the next. */
function width(said: string): number {
  return said.length * LETTER + 8;
}

function titled({ label, unit }: Plot["up"]): string {
  return [shortened(label, WIDTH - LETTER * (unit.length + 2)), unit].filter(Boolean).join(", ");
}

function shortened(label: string, width: number): string {
  const room = Math.floor(width / LETTER);
  return label.length > room ? `${label.slice(0, room - 1).trimEnd()}…` : label;
}

function written(tick: number): string {
  return String(tick).replace("-", "−");
}

function path(points: readonly (readonly [number, number | null])[], x: Scale, y: Scale): string {
  return (
    line<readonly [number, number | null]>(
      ([a]) => x(a),
      ([, b]) => y(b!),
    ).defined(([, b]) => b !== null)(points) ?? ""
  );
}

/** Labels that would lie on one placed before go up, or down where there is no more room. */
function apart(labels: readonly Label[]): Label[] {
  const placed: Label[] = [];
  for (const label of labels) {
    const free = (y: number): boolean => placed.every((other) => !touch({ ...label, y }, other));
    const steps = Array.from({ length: labels.length + 1 }, (_, n) => n * LINE);
    const up = steps.map((step) => label.y - step).filter((y) => y > EDGE.top);
    const down = steps.map((step) => label.y + step).filter((y) => y < BOTTOM);
    placed.push({ ...label, y: [...up, ...down].find(free) ?? label.y });
  }
  return placed;
}

function touch(a: Label, b: Label): boolean {
  const [fromA, toA] = extent(a);
  const [fromB, toB] = extent(b);
  return Math.abs(a.y - b.y) < LINE && fromA < toB && fromB < toA;
}

function extent({ text, x, anchor }: Label): [number, number] {
  const width = text.length * LETTER;
  return anchor === "end" ? [x - width, x] : [x, x + width];
}

function within(scale: Scale, at: number): boolean {
  const [low = 0, high = 0] = scale.domain();
  return at >= low && at <= high;
}

/** Or nothing where there is nothing to draw yet. */
export function chartOf(plot: Plot | null): TemplateResult | typeof nothing {
  return plot ? chart(plot) : nothing;
}
