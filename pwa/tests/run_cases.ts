/** The phone's engine and edges over cases from a file, for comparison with the office's.
 *
 *     node tests/run_cases.ts FILE…
 *
 * A FILE is JSON: `bundle`, packed; `cases`, each with `values` and `members` as the engine takes them and perhaps `want`, the
 * quantities to give, and `steps`, to open them as well, or `flat`, to give all results as one list; `readings`, each with `quantity`, `text` and perhaps `unit`;
 * `shows`, each with `quantity`, `value` and perhaps `wanted`. One line of JSON an entry comes out, in that order.
 */

import { readFileSync, writeSync } from "node:fs";
import { unpack } from "../src/bundle/packed.ts";
import type { Packed } from "../src/bundle/packed.ts";
import { parseReading, plainly, showValue } from "../src/bundle/reading.ts";
import { Engine, Unknown } from "../src/engine/index.ts";
import type { Answer, Members, Values } from "../src/engine/index.ts";
import type { Value } from "../src/generated/bundle.ts";

interface Case {
  readonly values: Values;
  readonly members?: Members;
  readonly want?: readonly string[];
  readonly steps?: boolean;
  readonly flat?: boolean;
}

interface Input {
  readonly bundle: Packed;
  readonly cases?: readonly Case[];
  readonly readings?: readonly { quantity: string; text: string; unit?: string }[];
  readonly shows?: readonly { quantity: string; value: Value; wanted?: string }[];
}

const plain = (value: unknown): unknown =>
  value instanceof Unknown
    ? { why: value.why, needs: value.needs, detail: value.detail }
    : { value };

function* lines({
  bundle: packed,
  cases = [],
  readings = [],
  shows = [],
}: Input): Generator<unknown> {
  const bundle = unpack(packed);
  const engine = new Engine(bundle);
  for (const each of cases) yield each.flat ? flat(engine, each) : results(engine, each);
  for (const { quantity, text, unit } of readings)
    yield parseReading(bundle, engine.quantity(quantity), text, unit);
  for (const { quantity, value, wanted } of shows)
    yield { text: plainly(showValue(bundle, engine.quantity(quantity), value, wanted)) };
}

function results(engine: Engine, { values, members = {}, want, steps }: Case): object {
  const answer = engine.evaluate(values, members);
  const all = want ?? engine.bundle.quantities.map(({ id }) => id);
  const over = (read: (id: string, member?: string) => unknown) =>
    Object.fromEntries(
      all.map((id) => {
        const names = members[engine.quantity(id).scope ?? "visit"];
        const own = names?.map((member) => [member, read(id, member)]);
        return [id, own ? Object.fromEntries(own) : read(id)];
      }),
    );
  return {
    values: over((id, member) => plain(answer.value(id, member))),
    ...(steps && { steps: over((id, member) => opened(answer, id, member)) }),
    checks: answer.checks().map(({ id, member, verdict, borderline, unknown }) => ({
      id,
      member: member ?? null,
      verdict,
      borderline,
      unknown: unknown && plain(unknown),
    })),
  };
}

/** Every result and verdict in the order of the bundle, member by member: little to write and to read. */
function flat(engine: Engine, { values, members = {} }: Case): object {
  const answer = engine.evaluate(values, members);
  const all = engine.bundle.quantities.flatMap(({ id, scope = "visit" }) =>
    (members[scope] ?? [undefined]).map((member) => {
      const value = answer.value(id, member);
      if (!(value instanceof Unknown)) return value;
      return { why: value.why, needs: value.needs, detail: value.detail };
    }),
  );
  const checks = answer
    .checks()
    .map(({ id, member, verdict, borderline }) => [id, member ?? null, verdict, borderline]);
  return { all, checks };
}

function opened(answer: Answer, id: string, member?: string): object {
  const { formula, rows, defaults, amended, until, pieces } = answer.step(id, member);
  const parts = pieces.map((part) =>
    typeof part === "string" ? part : { ...part, value: plain(part.value) },
  );
  return {
    formula,
    rows: rows.map(({ table, row }) => [table, row]),
    defaults,
    amended,
    until,
    parts,
  };
}

let out = "";
for (const file of process.argv.slice(2)) {
  for (const line of lines(JSON.parse(readFileSync(file, "utf-8")) as Input)) {
    out += JSON.stringify(line) + "\n";
    if (out.length > 1 << 20) {
      writeSync(1, out);
      out = "";
    }
  }
}
writeSync(1, out);
