/** The handbook of the rules on this phone: formulas, tables, limits, sources and worked examples of a calculator. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { plainly } from "../bundle/reading.ts";
import { Desk, speakerFor } from "../desk.ts";
import { formulas, written } from "../engine/written.ts";
import type {
  Bundle,
  Calculator,
  Check,
  Example,
  Function,
  Quantity,
  Table,
  Value,
} from "../generated/bundle.ts";
import { chapterOf, toConfirm } from "../handbook.ts";
import { grouped } from "../order.ts";
import { Screen } from "../parts/element.ts";
import { back } from "../parts/frame.ts";
import { caution, line } from "../parts/result.ts";
import { saySource, sayValue } from "../parts/say.ts";
import type { Speaker } from "../parts/say.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { words } from "../words/index.ts";

class Handbook extends Screen {
  static override properties = { ...Screen.properties, route: { attribute: false } };
  declare route: Extract<Route, { at: "handbook" }>;
  #desk: Desk | null = null;

  protected override render(): TemplateResult {
    this.#desk ??= new Desk(this.phone, null, "", () => this.requestUpdate());
    const ground = this.#desk.ground();
    const { chapter } = this.route;
    if (!ground) {
      return html`<main tabindex="-1">
        <h1>${words.handbook.title}</h1>
        <p class="sub">${words.calculators.noRules}</p>
      </main>`;
    }
    const { bundle } = ground.engine;
    if (chapter === undefined) return contents(bundle);
    const to = speakerFor(this.phone, ground);
    if (chapter === "to-confirm") return confirming(to);
    const calculator = bundle.calculators.find(({ id }) => id === chapter);
    return html`<main tabindex="-1">
      ${back(pathOf({ at: "handbook" }), words.handbook.title)}
      ${calculator ? page(to, calculator) : html`<h1>${words.calculators.unknown}</h1>`}
    </main>`;
  }
}

function contents(bundle: Bundle): TemplateResult {
  return html`<main tabindex="-1">
    ${back(pathOf({ at: "calculators" }), words.places.calculators)}
    <h1>${words.handbook.title}</h1>
    <p class="sub">${words.handbook.about}</p>
    <ul class="lines">
      ${line({
        ...{ sign: "unknown", title: words.handbook.toConfirm },
        href: pathOf({ at: "handbook", chapter: "to-confirm" }),
      })}
    </ul>
    ${[...grouped(bundle.calculators, ({ topic }) => topic)].map(
      ([topic, all]) =>
        html`<h2>${words.topic(topic)}</h2>
          <ul class="lines">
            ${all.map(({ id, title }) =>
              line({ sign: "none", title, href: pathOf({ at: "handbook", chapter: id }) }),
            )}
          </ul>`,
    )}
  </main>`;
}

function confirming(to: Speaker): TemplateResult {
  return html`<main tabindex="-1">
    ${back(pathOf({ at: "handbook" }), words.handbook.title)}
    <h1>${words.handbook.toConfirm}</h1>
    <p class="sub">${words.handbook.aboutConfirming}</p>
    ${toConfirm(to.bundle).map(
      ([of, all]) =>
        html`<h2>
            ${[to.bundle.sources[of]?.title ?? of, to.bundle.sources[of]?.edition].filter(Boolean).join(", ")}
          </h2>
          <ul class="lines">
            ${all.map(({ label, source }) =>
              line({ sign: "none", title: label, more: saySource(to.bundle, source) }),
            )}
          </ul>`,
    )}
  </main>`;
}

function page(to: Speaker, calculator: Calculator): TemplateResult {
  const { bundle } = to;
  const { found, between, entered, tables, functions } = chapterOf(bundle, calculator);
  const checks = bundle.checks.filter(({ id }) => calculator.checks?.includes(id));
  const examples = (bundle.examples ?? []).filter((each) => each.calculator === calculator.id);
  const list = (title: string, all: readonly Quantity[]): TemplateResult | typeof nothing =>
    all.length
      ? html`<h2>${title}</h2>
          <ul class="lines told">
            ${all.map((quantity) => entry(to, quantity))}
          </ul>`
      : nothing;
  return html`<h1>${calculator.title}</h1>
    ${calculator.note ? html`<p class="sub">${calculator.note}</p>` : nothing}
    ${list(words.handbook.found, found)} ${list(words.handbook.between, between)}
    ${
      functions.length
        ? html`<h2>${words.handbook.functions}</h2>
            <ul class="lines told">
              ${functions.map((each) => called(bundle, each))}
            </ul>`
        : nothing
    }
    ${list(words.handbook.entered, entered)}
    ${
      checks.length
        ? html`<h2>${words.handbook.checks}</h2>
            <ul class="lines told">
              ${checks.map((check) =>
                line({
                  ...{ sign: "none", title: check.label },
                  more: html`<code>${rulesOf(bundle, check)}</code
                    ><br />${saySource(bundle, check.source)}`,
                }),
              )}
            </ul>`
        : nothing
    }
    ${
      examples.length
        ? html`<h2>${words.handbook.worked}</h2>
            ${examples.map((example) => worked(to, example))}`
        : nothing
    }
    ${
      tables.length
        ? html`<h2>${words.handbook.tables}</h2>
            ${tables.map((table) => grid(to, table))}`
        : nothing
    }
    ${
      calculator.cautions?.length
        ? html`<h2>${words.handbook.cautions}</h2>
            ${calculator.cautions.map((id) => caution(bundle, id))}`
        : nothing
    }`;
}

/** When a check applies, fails and warns. */
function rulesOf(bundle: Bundle, { when, fail, caution: warn }: Check): string {
  const trees = Object.entries({ when, fail, caution: warn }).filter(([, tree]) => tree != null);
  return trees.map(([name, tree]) => `${name}: ${written(bundle, tree)}`).join("; ");
}

function called(bundle: Bundle, { id, parameters, tree, source }: Function): TemplateResult {
  return line({
    ...{ sign: "none" as const, title: html`<code>${id}(${parameters.join(", ")})</code>` },
    more: html`<code>= ${written(bundle, tree, parameters)}</code
      ><br />${saySource(bundle, source)}`,
  });
}

function entry(to: Speaker, quantity: Quantity): TemplateResult {
  const { label, unit, source, cases = [], note, default: none, id } = quantity;
  const rules = formulas(quantity).map((tree, k) => {
    return { formula: written(to.bundle, tree), source: cases[k]?.source ?? source };
  });
  const says = none == null ? "" : words.field.default(plainly(sayValue(to, quantity, none)));
  return line({
    ...{ sign: "none" as const, title: label },
    more: html`<code>${id}</code>${rules.map(
        (rule) =>
          html`<br /><code>= ${rule.formula}</code
            ><br />${rule.source ? saySource(to.bundle, rule.source) : nothing}`,
      )}
      ${note ? html`<br />${note}` : nothing} ${says ? html`<br />${says}` : nothing}`,
    figure: unit ? { text: "", unit: to.bundle.units[unit]?.label ?? "" } : undefined,
  });
}

function worked(
  to: Speaker,
  { name, given, expect, checks = {}, source }: Example,
): TemplateResult {
  const said = (id: string, value: Value): string => {
    const quantity = to.quantity(id);
    return quantity ? `${quantity.label}: ${plainly(sayValue(to, quantity, value))}` : "";
  };
  const lines = Object.entries(given).flatMap(([id, value]) =>
    typeof value === "object" && !Array.isArray(value)
      ? Object.entries(value).map(([member, own]) => `${said(id, own as Value)} (${member})`)
      : [said(id, value as Value)],
  );
  const found = expect?.map(({ quantity, value, why }) =>
    value == null
      ? `${to.quantity(quantity)?.label ?? quantity}: ${words.unknown.dots} ${why ?? ""}`
      : said(quantity, value),
  );
  const verdicts = Object.entries(checks).map(
    ([id, verdict]) =>
      `${to.bundle.checks.find((each) => each.id === id)?.label ?? id}: ${words.verdict[verdict]}`,
  );
  return html`<details>
    <summary class="press">${name}</summary>
    <p class="note">${saySource(to.bundle, source)}</p>
    <ul>
      ${lines.map((each) => html`<li>${each}</li>`)}
    </ul>
    <div class="work">
      ${[...(found ?? []), ...verdicts].map((each) => html`<code>${each}</code>`)}
    </div>
  </details>`;
}

function grid(to: Speaker, table: Table): TemplateResult {
  const { columns, cells, label = "", id, source } = table;
  const show = (at: number, value: unknown): string => {
    const { unit = "" } = columns[at]!;
    if (value === null || value === undefined) return "";
    const as: Quantity = { id: "", label: "", unit };
    return typeof value === "number" ? sayValue(to, as, value).text : String(value);
  };
  const head = columns.map(({ name, label: said, unit = "" }) => {
    const shown = unit ? sayValue(to, { id: "", label: "", unit }, 0).unit : "";
    return `${said || name.replaceAll("_", " ")}${shown ? `, ${shown}` : ""}`;
  });
  return html`<details>
    <summary class="press">${label || id.replaceAll("_", " ")}</summary>
    <p class="note">${saySource(to.bundle, source)}</p>
    <div class="wide-table" tabindex="0" role="region" aria-label=${label || id}>
      <table>
        <thead>
          <tr>
            ${head.map((each) => html`<th scope="col">${each}</th>`)}
          </tr>
        </thead>
        <tbody>
          ${(cells[0] ?? []).map(
            (_, row) =>
              html`<tr>
                ${columns.map((_column, at) => html`<td>${show(at, cells[at]?.[row])}</td>`)}
              </tr>`,
          )}
        </tbody>
      </table>
    </div>
  </details>`;
}

customElements.define("kw-handbook", Handbook);
