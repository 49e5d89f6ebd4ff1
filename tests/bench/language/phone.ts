/** Milliseconds on V8 for a bundle from a file: text to engine, and one input changed. One JSON object comes out.
 *
 *     node tests/bench/language/phone.ts BUNDLE [VISIT]
 *
 * VISIT is JSON, `values` and `members` as the engine takes them; without it every number is somewhere in its limits.
 */

import { readFileSync } from "node:fs";
import { bundleOf } from "../../../pwa/src/bundle/update.ts";
import { Engine } from "../../../pwa/src/engine/index.ts";
import type { Members, Values } from "../../../pwa/src/engine/index.ts";
import type { Calculator, Value } from "../../../pwa/src/generated/bundle.ts";

const [path = "", visit] = process.argv.slice(2);
const text = readFileSync(path, "utf-8");

const median = (xs: number[]) => xs.sort((a, b) => a - b)[xs.length >> 1] as number;

function times(count: number, work: (n: number) => void): number[] {
  return Array.from({ length: count }, (_, n) => {
    const start = performance.now();
    work(n);
    return performance.now() - start;
  });
}

/** From text until the results of one calculator are there, with nothing entered. */
const opened = (n: number) => {
  const engine = new Engine(bundleOf(text));
  const { calculators } = engine.bundle;
  const calculator = calculators[n % calculators.length] as Calculator;
  const members = Object.fromEntries(engine.collections.map((name) => [name, ["1"]]));
  const answer = engine.evaluate({}, members);
  for (const id of calculator.show) kept[kept.length % 64] = answer.value(id);
};
const kept: unknown[] = [];
const load = times(25, opened);
const first = load[0] as number;
const bundle = bundleOf(text);
const whole = times(25, () => new Engine(bundleOf(text)).prepare());
const engine = new Engine(bundle);
const entered = bundle.quantities.filter(({ tree, type = "number" }) => !tree && type === "number");
const ids = bundle.quantities.map(({ id }) => id);
const middle = ({ limits }: (typeof entered)[number], n: number) => {
  const [low, high] = limits ?? [0, 1];
  return low + (high - low) * (0.3 + 0.4 * ((n * 0.618) % 1));
};
const { values, members } = (
  visit
    ? JSON.parse(readFileSync(visit, "utf-8"))
    : {
        values: Object.fromEntries(entered.map((quantity) => [quantity.id, middle(quantity, 1)])),
        members: Object.fromEntries(engine.collections.map((name) => [name, ["1"]])),
      }
) as { values: Record<string, Values[string]>; members: Members };

function changed(read: (name: string, calculator: Calculator) => void) {
  return (n: number) => {
    const calculator = bundle.calculators[n % bundle.calculators.length] as Calculator;
    const name = calculator.enter[n % calculator.enter.length] as string;
    const quantity = entered.find(({ id }) => id === name);
    if (quantity) {
      const own = members[quantity.scope ?? "visit"];
      const number: Value = middle(quantity, n);
      values[name] = own ? Object.fromEntries(own.map((member) => [member, number])) : number;
    }
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
    "bundle text to a calculator in V8, the first, ms": first,
    "bundle text to a calculator in V8, median, ms": median(load),
    "bundle text to an engine with everything built, median, ms": median(whole),
    "one input changed, its calculator read, ms": median(times(400, one)),
    "one input changed, everything read, ms": median(times(400, all)),
  }),
);
