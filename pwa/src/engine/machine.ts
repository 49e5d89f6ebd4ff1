/** What runs: steps over numbered registers, and what each operator does. */

import type { Table } from "../generated/bundle.ts";
import { nearest, outcome, round } from "./numbers.ts";
import type { Cells } from "./tables.ts";
import { domain, merge, outside, Unknown } from "./unknown.ts";

/** A value as formulas compute with it: a flag is 1 or 0, a choice its position, a date its seconds. */
export type Inner = number | string | Unknown | readonly Inner[];
export type RowRead = readonly [table: Table, row: number];
export type Call = (r: Run) => Inner;
/** Four numbers a step: what to do, two registers to read, one to write. */
export type Code = readonly number[];

/** Steps to take, and the register where their result then is. */
export interface Block {
  readonly code: Code;
  readonly out: number;
}

/** What an evaluation reads and writes. */
export interface Run {
  readonly machine: Machine;
  /** By register: a number, or NaN for what stands in `others`. Numbers of their own need no boxes. */
  readonly numbers: number[];
  /** Of a collection a list with one for each member; undefined until it is asked for. Those of the machine until written. */
  others: (Inner | undefined)[];
  /** By slot what was entered of quantities that apply only at times. */
  readonly entered: (Inner | undefined)[];
  /** The keys of the members of each collection, and the member at hand. */
  readonly names: readonly (readonly string[])[];
  readonly at: number[];
  /** The columns and the row under test. */
  cells: Cells;
  row: number;
  /** At TRACE the value read, or whether the condition held. */
  trace: Inner[];
  /** The rows read, kept when a result is opened. */
  rows: RowRead[] | null;
  /** A comparison lay where the two engines may differ. */
  edge: boolean;
  /** Slots whose value was decided there. */
  readonly edges: number[];
}

/** What has no answer comes out as NaN or infinite. */
const FUNCTIONS: Record<string, (x: number, y: number) => number> = {
  "//": (x, y) => round(x / y, Math.floor),
  "%": (x, y) => x - y * round(x / y, Math.floor),
  round: (x, y) => nearest(x / y) * y,
  floor: (x, y) => round(x / y, Math.floor) * y,
  ceil: (x, y) => round(x / y, Math.ceil) * y,
  neg: (x) => -x,
  not: (x) => 1 - x,
  abs: Math.abs,
  sqrt: Math.sqrt,
  exp: Math.exp,
  ln: Math.log,
  log10: Math.log10,
};
const CALLED = Object.values(FUNCTIONS);
const HEADS = ["+", "-", "*", "/", "**", ...Object.keys(FUNCTIONS)];
const DIVIDES = ["/", "//", "%", "**", "round", "floor", "ceil"];
/** The outcomes that satisfy a comparison: 1 less, 2 equal, 4 more. */
const COMPARE: Record<string, number> = { "<": 1, "==": 2, "<=": 3, ">": 4, "!=": 5, ">=": 6 };

/** Arithmetic is numbered as above; then come comparisons with what satisfies them, and steps of their own. */
const COMPARED = 32;
export const AND = 40;
export const OR = 41;
export const CALL = 42;
export const ASK = 43;
export const KEEP = 44;
export const UNLESS = 45;
export const MOVE = 46;
export const CELL = 47;
export const MEMBER = 48;

/** The number of an operator; -1 for one that this release does not know. */
export function numbered(head: string): number {
  const wanted = COMPARE[head];
  return wanted ? COMPARED + wanted : HEADS.indexOf(head);
}

const EMPTY = outside({ code: "empty-cell" });

/** Whether steps are nothing but arithmetic that ends in this register. */
export function plain(code: Code, out: number): boolean {
  return code.at(-1) === out && code.every((op, p) => p % 4 > 0 || op < COMPARED);
}

/** The registers of a bundle: first one for each quantity, then constants and steps. */
export class Machine {
  /** What lies in them before anything is entered or computed. */
  readonly numbers: number[] = [];
  readonly others: (Inner | undefined)[] = [];
  /** The limits of each, and what becomes of a value beside them. */
  readonly low: number[] = [];
  readonly high: number[] = [];
  readonly beside: ((value: Inner) => Inner)[] = [];
  readonly calls: Call[] = [];
  readonly #constants = new Map<Inner, number>();

  register(value?: Inner): number {
    this.numbers.push(typeof value === "number" ? value : NaN);
    this.low.push(-Number.MAX_VALUE);
    this.high.push(Number.MAX_VALUE);
    return this.others.push(value) - 1;
  }

  preset(k: number, value: Inner): void {
    if (typeof value === "number") this.numbers[k] = value;
    else this.others[k] = value;
  }

  constant(value: Inner): number {
    const k = this.#constants.get(value) ?? this.register(value);
    this.#constants.set(value, k);
    return k;
  }

  /** Gives an evaluation room for all that was built since it began. */
  fit({ numbers, others }: Run): void {
    for (let k = numbers.length; k < this.numbers.length; k++) {
      numbers.push(this.numbers[k]!);
      if (others !== this.others) others[k] = this.others[k];
    }
  }
}

export function get(r: Run, k: number): Inner {
  const x = r.numbers[k]!;
  return x === x ? x : r.others[k]!;
}

export function put(r: Run, k: number, value: Inner): void {
  r.numbers[k] = typeof value === "number" ? value : NaN;
  if (typeof value === "number") return;
  if (r.others === r.machine.others) r.others = r.others.slice();
  r.others[k] = value;
}

/** Whether a register was given a value. */
export function there(r: Run, k: number): boolean {
  return r.numbers[k] === r.numbers[k] || r.others[k] !== undefined;
}

/** What the steps of a block come to. */
export function take({ code, out }: Block, r: Run): Inner {
  go(code, r);
  return get(r, out);
}

/** Takes steps, all in one loop: a call of its own would cost several times what most of them do. */
export function go(code: Code, r: Run): void {
  const n = r.numbers;
  const { calls, low, high, beside } = r.machine;
  for (let p = 0; p < code.length; p += 4) {
    const op = code[p]!;
    const i = code[p + 1]!;
    const j = code[p + 2]!;
    const k = code[p + 3]!;
    let z = n[i]!;
    switch (op) {
      case 0:
        z += n[j]!;
        break;
      case 1:
        z -= n[j]!;
        break;
      case 2:
        z *= n[j]!;
        break;
      case 3:
        z /= n[j]!;
        break;
      case 4:
        // What is not known to the power of nothing is not known.
        if (n[j] === 2) z *= z;
        else if (z === z) z **= n[j]!;
        break;
      case CALL:
        put(r, k, calls[j]!(r));
        continue;
      case ASK:
        if (!there(r, k)) put(r, k, calls[j]!(r));
        continue;
      case KEEP:
        if (z >= low[k]! && z <= high[k]!) n[k] = z;
        else put(r, k, beside[k]!(get(r, i)));
        if (r.edge) r.edges.push(k);
        r.edge = false;
        continue;
      case UNLESS:
        // Past the steps of what holds, up to the MOVE in their end; past the others too where nothing is known.
        if (z !== z) put(r, code[p + j + 3]!, r.others[i]!);
        else if (k >= 0) r.trace[k] = z;
        if (z !== z) p += j + code[p + j + 2]!;
        else if (z === 0) p += j;
        continue;
      case MOVE:
        if (z === z) n[k] = z;
        else put(r, k, r.others[i]!);
        p += j;
        continue;
      case AND:
      case OR:
        if (z !== z) put(r, k, n[k] === n[k] ? r.others[i]! : merge(r.others[k], r.others[i]));
        else if (z === op - AND) {
          n[k] = z;
          p += j;
        }
        continue;
      case CELL:
        put(r, k, r.cells[i]?.[r.row] ?? EMPTY);
        continue;
      case MEMBER:
        put(r, k, (r.others[i] as readonly Inner[])[r.at[j]!]!);
        continue;
      default:
        z = op < COMPARED ? CALLED[op - 5]!(z, n[j]!) : compared(op - COMPARED, z, n[j]!, r);
    }
    if (z >= low[k]! && z <= high[k]!) n[k] = z;
    else put(r, k, z - z === 0 ? beside[k]!(z) : odd(op, get(r, i), get(r, j)));
  }
}

/** 1 where the comparison holds, NaN where one is no number. */
function compared(wanted: number, x: number, y: number, r: Run): number {
  if (x !== x || y !== y) return NaN;
  const found = outcome(x, y);
  if (found > 8) r.edge = true;
  return (wanted & found) === 0 ? 0 : 1;
}

/** What comes of operands that are no numbers, or have no answer. */
function odd(op: number, x: Inner, y: Inner): Inner {
  if (x instanceof Unknown && (x === y || !(y instanceof Unknown))) return x;
  if (y instanceof Unknown) return merge(x, y);
  if (op >= COMPARED) return ((op - COMPARED) & (x === y ? 2 : x < y ? 1 : 4)) === 0 ? 0 : 1;
  const head = HEADS[op]!;
  if ((head === "**" ? x : y) === 0 && DIVIDES.includes(head)) return domain("division-by-zero");
  if (head === "**" && (x as number) < 0 && (y as number) % 1 !== 0)
    return domain("fractional-power-of-negative");
  if (head === "sqrt") return domain("root-of-negative");
  return domain(head === "ln" || head === "log10" ? "log-of-nothing" : "overflow");
}
