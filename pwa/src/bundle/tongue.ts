/**
 * Rules said in another language: the same bundle with the texts of that language in their places.
 * What has no words there stays in English, and is known as such.
 */
import type { Bundle, Expr, Piece } from "../generated/bundle.ts";

type Said = string | readonly Piece[];

/** Texts that stand in English in the midst of another language. */
const english = new Set<string>();
/** Pieces of messages that do, between the values. */
const pieces = new Set<string>();
/** A shorter piece may stand in any language. */
const TELLING = 8;

export function isEnglish(text: string): boolean {
  return english.has(text) || [...pieces].some((piece) => text.includes(piece));
}

/** A text goes by the path it stands at, as `quantities/vacuum.target/label`. */
export function inTongue(bundle: Bundle, language: string): Bundle {
  if (language === "en") return bundle;
  const texts = bundle.words?.[language]?.texts ?? {};
  const say = <S extends Said | undefined>(path: string, said: S): S => {
    const words = texts[path];
    if (words !== undefined) return words as S;
    // A size or a sign is no English.
    if (typeof said === "string" && /[a-z]{3}/.test(said)) english.add(said);
    for (const piece of typeof said === "object" ? said : []) {
      if (typeof piece === "string" && piece.trim().length >= TELLING) pieces.add(piece.trim());
    }
    return said;
  };
  /** An item of the bundle with those of its texts replaced that it has. */
  const told = <Item extends object>(path: string, item: Item, ...keys: (keyof Item)[]): Item => {
    const of = keys.filter((key) => item[key]);
    const found = of.map((key) => [key, say(`${path}/${String(key)}`, item[key] as string)]);
    return { ...item, ...Object.fromEntries(found) };
  };
  /** A formula with its reasons for "does not apply" replaced; they go by what they say in English. */
  const reasoned = (tree: Expr): Expr => {
    if (!Array.isArray(tree)) return tree;
    const [head, reason] = tree as readonly Expr[];
    if (head === "na" && typeof reason === "string")
      return ["na", say(`reasons/${reason}`, reason)];
    return (tree as readonly Expr[]).map(reasoned);
  };
  const each = <Item>(
    items: Readonly<Record<string, Item>>,
    tell: (name: string, item: Item) => Item,
  ): Record<string, Item> =>
    Object.fromEntries(Object.entries(items).map(([name, item]) => [name, tell(name, item)]));

  return {
    ...bundle,
    choices: each(bundle.choices, (name, list) => ({
      ...told(`choices/${name}`, list, "label"),
      options: list.options.map((option) => {
        const label = say(`choices/${name}/values/${option.value}`, option.label);
        // What it is called in English may still be typed, and stands in older records.
        return { ...option, label, spellings: [...(option.spellings ?? []), option.label] };
      }),
    })),
    collections: each(bundle.collections, (name, item) =>
      told(`collections/${name}`, item, "label", "plural"),
    ),
    quantities: bundle.quantities.map((item) => {
      const of = told(`quantities/${item.id}`, item, "label", "note");
      return item.tree == null ? of : { ...of, tree: reasoned(item.tree) };
    }),
    functions: (bundle.functions ?? []).map((item) => ({ ...item, tree: reasoned(item.tree) })),
    tables: bundle.tables.map((item) => told(`tables/${item.id}`, item, "label")),
    checks: bundle.checks.map((item) => ({
      ...told(`checks/${item.id}`, item, "label"),
      says: Object.fromEntries(
        Object.entries(item.says).map(([verdict, said]) => [
          verdict,
          say(`checks/${item.id}/says/${verdict}`, said),
        ]),
      ),
    })),
    cautions: (bundle.cautions ?? []).map((item) => told(`cautions/${item.id}`, item, "text")),
    calculators: bundle.calculators.map((item) => {
      const path = `calculators/${item.id}`;
      const charts = (item.charts ?? []).map((chart) => ({
        ...chart,
        title: say(`${path}/charts/${chart.id}`, chart.title),
      }));
      return { ...told(path, item, "title", "note"), charts };
    }),
    checklists: (bundle.checklists ?? []).map((item) => {
      const path = `checklists/${item.id}`;
      const steps = item.steps.map((step) =>
        told(`${path}/steps/${step.id}`, step, "title", "text", "held"),
      );
      return { ...told(path, item, "title", "note"), steps };
    }),
  };
}
