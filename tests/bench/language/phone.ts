/** Milliseconds on V8 for a bundle from a file: text to engine, and one input changed. One JSON object comes out.
 *
 *     node tests/bench/language/phone.ts BUNDLE
 */

import { readFileSync } from "node:fs";
import { Engine } from "../../../pwa/src/engine/index.ts";
import type { Bundle, Calculator } from "../../../pwa/src/generated/bundle.ts";

const text = readFileSync(process.argv[2] as string, "utf-8");

const median = (xs: number[]) => xs.sort((a, b) => a - b)[xs.length >> 1] as number;

function times(count: number, work: (n: number) => void): number[] {
  return Array.from({ length: count }, (_, n) => {
    const start = performance.now();
    work(n);
    return performance.now() - start;
  });
}

const load = times(25, () => new Engine(JSON.parse(text) as Bundle));
const bundle = JSON.parse(text) as Bundle;
const first = load[0] as number;
const engine = new Engine(bundle);
const members = Object.fromEntries(engine.collections.map((name) => [name, ["1"]]));
const entered = bundle.quantities.filter(({ tree }) => !tree);
const ids = bundle.quantities.map(({ id }) => id);
const middle = ({ limits }: (typeof entered)[number], n: number) => {
  const [low, high] = limits ?? [0, 1];
  return low + (high - low) * (0.3 + 0.4 * ((n * 0.618) % 1));
};
const values = Object.fromEntries(entered.map((quantity) => [quantity.id, middle(quantity, 1)]));
const kept: unknown[] = [];

function changed(read: (name: string, calculator: Calculator) => void) {
  return (n: number) => {
    const calculator = bundle.calculators[n % bundle.calculators.length] as Calculator;
    const name = calculator.enter[n % calculator.enter.length] as string;
    const quantity = entered.find(({ id }) => id === name);
    if (quantity) values[name] = middle(quantity, n);
    read(name, calculator);
  };
}

const one = changed((_, calculator) => {
  const answer = engine.evaluate(values, members);
  for (const id of calculator.show) kept[kept.length % 64] = answer.value(id);
  kept[0] = answer.checks(calculator.checks ?? []);
});
const all = changed(() => {
  const answer = engine.evaluate(values, members);
  for (const id of ids) kept[kept.length % 64] = answer.value(id);
  kept[0] = answer.checks();
});

console.log(
  JSON.stringify({
    // The first is from cold, before V8 has compiled anything, as on a phone that has just been opened.
    "bundle text to engine in V8, the first, ms": first,
    "bundle text to engine in V8, median, ms": median(load),
    "one input changed, its calculator read, ms": median(times(400, one)),
    "one input changed, everything read, ms": median(times(400, all)),
  }),
);
