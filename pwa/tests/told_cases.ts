/**
 * The phone's side of what is told of a visit: reads a file whose first line is a bundle and each further one a list
 * of record lines, and prints for each what was begun on its visits, which verdicts are told, and what rests on what.
 */
import { readFileSync } from "node:fs";
import { bundleOf } from "../src/bundle/update.ts";
import { Engine } from "../src/engine/index.ts";
import { fold } from "../src/fold.ts";
import type { Record as FieldRecord } from "../src/generated/records.ts";
import { calculatorsBegun, checklistsOf, toldChecks, worstOn } from "../src/told.ts";
import { evaluate, groundOn, quantityOf } from "../src/work.ts";

const [rules = "", ...cases] = readFileSync(process.argv[2]!, "utf8").split("\n").filter(Boolean);
const engine = new Engine(bundleOf(rules));

for (const lines of cases) {
  const book = fold((JSON.parse(lines) as string[]).map((each) => JSON.parse(each) as FieldRecord));
  const visits = [...book.visits.values()].map((visit) => {
    const work = evaluate(groundOn(book, visit, engine));
    const told = toldChecks(work);
    const worst = [...work.readings].flatMap(([key, { quantity, member }]) => {
      const known = quantityOf(engine, quantity);
      return known ? [[key, worstOn(engine, told, known, member)]] : [];
    });
    return [
      visit.id,
      {
        lists: checklistsOf(engine.bundle, visit).map(({ id }) => id),
        begun: calculatorsBegun(work).map(({ id }) => id),
        told: told.map(({ id, member, verdict }) => [id, member ?? "", verdict]),
        worst: Object.fromEntries(worst),
      },
    ];
  });
  console.log(JSON.stringify(Object.fromEntries(visits)));
}
