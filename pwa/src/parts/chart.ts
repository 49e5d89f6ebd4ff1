/** A series as a thin ink line, its last reading as a dot with its value; a table behind it. */
import { html, nothing, svg } from "lit";
import type { TemplateResult } from "lit";
import { scaleLinear } from "d3-scale";
import { line } from "d3-shape";
import type { Entry } from "../form.ts";
import type { Column } from "../generated/bundle.ts";
import { words } from "../words/en.ts";
import { plainly } from "../bundle/reading.ts";
import { sayValue } from "./say.ts";
import type { Speaker } from "./say.ts";

const WIDTH = 350;
const HEIGHT = 220;
const EDGE = { left: 52, right: 66, top: 16, bottom: 40 };

type Point = readonly [number, number];

export function chart(to: Speaker, entry: Entry): TemplateResult | typeof nothing {
  const { type, columns = [], label } = entry.quantity;
  const [across, up] = columns;
  const points = (Array.isArray(entry.si) ? entry.si : []) as readonly Point[];
  if (type !== "series" || !across || !up || points.length < 2) return nothing;
  const shown = points.map(([x, y]): Point => [inUnit(to, across, x), inUnit(to, up, y)]);
  const xs = shown.map(([x]) => x);
  const ys = shown.map(([, y]) => y);
  const x = scaleLinear([Math.min(...xs), Math.max(...xs)], [EDGE.left, WIDTH - EDGE.right]);
  const y = scaleLinear(
    [Math.min(0, ...ys), Math.max(...ys)],
    [HEIGHT - EDGE.bottom, EDGE.top],
  ).nice(4);
  const last = shown.at(-1)!;
  const title = `${label}: ${words.chart.from(said(to, across, points[0]![0]), said(to, across, points.at(-1)![0]))}`;
  return html`<svg class="chart" viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label=${title}>
      ${y.ticks(4).map(
        (tick) =>
          svg`<path class="axis" d="M${EDGE.left - 6} ${y(tick)}h6" /><text
            x=${EDGE.left - 10} y=${y(tick) + 5} text-anchor="end">${tick}</text>`,
      )}
      ${x.ticks(4).map(
        (tick) =>
          svg`<path class="axis" d="M${x(tick)} ${HEIGHT - EDGE.bottom}v6" /><text
            x=${x(tick)} y=${HEIGHT - EDGE.bottom + 22} text-anchor="middle">${tick}</text>`,
      )}
      <path
        class="axis"
        d="M${EDGE.left} ${EDGE.top}V${HEIGHT - EDGE.bottom}H${WIDTH - EDGE.right}"
        fill="none"
      />
      <path class="ink" d=${line()(shown.map(([a, b]) => [x(a), y(b)])) ?? ""} />
      <circle class="dot" cx=${x(last[0])} cy=${y(last[1])} r="5" />
      <text class="value" x=${x(last[0]) + 9} y=${y(last[1]) + 5}>${Math.round(last[1])}</text>
      <text x=${WIDTH - EDGE.right + 6} y=${HEIGHT - EDGE.bottom + 22}>
        ${unitLabel(to, across)}
      </text>
      <text x="4" y=${EDGE.top - 2}>${unitLabel(to, up)}</text>
    </svg>
    <table class="unseen">
      <caption>
        ${label}
      </caption>
      <tr>
        <th scope="col">${across.label || across.name}</th>
        <th scope="col">${up.label || up.name}</th>
      </tr>
      ${points.map(
        ([a, b]) =>
          html`<tr>
            <td>${said(to, across, a)}</td>
            <td>${said(to, up, b)}</td>
          </tr>`,
      )}
    </table>`;
}

function unitLabel(to: Speaker, { unit = "" }: Column): string {
  return to.bundle.units[unit]?.label ?? "";
}

function inUnit(to: Speaker, { unit = "" }: Column, si: number): number {
  const { scale = 1, offset = 0 } = to.bundle.units[unit] ?? {};
  return (si - offset) / scale;
}

function said(to: Speaker, { unit = "" }: Column, si: number): string {
  return plainly(sayValue(to, { id: "", label: "", unit }, si, unit));
}
