/** A curve is many answers: they are asked for a moment after the last keystroke, not at each one. */
import { LitElement, html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { plotOf, seriesPlot } from "../charts.ts";
import type { Chosen, Plot } from "../charts.ts";
import type { View } from "../desk.ts";
import type { Chart } from "../generated/bundle.ts";
import { chartOf } from "./chart.ts";

const WAIT_MS = 150;

export class Curve extends LitElement {
  static override properties = {
    of: { attribute: false },
    make: { attribute: false },
    plot: { state: true },
  };
  /** Names what the curve is drawn from; another name is drawn anew. */
  declare of: string;
  declare make: () => Plot | null;
  declare plot: Plot | null;
  #drawn: string | null = null;
  #waiting: ReturnType<typeof setTimeout> | undefined;

  constructor() {
    super();
    this.plot = null;
  }

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    clearTimeout(this.#waiting);
  }

  protected override willUpdate(): void {
    if (this.of === this.#drawn) return;
    const first = this.#drawn === null;
    this.#drawn = this.of;
    clearTimeout(this.#waiting);
    if (first) this.plot = this.make();
    else this.#waiting = setTimeout(() => (this.plot = this.make()), WAIT_MS);
  }

  protected override render(): TemplateResult | typeof nothing {
    return chartOf(this.plot);
  }
}

customElements.define("kw-curve", Curve);

/** The charts of a calculator that are drawn here, and any series that none of them draws. */
export function charts(
  view: View,
  drawn: readonly Chart[],
  chosen: Chosen,
): (TemplateResult | typeof nothing)[] {
  const { to, work, entries } = view;
  const plain = entries.filter(({ quantity }) =>
    drawn.every(({ series }) => series !== quantity.id),
  );
  return [
    ...plain.map(({ quantity, si }) => chartOf(si === null ? null : seriesPlot(to, quantity, si))),
    ...drawn.map((chart) => {
      const make = (): Plot | null => plotOf(to, work, chart, chosen, view.again, view.history);
      if (!chart.ends) return chartOf(make());
      const of = JSON.stringify([chart.id, to.system, chosen, view.values()]);
      return html`<kw-curve .of=${of} .make=${make}></kw-curve>`;
    }),
  ];
}
