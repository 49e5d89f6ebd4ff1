/** An edition's worked examples, run on this phone's own engine before the edition is used. */
import { Unknown } from "../engine/index.ts";
import type { Engine } from "../engine/index.ts";
import type { Example, Expected, Value } from "../generated/bundle.ts";

/** The first example that came out wrong. */
export interface Fault {
  example: string;
  /** The quantity or check. */
  id: string;
  expected: string;
  found: string;
}

const AT_A_TIME = 20;

/** Null when every example comes out as stated. `pause` lets the page live between examples. */
export async function selfTest(engine: Engine, pause: () => Promise<void>): Promise<Fault | null> {
  for (const [index, example] of (engine.bundle.examples ?? []).entries()) {
    const fault = runExample(engine, example);
    if (fault) return fault;
    if (index % AT_A_TIME === AT_A_TIME - 1) await pause();
  }
  return null;
}

function runExample(engine: Engine, example: Example): Fault | null {
  const fault = (id: string, expected: unknown, found: unknown): Fault => ({
    ...{ example: example.name, id },
    ...{ expected: JSON.stringify(expected), found: JSON.stringify(found) },
  });
  try {
    const answer = engine.evaluate(example.given, example.members);
    for (const expected of example.expect ?? []) {
      const { quantity, member } = expected;
      const found = answer.value(quantity, member || undefined);
      if (found instanceof Unknown) {
        if (expected.why !== found.why) return fault(quantity, expected.value, found.why);
      } else if (expected.why != null || !agrees(expected, found)) {
        return fault(quantity, expected.why ?? expected.value, found);
      }
    }
    for (const [id, verdict] of Object.entries(example.checks ?? {})) {
      const found = answer.checks([id]).map((each) => each.verdict);
      if (found.some((each) => each !== verdict)) return fault(id, verdict, found);
    }
    return null;
  } catch (error) {
    // A bundle that this engine cannot run is not used, whatever the reason.
    return fault("", "", String(error));
  }
}

function agrees(expected: Expected, found: Value): boolean {
  const within = expected.within ?? 0;
  const same = (a: unknown, b: unknown): boolean => {
    if (Array.isArray(a) && Array.isArray(b)) {
      return a.length === b.length && a.every((each, index) => same(each, b[index]));
    }
    if (typeof a !== "number" || typeof b !== "number") return a === b;
    // Two engines agree to about 1e-12; the bound itself must not decide.
    return Math.abs(a - b) <= within + 1e-9 * Math.max(Math.abs(a), Math.abs(b));
  };
  return same(expected.value ?? null, found);
}
