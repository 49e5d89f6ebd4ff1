/**
 * Trees as people read them: as they could have been written in rules, or as pieces that values are
 * filled into. The twin of backend/kneewall/engine/written.py.
 */
import type {
  Bundle,
  Column,
  Expr,
  Function as Called,
  Piece,
  Quantity,
  Unit,
} from "../generated/bundle.ts";

const IF = 1;
/** How tightly an operator holds its parts. What is no operator holds them tighter still. */
const BINDS: Readonly<Record<string, number>> = {
  ...{ or: 2, and: 3, not: 4, "==": 5, "!=": 5, "<": 5, "<=": 5, ">": 5, ">=": 5 },
  ...{ "+": 6, "-": 6, "*": 7, "/": 7, "//": 7, "%": 7, neg: 8, "**": 9 },
};
const HOLDS = 10;
const SIGNS: Readonly<Record<string, string>> = {
  ...{ "*": "×", "-": "−", "<=": "≤", ">=": "≥", "==": "=", "!=": "≠", "**": "^" },
};
const CALLED: Readonly<Record<string, string>> = {
  ...{ lmin: "min", lmax: "max", interp: "interpolate" },
};
const NOTES = ["quantity", "number", "option", "date"];
const ALONE = ["round", "floor", "ceil"];

type Pieces = readonly Piece[];
type Parts = readonly Expr[];

/** What surrounds a part: the columns of the row under test, and the names bound, by their place. */
interface Here {
  readonly columns: readonly Column[];
  readonly bound: Readonly<Record<number, string>>;
  /** The collection whose members it speaks of one by one. */
  readonly of?: string;
}

/** A tree as rules would have it, "" for none; `parameters` are those of the function it belongs to. */
export function written(
  bundle: Bundle,
  tree: Expr | null | undefined,
  parameters: readonly string[] = [],
): string {
  const here = { columns: [], bound: { ...parameters } };
  return tree == null ? "" : new Writer(bundle).part(tree, here).join("");
}

/** A quantity's tree as pieces; of a condition only the branch taken is shown, of a row what was read. */
export function filled(bundle: Bundle, tree: Expr | null | undefined): Pieces {
  return tree == null ? [] : joined(new Filler(bundle).part(tree, { columns: [], bound: {} }));
}

/** The trees of a derived quantity: one for each case, or its only one. */
export function formulas({ tree, cases = [] }: Quantity): Expr[] {
  if (cases.length === 0) return tree == null ? [] : [tree];
  let left = tree as Expr;
  return cases.map(() => {
    const [, , , then, other] = left as Parts;
    left = other as Expr;
    return then as Expr;
  });
}

/** A part as an engine takes it, without how it was written. */
export function bare(tree: Expr): Expr {
  const noted = typeof tree === "object" && NOTES.includes(tree[0] as string);
  return noted ? bare(tree[1] as Expr) : tree;
}

const known = new WeakMap<object, readonly number[]>();

/** The slots that the formula or the conditions of an item read, in order. */
export function inputsOf(item: Partial<Record<"tree" | "when" | "fail" | "caution", Expr | null>>) {
  const { tree, when, fail, caution } = item;
  const found = known.get(item) ?? slotsIn(tree, when, fail, caution);
  known.set(item, found);
  return found;
}

/** Every slot that these trees read, in order. */
export function slotsIn(...trees: readonly (Expr | null | undefined)[]): number[] {
  const found = new Set<number>();
  const gather = (tree: Expr | null | undefined): void => {
    if (tree === null || typeof tree !== "object") return;
    if (tree[0] === "q") found.add(tree[1] as number);
    else for (let k = 1; k < tree.length; k++) gather(tree[k]);
  };
  trees.forEach(gather);
  return [...found].sort((a, b) => a - b);
}

/** Functions that these trees name, and those that these name. */
export function functionsIn(
  bundle: Bundle,
  ...trees: readonly (Expr | null | undefined)[]
): Called[] {
  return trees.flatMap((tree) => {
    if (tree === null || typeof tree !== "object") return [];
    const inside = functionsIn(bundle, ...(tree.slice(1) as Expr[]));
    if (tree[0] !== "fn") return inside;
    const found = bundle.functions![tree[1] as number]!;
    return [found, ...functionsIn(bundle, found.tree), ...inside];
  });
}

/** A number to 12 digits: as decimals from a millionth to 10^21, else with an exponent. */
export function figure(x: number): string {
  return String(Number(x.toPrecision(12)));
}

class Writer {
  readonly bundle: Bundle;

  constructor(bundle: Bundle) {
    this.bundle = bundle;
  }

  /** A part, in brackets where it holds its own parts less tightly than what surrounds it. */
  part(tree: Expr, here: Here, least = 0): Pieces {
    const [pieces, binds] = this.whole(tree, here);
    return binds < least ? ["(", ...pieces, ")"] : pieces;
  }

  protected whole(tree: Expr, here: Here): [Pieces, number] {
    if (typeof tree !== "object") {
      const negative = typeof tree === "number" && tree < 0;
      return [[this.literal(tree)], negative ? (BINDS["neg"] as number) : HOLDS];
    }
    const [head, ...parts] = tree as readonly [string, ...Expr[]];
    const binds = BINDS[head];
    if (head === "neg" || head === "not") {
      const sign = head === "neg" ? this.sign("-") : "not ";
      return [[sign, ...this.part(parts[0] as Expr, here, binds)], binds as number];
    }
    if (binds !== undefined) return [this.infix(head, binds, parts, here), binds];
    if (head === "if") return [this.choice(parts, here), IF];
    if (head === "quantity" || head === "number")
      return this.measured(head, parts[0] as Expr, parts[1] as string, here);
    return [this.called(head, parts, here), HOLDS];
  }

  protected infix(head: string, binds: number, parts: Parts, here: Here): Pieces {
    const [left, right] = head === "**" ? [1, 0] : binds === 6 || binds === 7 ? [0, 1] : [1, 1];
    const sign = this.sign(head);
    return parts.flatMap((part, k) => [
      ...(k === 0 ? [] : [sign === "^" ? sign : ` ${sign} `]),
      ...this.part(part, here, binds + (k === 0 ? left : right)),
    ]);
  }

  protected choice([, condition, then, other]: Parts, here: Here): Pieces {
    const [test, first] = [condition, then].map((part) => this.part(part as Expr, here, IF + 1));
    return [...first!, " if ", ...test!, " else ", ...this.part(other as Expr, here, IF)];
  }

  protected called(head: string, parts: Parts, here: Here): Pieces {
    const [first, second] = parts as readonly [Expr, Expr];
    switch (head) {
      case "q":
        return this.quantity(first as number, here);
      case "p":
        return [here.bound[first as number] as string];
      case "c":
        return [here.columns[first as number]!.name];
      case "option":
        return this.option(first as number, second as string);
      case "date":
        return this.date(new Date((first as number) * 1000).toISOString().slice(0, 10));
      case "na":
        return this.reason(first as string);
      case "size":
        return [`count(${String(first)})`];
      case "fn":
        return this.call(this.bundle.functions![first as number]!.id, parts.slice(1), here);
      case "each":
      case "members":
        return this.each(head === "each", parts, here);
      case "root":
        return this.root(parts, here);
      case "row":
      case "interp":
      case "first":
      case "last":
      case "rows":
        return this.fromTable(head, parts, here);
    }
    const alone = ALONE.includes(head) && second === 1;
    return this.call(CALLED[head] ?? head, alone ? [first] : parts, here);
  }

  protected call(name: string, parts: Parts, here: Here): Pieces {
    const inside = parts.flatMap((part, k) => [k === 0 ? "" : ", ", ...this.part(part, here)]);
    return [`${name}(`, ...inside, ")"];
  }

  protected each(own: boolean, parts: Parts, here: Here): Pieces {
    const [first, second, body] = parts as readonly [Expr, Expr, Expr];
    const depth = (own ? first : second) as number;
    const bound = { ...here.bound, [depth]: "item", [depth + 1]: "position" };
    const over = own ? this.part(second, here) : [first as string];
    return ["each(", ...over, ", ", ...this.part(body, { ...here, bound }), ")"];
  }

  protected fromTable(head: string, parts: Parts, here: Here): Pieces {
    const [source, columns] = this.source(parts[0] as Expr, here);
    const name = (column: Expr | undefined): string => columns[column as number]!.name;
    const inside =
      head === "row" || head === "interp"
        ? parts.slice(3).flatMap((part, k) => {
            return k % 2 === 0 ? [`, ${name(part)}=`] : this.part(part, here);
          })
        : [", ", ...this.part(parts[3] as Expr, { ...here, columns })];
    return [`${CALLED[head] ?? head}(`, ...source, ...inside, `).${name(parts[2])}`];
  }

  /** A table, or a series that a quantity holds, and its columns. */
  protected source(tree: Expr, here: Here): [Pieces, readonly Column[]] {
    const { tables, quantities } = this.bundle;
    if (typeof tree !== "object")
      return [[tables[tree as number]!.id], tables[tree as number]!.columns];
    return [this.part(tree, here), quantities[tree[1] as number]!.columns ?? []];
  }

  /** What `quantity` or `number` was written around: a figure in that unit, or a tree without the conversion. */
  protected inUnit(tree: Expr, unit: string): Expr {
    const { scale, offset = 0 } = this.bundle.units[unit] as Unit;
    if (typeof tree === "number") return Number(((tree - offset) / scale).toPrecision(10));
    const inner = offset === 0 ? tree : ((tree as Parts)[1] as Expr);
    return scale === 1 ? inner : ((inner as Parts)[1] as Expr);
  }

  protected measured(head: string, tree: Expr, unit: string, here: Here): [Pieces, number] {
    const inside = this.part(this.inUnit(tree, unit), here);
    return [[`${head}(`, ...inside, `, "${unit}")`], HOLDS];
  }

  protected literal(value: Exclude<Expr, Parts>): string {
    if (typeof value === "boolean") return value ? "True" : "False";
    return typeof value === "string" ? `"${value}"` : figure(value as number);
  }

  // What is another thing where values are filled in.

  protected sign(head: string): string {
    return head;
  }

  protected quantity(slot: number, _here: Here): Pieces {
    return [this.bundle.quantities[slot]!.id];
  }

  protected option(place: number, choices: string): Pieces {
    return [`"${this.bundle.choices[choices]!.options[place]!.value}"`];
  }

  protected date(day: string): Pieces {
    return [`date("${day}")`];
  }

  protected reason(text: string): Pieces {
    return [`not_applicable("${text}")`];
  }

  protected root([depth, low, high, body, name]: Parts, here: Here): Pieces {
    const ends = [low, high].flatMap((end) => [", ", ...this.part(end as Expr, here)]);
    const bound = { ...here.bound, [depth as number]: name as string };
    const inside = this.part(body as Expr, { ...here, bound });
    return [`root(${String(name)}`, ...ends, ", ", ...inside, ")"];
  }
}

/** Writes trees as pieces, in the signs and words that people use. */
class Filler extends Writer {
  protected override sign(head: string): string {
    return SIGNS[head] ?? head;
  }

  protected override literal(value: Exclude<Expr, Parts>): string {
    if (typeof value === "boolean") return value ? "yes" : "no";
    return typeof value === "string" ? value : figure(value as number).replaceAll("-", "−");
  }

  protected override quantity(slot: number, { of }: Here): Pieces {
    const { scope, label } = this.bundle.quantities[slot]!;
    // What each member has of its own is many values: it goes by its name.
    return [of && of === scope ? label : ["q", slot]];
  }

  protected override option(place: number, choices: string): Pieces {
    return [this.bundle.choices[choices]!.options[place]!.label];
  }

  protected override date(day: string): Pieces {
    return [day];
  }

  protected override reason(text: string): Pieces {
    return [text];
  }

  protected override each(own: boolean, parts: Parts, here: Here): Pieces {
    if (own) return super.each(own, parts, here);
    const [of, depth, body] = parts as readonly [string, number, Expr];
    const bound = { ...here.bound, [depth]: "item", [depth + 1]: "position" };
    return this.part(body, { ...here, bound, of });
  }

  protected override choice(parts: Parts, here: Here): Pieces {
    const [trace, , ...branches] = parts;
    if ((trace as number) < 0) return super.choice(parts, here);
    return [["if", trace as number, ...branches.map((part) => joined(this.part(part, here)))]];
  }

  protected override fromTable(_head: string, parts: Parts, here: Here): Pieces {
    const [, columns] = this.source(parts[0] as Expr, here);
    const { name, unit, choices, type = "number" } = columns[parts[2] as number]!;
    const shown = unit || (choices ? `choices:${choices}` : type);
    return (parts[1] as number) < 0 ? [name] : [["t", parts[1] as number, shown]];
  }

  protected override call(name: string, parts: Parts, here: Here): Pieces {
    if (name === "known") return [...this.#asked(parts[0] as Expr, here), " is known"];
    if (name === "abs") return ["|", ...this.part(parts[0] as Expr, here), "|"];
    if (name === "sqrt") return ["√(", ...this.part(parts[0] as Expr, here), ")"];
    return super.call(name, parts, here);
  }

  protected override root([depth, , , body, name]: Parts, here: Here): Pieces {
    const bound = { ...here.bound, [depth as number]: name as string };
    const inside = this.part(body as Expr, { ...here, bound });
    return [`the ${String(name)} at which `, ...inside, " = 0"];
  }

  protected override measured(
    head: string,
    tree: Expr,
    unit: string,
    here: Here,
  ): [Pieces, number] {
    const inside = this.inUnit(tree, unit);
    if (head === "quantity") {
      const least = typeof inside === "object" ? HOLDS : 0;
      return [[...this.part(inside, here, least), ` ${this.bundle.units[unit]!.label}`], HOLDS];
    }
    if (typeof inside === "object" && inside[0] === "q") {
      const [piece] = this.quantity(inside[1] as number, here);
      return [[typeof piece === "object" ? [...piece, unit] : piece!], HOLDS];
    }
    return this.whole(inside, here);
  }

  #asked(tree: Expr, here: Here): Pieces {
    const ofQuantity = typeof tree === "object" && tree[0] === "q";
    return ofQuantity ? [this.bundle.quantities[tree[1] as number]!.label] : this.part(tree, here);
  }
}

/** Neighbouring texts as one. */
function joined(pieces: Pieces): Pieces {
  const found: Piece[] = [];
  for (const piece of pieces) {
    const last = found.at(-1);
    if (typeof piece === "string" && typeof last === "string")
      found[found.length - 1] = last + piece;
    else found.push(piece);
  }
  return found.filter((piece) => piece !== "");
}
