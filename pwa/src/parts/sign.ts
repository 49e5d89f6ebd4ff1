/** The signs of the gutter. Shape first, colour second; words stand beside each. */
import { html, svg } from "lit";
import type { SVGTemplateResult, TemplateResult } from "lit";

export type Sign =
  | "pass"
  | "fail"
  | "caution"
  | "unknown"
  | "not-applicable"
  | "todo"
  | "held"
  | "back"
  | "on"
  | "none";

const shapes: Record<Sign, SVGTemplateResult> = {
  pass: svg`<path d="M4 14l6 6L22 6" stroke-width="3.4" />`,
  fail: svg`<path d="M5 5l16 16M21 5L5 21" stroke-width="3.4" />`,
  caution: svg`<path d="M13 3v13M13 20v4" stroke-width="4" />`,
  unknown: svg`<circle cx="13" cy="13" r="9" stroke-width="2.6" stroke-dasharray="4 4" />`,
  "not-applicable": svg`<path d="M6 13h14" stroke-width="2.6" stroke-dasharray="3 3" />`,
  todo: svg`<path d="M4 22h18" stroke-width="2.6" />`,
  held: svg`<path d="M4 22h18" stroke-width="2.6" stroke-dasharray="4 3" />`,
  back: svg`<path d="M17 4l-9 9 9 9" stroke-width="3" />`,
  none: svg``,
  on: svg`<path d="M9 4l9 9-9 9" stroke-width="3" />`,
};

/** Hidden from screen readers: the words beside it say the same. */
export function sign(of: Sign, colour: string = of): TemplateResult {
  return html`<svg class="sign ${colour}" viewBox="0 0 26 26" aria-hidden="true">
    <g fill="none" stroke="currentColor">${shapes[of]}</g>
  </svg>`;
}
