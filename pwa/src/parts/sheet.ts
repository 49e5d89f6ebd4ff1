/** A visit's report laid out, for the screen, for print and for a file of its own. */
import { html, nothing, svg } from "lit";
import type { TemplateResult } from "lit";
import type { Finding, Report, Row } from "../report.ts";
import { words } from "../words/index.ts";
import { chart } from "./chart.ts";
import { sign } from "./sign.ts";

/** `pictures` are addresses of photos by hash, where this phone has them. */
export function sheet(report: Report, pictures: ReadonlyMap<string, string>): TemplateResult {
  const { sections } = words.report;
  return html`<article class="sheet">
    <h1>${report.title}</h1>
    <p class="sub">${report.place}</p>
    ${facts(report.facts)}
    ${section(
      sections.system,
      report.plates.map(
        ({ title, facts: of }) =>
          html`<h3>${title}</h3>
            ${of.length ? facts(of) : nothing}`,
      ),
    )}
    ${section(sections.findings, report.findings.map(finding))}
    ${section(
      sections.readings,
      report.readings.map(
        ({ title, rows, charts }) =>
          html`<h3>${title}</h3>
            ${rows.map(row)} ${charts.map(chart)}`,
      ),
    )}
    ${section(sections.settings, report.settings.map(row))}
    ${section(
      sections.photos,
      report.photos.map(({ hash, caption, who }) => {
        const url = pictures.get(hash);
        return html`<figure class="photo-of">
          ${url ? html`<img class="photo" src=${url} alt=${caption || words.photo.alt} />` : nothing}
          <figcaption class="note">
            ${[caption, who, url ? "" : words.photo.elsewhere].filter(Boolean).join(" · ")}
          </figcaption>
        </figure>`;
      }),
    )}
    ${section(
      sections.cautions,
      report.cautions.map(
        ({ text, source }) => html`<p class="entry">${text} ${small(source)}</p>`,
      ),
    )}
    ${section(
      sections.notes,
      report.notes.map(({ text, who }) => html`<p class="entry">${text} ${small(who)}</p>`),
    )}
    ${section(
      sections.signature,
      report.signatures.map(
        ({ body: { name, statement, strokes }, who }) =>
          html`<div class="entry">
            <p>${statement}</p>
            ${
              strokes
                ? html`<svg class="signed" viewBox="0 0 600 200" aria-hidden="true">
                    ${svg`<path d=${strokes} />`}
                  </svg>`
                : nothing
            }
            <p><b>${name}</b> ${small(who)}</p>
          </div>`,
      ),
    )}
    ${section(sections.rules, [facts(report.rules), html`<p class="note">${words.report.limits}</p>`])}
  </article>`;
}

/** A section with nothing in it says so: a reader must not take it for lost. */
function section(title: string, content: readonly TemplateResult[]): TemplateResult {
  return html`<section>
    <h2>${title}</h2>
    ${content.length ? content : html`<p class="note">${words.report.nothing}</p>`}
  </section>`;
}

function facts(of: readonly [string, string][]): TemplateResult {
  return html`<dl class="facts">
    ${of.map(
      ([name, said]) =>
        html`<div>
          <dt>${name}</dt>
          <dd>${said}</dd>
        </div>`,
    )}
  </dl>`;
}

function finding({ verdict, label, said, source }: Finding): TemplateResult {
  return html`<div class="entry found">
    ${sign(verdict)}
    <div>
      <b class=${verdict}>${label}: ${words.verdict[verdict]}</b>
      ${said ? html`<p>${said}</p>` : nothing} ${small(source)}
    </div>
  </div>`;
}

function row({ label, figure, under, verdict }: Row): TemplateResult {
  return html`<div class="entry reading">
    ${sign(verdict ?? "none")}
    <div>
      ${label} ${verdict ? html`<span class="unseen">${words.verdict[verdict]}</span>` : nothing}
      ${small(under)}
    </div>
    <b>${figure}</b>
  </div>`;
}

function small(text: string): TemplateResult | typeof nothing {
  return text ? html`<span class="note">${text}</span>` : nothing;
}
