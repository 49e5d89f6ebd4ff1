/**
 * The phone's side of the comparison of the two folds: reads a file of cases, one a line, each a
 * list of record lines, and prints for each what they amount to.
 */
import { readFileSync } from "node:fs";
import { stateOf, valuesOf } from "../src/book.ts";
import type { Book, Reading, Visit } from "../src/book.ts";
import { fold } from "../src/fold.ts";
import type { Record as FieldRecord } from "../src/generated/records.ts";
import type { Source } from "../src/order.ts";

const by = ({ record, device, when }: Source): unknown[] => [
  record,
  device,
  when.corrected,
  when.offsetMin,
  when.doubtful,
];

function reading(of: Reading): unknown {
  const { text, unit, si, origin, source, corrections, conflicts, earlier } = of;
  return {
    ...{ text, unit, si, origin, source: by(source) },
    corrections: corrections.map((each) => [each.text, each.reason, each.source.record]),
    conflicts: conflicts.map((each) => [each.source.record, each.si]),
    earlier: earlier.map((each) => [each.source.record, each.si]),
  };
}

function visit(of: Visit): unknown {
  return {
    ...{ site: of.site, system: of.system, title: of.title, kind: of.visitKind, date: of.date },
    ...{ checklists: of.checklists, assigned: of.assignedTo, edition: of.edition },
    state: stateOf(of),
    readings: Object.fromEntries([...of.readings].map(([key, each]) => [key, reading(each)])),
    steps: Object.fromEntries(
      [...of.steps].map(([key, { outcome, reason, source }]) => [
        key,
        [outcome, reason, source.record],
      ]),
    ),
    timers: of.timers.map((timer) => [
      ...[timer.timer, timer.started?.record ?? null, timer.stopped?.record ?? null, timer.step],
      ...[timer.targetS, timer.elapsedS, timer.observed, timer.asleepS, timer.clockChanged],
      timer.readings.map(({ elapsedS, text, unit }) => [elapsedS, text, unit]),
    ]),
    notes: of.notes.map(({ text, source, corrections }) => [
      ...[text, source.record],
      corrections.length,
    ]),
    kept: [of.photos, of.signatures, of.comments].map((each) =>
      each.map(({ source }) => source.record),
    ),
    closed: of.closed?.record ?? null,
    times: [of.first?.corrected ?? null, of.last?.corrected ?? null],
  };
}

function carries(quantity: string): "site" | "system" | "visit" {
  const [topic] = quantity.split(".");
  return topic === "site" || topic === "system" ? topic : "visit";
}

function values(book: Book, of: Visit): unknown {
  const found = [...valuesOf(book, of, carries)].map(([key, each]) => [key, each.source.record]);
  return Object.fromEntries(found);
}

for (const line of readFileSync(process.argv[2]!, "utf8").split("\n").filter(Boolean)) {
  const book = fold((JSON.parse(line) as string[]).map((each) => JSON.parse(each) as FieldRecord));
  const visits = [...book.visits.values()];
  console.log(
    JSON.stringify({
      sites: Object.fromEntries(
        [...book.sites].map(([id, { name, address }]) => [id, [name, address]]),
      ),
      systems: Object.fromEntries(
        [...book.systems].map(([id, { site, label, members }]) => [
          id,
          [site, label, members.map((each) => [each.collection, each.id, each.label])],
        ]),
      ),
      visits: Object.fromEntries(visits.map((each) => [each.id, visit(each)])),
      values: Object.fromEntries(visits.map((each) => [each.id, values(book, each)])),
    }),
  );
}
