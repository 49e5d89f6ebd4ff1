/** Evaluations a second of the rule engine against the same formulas written by hand; compare the ratio, not the rates.
 *
 *     node tests/bench/engine/run.ts
 */

import { Engine } from "../../../pwa/src/engine/index.ts";
import { bundle, byHand, cases, OUTPUTS } from "./model.ts";

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

const kept: unknown[] = new Array(64);

/** Evaluations a second over about that many milliseconds; answers are kept, so no work is skipped. */
function rate(run: (given: (typeof inputs)[number]) => unknown, ms: number): number {
  const start = performance.now();
  let [count, now] = [0, start];
  while (now - start < ms) {
    for (let k = 0; k < 64; k++) kept[k] = run(inputs[k] as (typeof inputs)[number]);
    count += 64;
    now = performance.now();
  }
  return count / ((now - start) / 1000);
}

const median = (xs: number[]) => xs.sort((a, b) => a - b)[xs.length >> 1] as number;
const unanswered = Object.fromEntries(Object.entries(inputs[0] as object).slice(1));

const ways: [string, (given: (typeof inputs)[number]) => unknown][] = [
  ["by hand, no trace, no refusals", byHand],
  ["engine, traced, all known", (given) => engine.evaluate(given)],
  ["engine, traced, one input missing", () => engine.evaluate(unanswered)],
  ["engine, traced, nothing entered", () => engine.evaluate({})],
];
const rates = ways.map(([, run]) => {
  rate(run, 1000);
  return median(Array.from({ length: 5 }, () => rate(run, 500)));
});
const begun = performance.now();
for (let k = 0; k < 100; k++) new Engine(bundle());
const load = (performance.now() - begun) / 100;

ways.forEach(([name], k) => {
  const own = rates[k] as number;
  const ratio = ((rates[0] as number) / own).toFixed(1);
  console.log(
    `${name.padEnd(36)} ${Math.round(own).toString().padStart(9)}/s  ${ratio.padStart(5)} times slower`,
  );
});
console.log(`bundle to engine: ${load.toFixed(2)} ms`);
