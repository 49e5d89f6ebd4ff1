/** The arithmetic both engines share where IEEE 754 leaves a choice: rules/LANGUAGE.md section 6. */

import { domain, merge, Unknown } from "./unknown.ts";

const EQUAL = 1e-9;
const EDGE = 1e-11;
const POWERS = Array.from({ length: 23 }, (_, i) => Number(`1e${i}`));

/** x to 12 significant digits, half away from zero. */
export function round12(x: number): number {
  // Nearly all that arrives has been rounded before. Such a number times the power of ten that
  // makes it 12 digits long is whole, and divided again is itself; printing and reading it costs more.
  const millionths = Math.round(x * 1e6);
  if (Math.abs(millionths) < 1e12 && millionths / 1e6 === x) return x;
  const size = Math.abs(x);
  let k = 11;
  while (k < 22 && size * (POWERS[k] as number) < 1e11) k++;
  while (k > 0 && size * (POWERS[k] as number) >= 1e12) k--;
  const scale = POWERS[k] as number;
  const digits = Math.round(x * scale);
  return Math.abs(digits) < 1e12 && digits / scale === x ? x : Number(x.toPrecision(12));
}

/** Equal within 1e-9 of the larger magnitude. */
export function close(x: number, y: number): boolean {
  return Math.abs(x - y) <= EQUAL * Math.max(Math.abs(x), Math.abs(y));
}

/** 1 less, 2 equal, 4 more; 8 besides so near to where equal becomes unequal that two engines may differ. */
export function outcome(x: number, y: number): number {
  const gap = Math.abs(x - y);
  const size = Math.max(Math.abs(x), Math.abs(y));
  const found = gap <= EQUAL * size ? 2 : x < y ? 1 : 4;
  return Math.abs(gap - EQUAL * size) <= EDGE * size && size > 0 ? found | 8 : found;
}

/** The nearest whole number, half away from zero. */
export function nearest(x: number): number {
  return (x < 0 ? -Math.floor(0.5 - x) : Math.floor(x + 0.5)) + 0;
}

/** By Math.floor or Math.ceil, unless x is a whole number within 1e-9. */
export function round(x: number, by: (x: number) => number): number {
  const near = nearest(x);
  return close(x, near) ? near : by(x);
}

/** The x in [low, high] where f changes sign, to 1e-13 of the larger end (Chandrupatla 1997). */
export function findRoot(
  f: (x: number) => number | Unknown,
  low: number,
  high: number,
): number | Unknown {
  let fb = f(low);
  let fa = f(high);
  if (typeof fa !== "number" || typeof fb !== "number") return merge(fb, fa);
  if (fb === 0) return low;
  if (fa === 0) return high;
  if (fa > 0 === fb > 0) return domain("no-root");
  const least = 1e-13 * Math.max(Math.abs(low), Math.abs(high));
  let [a, b, c, fc, t] = [high, low, high, fa, 0.5];
  for (let turn = 0; turn < 200; turn++) {
    const x = a + t * (b - a);
    const fx = f(x);
    if (typeof fx !== "number") return fx;
    if (fx > 0 === fa > 0) [c, fc] = [a, fa];
    else [c, fc, b, fb] = [b, fb, a, fa];
    [a, fa] = [x, fx];
    const [best, least_f] = Math.abs(fa) < Math.abs(fb) ? [a, fa] : [b, fb];
    const span = Math.abs(b - a);
    if (least_f === 0 || span <= least) return best;
    const xi = (a - b) / (c - b);
    const phi = (fa - fb) / (fc - fb);
    t = 0.5;
    if (phi ** 2 < xi && (1 - phi) ** 2 < 1 - xi)
      t =
        ((fa / (fb - fa)) * fc) / (fb - fc) +
        (((((c - a) / (b - a)) * fa) / (fc - fa)) * fb) / (fc - fb);
    const edge = (0.5 * least) / span;
    t = Math.min(1 - edge, Math.max(edge, t));
  }
  return domain("no-root");
}
