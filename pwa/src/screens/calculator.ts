/** One calculator, alone or in a visit. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { Desk, membersFor } from "../desk.ts";
import type { View } from "../desk.ts";
import { Unknown } from "../engine/index.ts";
import type { Entry } from "../form.ts";
import type { Calculator } from "../generated/bundle.ts";
import { charts } from "../parts/curve.ts";
import { Screen } from "../parts/element.ts";
import { field } from "../parts/field.ts";
import { back, bar, clock } from "../parts/frame.ts";
import type { Act } from "../parts/frame.ts";
import { answer, caution, resultLine, verdicts } from "../parts/result.ts";
import { plainly } from "../bundle/reading.ts";
import { sayValue } from "../parts/say.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { collectionsIn, quantityOf } from "../work.ts";
import type { Ground } from "../work.ts";
import { words } from "../words/index.ts";
import { addMember } from "./visit.ts";

type CalculatorRoute = Extract<Route, { at: "calculator" }>;

class CalculatorScreen extends Screen {
  static override properties = { ...Screen.properties, route: { attribute: false } };
  declare route: CalculatorRoute;
  #desk: Desk | null = null;

  protected override render(): TemplateResult {
    const { visit, calculator: id } = this.route;
    this.#desk ??= new Desk(this.phone, visit ?? null, id, () => this.requestUpdate());
    const desk = this.#desk;
    const ground = desk.ground();
    const calculator = ground?.engine.bundle.calculators.find((each) => each.id === id);
    const up = back(pathOf({ at: "calculators", ...here(this.route) }), words.places.calculators);
    if (!ground || !calculator) {
      const wait = ground || desk.lacking ? words.calculators.unknown : words.loading;
      return html`<main tabindex="-1">
        ${up}
        <p class="sub">${wait}</p>
      </main>`;
    }
    const members = chosenMembers(ground, calculator, this.route.member);
    const { enter, if_known: maybe = [], show, checks = [] } = calculator;
    const view = desk.view(ground, {
      enter: [...enter, ...maybe],
      show,
      checks,
      members,
      extra: true,
    });
    const { to, way, work } = view;
    const [first, ...others] = show.flatMap((quantity) =>
      membersFor(ground, quantity, members).map((member) => ({ quantity, member })),
    );
    return html`<main tabindex="-1">
        ${up}
        <h1>${calculator.title}</h1>
        ${this.#subtitle(calculator, ground)} ${this.#memberChoice(calculator, ground, members)}
        ${this.#fields(view, maybe)}
        ${
          view.extra.length
            ? html`<h2>${words.calculator.extra}</h2>
                ${view.extra.map((entry) => this.#field(view, entry))}`
            : nothing
        }
        ${
          first
            ? answer(
                to,
                work.answer.step(first.quantity, first.member ?? undefined),
                work.answer.disputed(first.quantity, first.member ?? undefined),
                quantityOf(ground.engine, first.quantity)!,
                this.#resultPath(first.quantity, first.member),
                way,
              )
            : nothing
        }
        ${
          others.length
            ? html`<ul class="lines">
                ${others.map(({ quantity, member }) =>
                  resultLine(
                    to,
                    quantityOf(ground.engine, quantity)!,
                    work.answer.value(quantity, member ?? undefined),
                    this.#resultPath(quantity, member),
                    null,
                    work.answer.disputed(quantity, member ?? undefined),
                  ),
                )}
              </ul>`
            : nothing
        }
        ${charts(view, calculator.charts ?? [], members)}
        ${verdicts(
          to,
          work.answer,
          work.answer
            .checks([...checks])
            .filter(
              (each) => each.verdict !== "not-applicable" && isChosen(ground, each.member, members),
            ),
          (check) => labelOf(view, check),
          way,
        )}
        ${(calculator.cautions ?? []).map((each) => caution(to.bundle, each))}
        <a class="press wide" href=${pathOf({ at: "handbook", chapter: calculator.id })}
          >${words.handbook.ofCalculator}</a
        >
      </main>
      ${this.#bar(view, calculator, first)}`;
  }

  /** What has a usual value or may be absent stands folded away, its values in sight. */
  #fields(view: View, maybe: readonly string[]): TemplateResult {
    const { to, entries } = view;
    const usual = entries.filter(
      ({ quantity }) => maybe.includes(quantity.id) || quantity.default != null,
    );
    const rest = entries.filter((entry) => !usual.includes(entry));
    const values = usual.flatMap(({ quantity, si, changed }) => {
      const value = si ?? (changed ? null : (quantity.default ?? null));
      return value === null ? [] : [`${quantity.label} ${plainly(sayValue(to, quantity, value))}`];
    });
    return html`${rest.map((entry) => this.#field(view, entry))}
    ${
      usual.length
        ? html`<details class="fold">
            <summary>
              ${words.calculator.usual(usual.length)}
              ${values.length ? html`<span class="note">${values.join(" · ")}</span>` : nothing}
            </summary>
            ${usual.map((entry) => this.#field(view, entry))}
          </details>`
        : nothing
    }`;
  }

  #field(view: View, entry: Entry): TemplateResult {
    const { kept, changed } = entry;
    const since =
      kept && !changed
        ? html`<p class="note">${words.field.kept(clock(kept.source.when.corrected))}</p>`
        : nothing;
    const others = (kept?.conflicts ?? []).map(
      ({ text, unit }) =>
        html`<p class="problem">
          ${words.field.conflict(plainly({ text, unit: view.to.bundle.units[unit ?? ""]?.label ?? "" }))}
        </p>`,
    );
    return html`${field(view.to, entry, view.beside(entry), this.#desk!.events)}${since}${others}`;
  }

  #subtitle({ note }: Calculator, { visit, site, system }: Ground): TemplateResult {
    const of = visit && [visit.title, site?.name, system?.label].filter(Boolean).join(" · ");
    return html`${of ? html`<p class="sub">${of}</p>` : nothing}
    ${note ? html`<p class="sub">${note}</p>` : nothing}`;
  }

  /** Asked only when there is more than one. */
  #memberChoice(
    calculator: Calculator,
    ground: Ground,
    members: Readonly<Record<string, string>>,
  ): TemplateResult[] {
    const { engine, system, visit } = ground;
    return collectionsIn(engine, calculator)
      .filter((collection) => ground.members[collection]?.length !== 1)
      .map((collection) => {
        const { label = "" } = engine.bundle.collections[collection] ?? {};
        if (ground.members[collection]?.length === 0) {
          const add = (): void => void addMember(this.phone, visit!, collection, `${label} 1`);
          return html`<button type="button" class="press wide" @click=${add}>
            ${words.visit.addMember(label)}
          </button>`;
        }
        const links = (ground.members[collection] ?? []).map((member) => {
          const chosen = { ...members, [collection]: member };
          const route = { ...this.route, member: Object.values(chosen).join(",") };
          const label = system?.members.find(({ id }) => id === member)?.label ?? member;
          const current = members[collection] === member;
          return html`<a
            class="press"
            href=${pathOf(route)}
            aria-current=${current ? "true" : nothing}
            >${label}</a
          >`;
        });
        return html`<h2>${label}</h2>
          <div class="choices members">${links}</div>`;
      });
  }

  #resultPath(quantity: string, member: string | null): string {
    const { calculator } = this.route;
    return pathOf({
      ...{ at: "result", calculator, quantity, ...here(this.route) },
      ...(member ? { member } : {}),
    });
  }

  #bar(
    view: View,
    calculator: Calculator,
    first: { quantity: string; member: string | null } | undefined,
  ): TemplateResult {
    const desk = this.#desk!;
    const typed = [...view.entries, ...view.extra].filter(({ changed }) => changed);
    const clear: Act = {
      label: words.calculator.clear,
      disabled: typed.length === 0,
      press: () => desk.forget(typed),
    };
    const drafts = desk.drafts(view, calculator.id);
    const keep: Act = {
      label: words.calculator.keep,
      disabled: drafts.length === 0,
      press: () => void this.#keep(view, calculator),
    };
    const acts = desk.open ? [clear, keep] : [{ ...clear, quiet: true }];
    return bar(acts, first ? this.#answerAbove(view, first) : nothing);
  }

  /** The answer stays in sight while figures are entered. */
  #answerAbove(
    { to, work }: View,
    { quantity: id, member }: { quantity: string; member: string | null },
  ): TemplateResult | typeof nothing {
    const quantity = to.quantity(id);
    const value = work.answer.value(id, member ?? undefined);
    if (!quantity || value instanceof Unknown) return nothing;
    const { text, unit } = sayValue(to, quantity, value);
    return html`<p class="above" aria-hidden="true">
      <span class="note">${quantity.label}</span>
      <span class="figure">${text} ${unit}</span>
    </p>`;
  }

  async #keep(view: View, calculator: Calculator): Promise<void> {
    const desk = this.#desk!;
    const drafts = desk.drafts(view, calculator.id);
    const kept = new Set(drafts.map(({ body }) => ("quantity" in body ? body.quantity : "")));
    try {
      await this.phone.write(...drafts);
    } catch {
      // The phone has said so; what was typed stays.
      return;
    }
    desk.forget([...view.entries, ...view.extra].filter(({ quantity }) => kept.has(quantity.id)));
  }
}

function here({ visit, member }: { visit?: string; member?: string }): {
  visit?: string;
  member?: string;
} {
  return { ...(visit === undefined ? {} : { visit }), ...(member === undefined ? {} : { member }) };
}

/** One member of each collection the calculator speaks of: the one named, else the first. */
export function chosenMembers(
  { engine, members }: Ground,
  calculator: Calculator,
  named = "",
): Record<string, string> {
  const wanted = named.split(",");
  const chosen = collectionsIn(engine, calculator).flatMap((collection) => {
    const all = members[collection] ?? [];
    const one = all.find((member) => wanted.includes(member)) ?? all[0];
    return one === undefined ? [] : [[collection, one] as const];
  });
  return Object.fromEntries(chosen);
}

function isChosen(
  { engine, members }: Ground,
  member: string | undefined,
  chosen: Readonly<Record<string, string>>,
): boolean {
  if (member === undefined) return true;
  const collection = engine.collections.find((name) => members[name]?.includes(member));
  return collection === undefined || (chosen[collection] ?? member) === member;
}

function labelOf({ work }: View, check: string): string {
  return work.engine.bundle.checks.find(({ id }) => id === check)?.label ?? check;
}

customElements.define("kw-calculator", CalculatorScreen);
