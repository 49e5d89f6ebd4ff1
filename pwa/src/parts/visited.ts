/** The figures of a chart over visits, a line a visit: day, value, verdict. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Plot, VisitLine } from "../charts.ts";
import { words } from "../words/index.ts";
import { sign } from "./sign.ts";

export function visited(plot: Plot, visits: readonly VisitLine[]): TemplateResult {
  const known = visits.filter(({ figures }) => figures.some((figure) => figure !== null));
  if (known.length === 0) return html`<p class="note">${words.chart.noVisit}</p>`;
  const heads = plot.lines.length > 1 ? plot.lines.map(({ label }) => label) : [plot.up.label];
  return html`<table class="visited">
    <caption class="unseen">
      ${plot.title}
    </caption>
    <tr>
      <th scope="col">${words.chart.visit}</th>
      ${heads.map((head) => html`<th scope="col">${head}</th>`)}
    </tr>
    ${visits.map(line)}
    ${plot.limits.map(
      ({ label, said }) =>
        html`<tr>
          <td colspan=${heads.length + 1}>${label} ${said}</td>
        </tr>`,
    )}
  </table>`;
}

function line({ day, baseline, otherRules, figures }: VisitLine): TemplateResult {
  const under = [baseline ? words.chart.intoService : "", otherRules ? words.chart.otherRules : ""];
  return html`<tr>
    <th scope="row">
      ${words.date(day)}
      ${under.filter(Boolean).map((said) => html`<span class="note">${said}</span>`)}
    </th>
    ${figures.map((figure) => html`<td>${figure ? value(figure) : html`<span class="note">${words.chart.notRead}</span>`}</td>`)}
  </tr>`;
}

function value({ said, verdict }: NonNullable<VisitLine["figures"][number]>): TemplateResult {
  return html`${verdict ? sign(verdict) : nothing}<b>${said}</b>${
    verdict ? html`<span class="note">${words.verdict[verdict]}</span>` : nothing
  }`;
}
