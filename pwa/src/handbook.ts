/** What a calculator rests on, and what in an edition nobody has confirmed. Pure. */
import { inputsOf } from "./engine/written.ts";
import type {
  Bundle,
  Calculator,
  Expr,
  Function,
  Quantity,
  SourceRef,
  Table,
} from "./generated/bundle.ts";

export interface Chapter {
  found: Quantity[];
  /** Results on the way to those shown, in the order of computing. */
  between: Quantity[];
  entered: Quantity[];
  tables: Table[];
  /** What the formulas call. */
  functions: Function[];
}

export function chapterOf(bundle: Bundle, calculator: Calculator): Chapter {
  const { quantities } = bundle;
  const slots = new Map(quantities.map(({ id }, slot) => [id, slot]));
  const named = (ids: readonly string[]): Quantity[] =>
    ids.map((id) => quantities[slots.get(id)!]!);
  const checks = bundle.checks.filter(({ id }) => calculator.checks?.includes(id));
  const open = [...calculator.show.map((id) => slots.get(id)!), ...checks.flatMap(inputsOf)];
  const seen = new Set<number>();
  for (let slot = open.pop(); slot !== undefined; slot = open.pop()) {
    if (seen.has(slot)) continue;
    seen.add(slot);
    open.push(...inputsOf(quantities[slot]!));
  }
  const below = inOrder(quantities)
    .filter((slot) => seen.has(slot))
    .map((slot) => quantities[slot]!);
  const trees = [
    ...below.flatMap(({ tree, when }) => [tree, when]),
    ...checks.flatMap(({ when, fail, caution }) => [when, fail, caution]),
  ];
  const tables = new Set<number>();
  const functions = new Set<number>();
  for (const tree of trees) readIn(bundle, tree, tables, functions);
  return {
    found: named(calculator.show),
    between: below.filter(({ id, tree }) => tree != null && !calculator.show.includes(id)),
    entered: named([...calculator.enter, ...(calculator.if_known ?? [])]),
    tables: [...tables].map((place) => bundle.tables[place]!),
    functions: [...functions].map((place) => bundle.functions![place]!),
  };
}

/** Slots such that each comes after its inputs. */
function inOrder(quantities: readonly Quantity[]): number[] {
  const met = new Set<number>();
  const order: number[] = [];
  const visit = (slot: number): void => {
    if (met.has(slot)) return;
    met.add(slot);
    inputsOf(quantities[slot]!).forEach(visit);
    order.push(slot);
  };
  for (const slot of quantities.keys()) visit(slot);
  return order;
}

/** Adds the tables that a tree reads and the functions that it calls, also through functions, by their place. */
function readIn(
  bundle: Bundle,
  tree: Expr | null | undefined,
  tables: Set<number>,
  functions: Set<number>,
): void {
  if (!Array.isArray(tree)) return;
  const [head, first] = tree;
  if (typeof first === "number") {
    if (/^(row|first|last|rows|interp)$/.test(String(head))) tables.add(first);
    if (head === "fn" && !functions.has(first)) {
      functions.add(first);
      readIn(bundle, bundle.functions?.[first]?.tree, tables, functions);
    }
  }
  for (const part of tree.slice(1)) readIn(bundle, part, tables, functions);
}

/** Something that names a source; `label` is what people call it. */
export interface Cited {
  id: string;
  label: string;
  source: SourceRef;
}

/** What rests on a source that is not beyond doubt, by that source; what comes from memory first. */
export function toConfirm(bundle: Bundle): [string, Cited[]][] {
  const found = new Map<string, Cited[]>();
  for (const cited of citedIn(bundle)) {
    const { of, mark } = cited.source;
    const source = bundle.sources[of];
    if (source?.confirmed && !mark) continue;
    found.set(of, [...(found.get(of) ?? []), cited]);
  }
  const rank = (of: string): number =>
    ["memory", "", "practice", "demo"].indexOf(
      /^(memory|practice|demo)$/.test(bundle.sources[of]?.kind ?? "")
        ? bundle.sources[of]!.kind
        : "",
    );
  return [...found].sort(([a], [b]) => rank(a) - rank(b) || (a < b ? -1 : 1));
}

function* citedIn(bundle: Bundle): Generator<Cited> {
  for (const { id, label, source, cases = [] } of bundle.quantities) {
    for (const one of cases) yield { id, label, source: one.source };
    if (source && cases.length === 0) yield { id, label, source };
  }
  for (const { id, label = "", source } of bundle.tables) yield { id, label: label || id, source };
  for (const { id, source } of bundle.functions ?? []) yield { id, label: id, source };
  for (const { id, label, source } of bundle.checks) yield { id, label, source };
  for (const { id, text, source } of bundle.cautions ?? []) yield { id, label: text, source };
}
