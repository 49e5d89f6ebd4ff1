/** Lists and series: a row an entry, so that no phone keyboard needs a separator. */
import { html } from "lit";
import type { TemplateResult } from "lit";
import { live } from "lit/directives/live.js";
import type { Entry } from "../form.ts";
import { words } from "../words/index.ts";
import { fieldId, valueOf } from "./field.ts";
import type { FieldEvents } from "./field.ts";
import { unitOf } from "./say.ts";
import type { Speaker } from "./say.ts";

/** The entries of a typed list; there is always an empty one at the end. */
export function rowsOf(text: string): string[] {
  const rows = text.split(/;|,\s+/).map((row) => row.trim());
  return rows.at(-1) === "" ? rows : [...rows, ""];
}

function joined(rows: readonly string[]): string {
  return rows.filter((row) => row.replace(":", "").trim() !== "").join("; ");
}

function replaced(rows: readonly string[], at: number, row: string): string {
  return joined(rows.map((each, index) => (index === at ? row : each)));
}

export function listRows(to: Speaker, entry: Entry, on: FieldEvents): TemplateResult {
  const rows = rowsOf(entry.text);
  const options = to.bundle.choices[entry.quantity.choices ?? ""]?.options;
  if (options) {
    return html`<div class="rows">
      ${rows.map(
        (row, index) =>
          html`<select
            aria-label=${words.field.row(index + 1)}
            @change=${(event: Event) => on.set(entry, replaced(rows, index, valueOf(event)))}
          >
            <option value="" ?selected=${row === ""}>${words.field.choose}</option>
            ${options.map(
              ({ value, label }) =>
                html`<option value=${value} ?selected=${row === value}>${label}</option>`,
            )}
          </select>`,
      )}
    </div>`;
  }
  const unit = unitOf(to, entry);
  const label = to.bundle.units[unit]?.label ?? "";
  return html`<div class="rows">
    ${rows.map(
      (row, index) =>
        html`<div>
          ${cell(`${fieldId(entry)}-${index}`, words.field.row(index + 1), row, label, (text) =>
            on.set(entry, replaced(rows, index, text), unit),
          )}
        </div>`,
    )}
  </div>`;
}

export function seriesRows(to: Speaker, entry: Entry, on: FieldEvents): TemplateResult {
  const columns = entry.quantity.columns ?? [];
  const units = columns.map((column) => to.bundle.units[column.unit ?? ""]?.label ?? "");
  const rows = rowsOf(entry.text);
  const bare = (side: string, unit: string): string =>
    unit && side.endsWith(unit) ? side.slice(0, -unit.length).trim() : side;
  return html`<div class="rows">
    ${rows.map((row, index) => {
      const sides = row.split(":").map((side, at) => bare(side.trim(), units[at] ?? ""));
      const set = (at: number, text: string): void => {
        const next = [sides[0] ?? "", sides[1] ?? ""].map((side, each) =>
          each === at ? text : side,
        );
        const written = next.map((side, each) => (side ? `${side} ${units[each]}`.trim() : ""));
        const empty = written.every((side) => side === "");
        on.set(entry, replaced(rows, index, empty ? "" : written.join(": ")));
      };
      return html`<div>
        ${columns.map(({ label, name }, at) =>
          cell(
            `${fieldId(entry)}-${index}-${at}`,
            words.field.rowOf(index + 1, label || name),
            sides[at] ?? "",
            units[at] ?? "",
            (text) => set(at, text),
          ),
        )}
      </div>`;
    })}
  </div>`;
}

function cell(
  id: string,
  label: string,
  text: string,
  unit: string,
  set: (text: string) => void,
): TemplateResult {
  return html`<div class="field">
    <input
      type="text"
      inputmode="decimal"
      autocomplete="off"
      id=${id}
      aria-label=${label}
      .value=${live(text)}
      @input=${(event: Event) => set(valueOf(event))}
    />
    <span class="unit">${unit}</span>
  </div>`;
}
