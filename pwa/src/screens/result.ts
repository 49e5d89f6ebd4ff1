/** A result opened: formula, values, table rows, source, pack; each value can be opened in turn. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { Desk } from "../desk.ts";
import type { View } from "../desk.ts";
import { Unknown } from "../engine/index.ts";
import type { Need, Step } from "../engine/index.ts";
import type { Quantity } from "../generated/bundle.ts";
import { Screen } from "../parts/element.ts";
import { fieldId } from "../parts/field.ts";
import { back, bar } from "../parts/frame.ts";
import { amendments, defaults, disputed, line, needs, resultLine } from "../parts/result.ts";
import { sayFilled, saySource, sayUnknown, sayValue } from "../parts/say.ts";
import { sign } from "../parts/sign.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { quantityOf } from "../work.ts";
import { words } from "../words/index.ts";
import { chosenMembers } from "./calculator.ts";

class Result extends Screen {
  static override properties = { ...Screen.properties, route: { attribute: false } };
  declare route: Extract<Route, { at: "result" }>;
  #desk: Desk | null = null;

  protected override render(): TemplateResult {
    const { visit, calculator: id, quantity: of, member } = this.route;
    this.#desk ??= new Desk(this.phone, visit ?? null, id, () => this.requestUpdate());
    const ground = this.#desk.ground();
    const calculator = ground?.engine.bundle.calculators.find((each) => each.id === id);
    const quantity = ground && quantityOf(ground.engine, of);
    const home = pathOf({
      ...{ at: "calculator", calculator: id },
      ...(visit === undefined ? {} : { visit }),
      ...(member === undefined ? {} : { member }),
    });
    const up = back(home, calculator?.title ?? words.places.calculators);
    if (!ground || !quantity)
      return html`<main tabindex="-1">
        ${up}
        <p class="sub">${words.loading}</p>
      </main>`;
    const { enter = [], if_known: maybe = [], show = [of], checks = [] } = calculator ?? {};
    const members = calculator ? chosenMembers(ground, calculator, member) : {};
    const view = this.#desk.view(ground, {
      enter: [...enter, ...maybe],
      show,
      checks,
      members,
      extra: true,
    });
    const step = view.work.answer.step(of, member);
    return html`<main tabindex="-1">
        ${up}
        <h1>${quantity.label}</h1>
        ${quantity.note ? html`<p class="sub">${quantity.note}</p>` : nothing}
        ${this.#value(view, step, quantity, home)} ${this.#work(view, step)}
        ${
          step.inputs.length
            ? html`<h2>${words.result.from}</h2>
                <ul class="lines">
                  ${step.inputs.map((input) => this.#input(view, input, home))}
                </ul>`
            : nothing
        }
        ${step.rows.map((row) => this.#row(view, row))} ${this.#source(view, step)}
      </main>
      ${bar([{ label: words.result.toCalculator(calculator?.title ?? ""), href: home }])}`;
  }

  #value({ to }: View, { value }: Step, quantity: Quantity, home: string): TemplateResult {
    if (value instanceof Unknown) {
      const way = (need: Need): string => `${home}#${idOf(need)}`;
      return html`<div class="verdict unknown">
        ${sign(value.why === "not-applicable" ? "not-applicable" : "unknown")}
        <div><b>${sayUnknown(to, value)}</b>${needs(to, value.needs, way)}</div>
      </div>`;
    }
    const { text, unit } = sayValue(to, quantity, value);
    return html`<p class="big ${text.length > 9 || /[a-z]{3}/i.test(text) ? "words" : ""}">
      ${text} ${unit ? html`<small>${unit}</small>` : nothing}
    </p>`;
  }

  #work({ to, work }: View, step: Step): TemplateResult | typeof nothing {
    const filled = sayFilled(to, step.pieces);
    const changed = amendments(to, step);
    const disputes = work.answer.disputed(step.id, step.member);
    const said = step.defaults.length + changed.length + disputes.length;
    if (!filled && said === 0) return nothing;
    return html`<div class="work">
      ${filled ? html`<code>${filled}</code>` : nothing} ${disputed(to, disputes)}
      ${defaults(to, step.defaults)} ${changed}
    </div>`;
  }

  /** A value that came in: an entered one leads to its field, a computed one is opened. */
  #input(view: View, input: Need, home: string): TemplateResult {
    const { to, work } = view;
    const quantity = to.quantity(input.id)!;
    const value = work.answer.value(input.id, input.member);
    const { visit, calculator } = this.route;
    const open = pathOf({
      ...{ at: "result", calculator, quantity: input.id },
      ...(visit === undefined ? {} : { visit }),
      ...(input.member ? { member: input.member } : {}),
    });
    const here = [...view.entries, ...view.extra].some((entry) => fieldId(entry) === idOf(input));
    const href = quantity.tree == null ? (here ? `${home}#${idOf(input)}` : home) : open;
    const disputes = work.answer.disputed(input.id, input.member);
    return resultLine(to, quantity, value, href, null, disputes);
  }

  #row({ to, work }: View, { table: id, row, source }: Step["rows"][number]): TemplateResult {
    const table = work.engine.bundle.tables.find((each) => each.id === id);
    if (!table) return html``;
    const cells = table.columns.map(
      ({ name, label, unit = "", choices = "", type = "number" }, column) => {
        const cell = table.cells[column]?.[row] ?? null;
        const as: Quantity = { id: "", label: "", unit, choices, type };
        const said = cell === null ? words.unknown.none : sayValue(to, as, cell);
        return { label: label || name.replaceAll("_", " "), said };
      },
    );
    return html`<h2>${words.result.row(table.label || id.replaceAll("_", " "))}</h2>
      <table>
        ${cells.map(
          ({ label, said }) =>
            html`<tr>
              <th scope="row">${label}</th>
              <td>${typeof said === "string" ? said : `${said.text} ${said.unit}`}</td>
            </tr>`,
        )}
      </table>
      <p class="note">${saySource(to.bundle, source)}</p>`;
  }

  #source({ to, rules }: View, { source, pack, formula }: Step): TemplateResult {
    const title = to.bundle.packs.find(({ id }) => id === pack)?.title ?? pack;
    return html`<h2>${words.result.source}</h2>
      <ul class="lines">
        ${line({
          sign: source && to.bundle.sources[source.of]?.confirmed ? "pass" : "todo",
          title: source ? saySource(to.bundle, source) : words.result.entered,
          more: [title, words.strip.rules(rules.pointer.number)].filter(Boolean).join(" · "),
        })}
      </ul>
      ${formula ? html`<p class="note">${formula}</p>` : nothing}`;
  }
}

function idOf({ id, member }: Need): string {
  return `f-${id}-${member ?? ""}`;
}

customElements.define("kw-result", Result);
