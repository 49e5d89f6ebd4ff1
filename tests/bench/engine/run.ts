/** Microseconds the rule engine takes beside the same formulas written by hand; compare the ratio, not the times.
 *
 *     node tests/bench/engine/run.ts
 */

import { Engine } from "../../../pwa/src/engine/index.ts";
import { bundle, byHand, cases, OUTPUTS } from "./model.ts";

type Given = Partial<ReturnType<typeof cases>[number]>;

const inputs = cases(64);
const engine = new Engine(bundle());

for (const given of inputs) {
  const [want, answer] = [byHand(given), engine.evaluate(given)];
  for (const name of OUTPUTS) {
    const [a, b] = [want[name], answer.value(name)];
    const same =
      typeof a === "number" && typeof b === "number"
        ? Math.abs(a - b) <= 1e-12 * Math.abs(a)
        : a === b;
    if (!same) throw new Error(`${name}: ${JSON.stringify(b)} is not ${a}`);
  }
}

/** Answers are kept, so that no work is skipped. */
const kept: unknown[] = new Array(64);
const results: unknown[] = OUTPUTS.map(() => null);

/** All 27 results, asked together, as a curve asks for its points. */
const together = (given: Given): unknown => engine.evaluate(given).values(OUTPUTS);

/** The same, each read by its name. */
function byName(given: Given): unknown {
  const answer = engine.evaluate(given);
  for (let k = 0; k < OUTPUTS.length; k++) results[k] = answer.value(OUTPUTS[k] as string);
  return answer;
}

const unanswered: Given = Object.fromEntries(Object.entries(inputs[0] as object).slice(1));
const ways: [string, (given: (typeof inputs)[number]) => unknown][] = [
  ["by hand, no trace, no refusals", byHand],
  ["engine, traced, all known", together],
  ["engine, traced, all known, by name", byName],
  ["engine, traced, one input missing", () => together(unanswered)],
  ["engine, traced, nothing entered", () => together({})],
];

/** The best of many short windows, by turns, so that a neighbour's work counts little. */
const best = ways.map(() => Infinity);
const end = performance.now() + 6000;
while (performance.now() < end)
  ways.forEach(([, run], way) => {
    const start = performance.now();
    for (let turn = 0; turn < 4; turn++)
      for (let k = 0; k < 64; k++) kept[k] = run(inputs[k] as (typeof inputs)[number]);
    best[way] = Math.min(best[way] as number, ((performance.now() - start) / 256) * 1000);
  });

const [hand = NaN] = best;
ways.forEach(([name], way) => {
  const own = best[way] as number;
  const ratio = (own / hand).toFixed(1).padStart(6);
  console.log(`${name.padEnd(36)} ${own.toFixed(2).padStart(6)} µs ${ratio} times by hand`);
});
