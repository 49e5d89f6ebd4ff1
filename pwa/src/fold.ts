/**
 * The fold: records in, what they amount to out. Pure, the same for any order of the input, and
 * the twin of the office's `records/fold.py`, whose rules it keeps.
 */
import { keyOf } from "./book.ts";
import type {
  Book,
  Correction,
  Kept,
  Reading,
  Site,
  StepState,
  System,
  TimerState,
  Visit,
} from "./book.ts";
import { FIELD_KINDS } from "./generated/records.ts";
import type {
  CorrectedRecord,
  Record as FieldRecord,
  ResultSnapshot,
  TimerReadRecord,
  ValueSetRecord,
} from "./generated/records.ts";
import {
  byClock,
  byText,
  grouped,
  inOrder,
  lastWord,
  lastWords,
  ofKind,
  source,
  when,
} from "./order.ts";

type Corrections = Map<string, CorrectedRecord[]>;
type ReadingRecord = ValueSetRecord | TimerReadRecord;
type One = (id: string) => string;

export function fold(records: Iterable<FieldRecord>): Book {
  const every = [...records].sort((a, b) => byText(a.id, b.id));
  const voids = new Set(ofKind(every, "voided").map(({ id }) => id));
  // A void cannot be voided.
  const voided = new Map(
    ofKind(every, "voided")
      .filter(({ body }) => !voids.has(body.record))
      .map((each) => [each.body.record, each] as const),
  );
  const standing = every.filter(({ id }) => !voided.has(id));
  const oneSite = merged(standing, "site");
  const oneSystem = merged(standing, "system");
  const corrections = correctionsOf(standing);
  const visits = new Map<string, Visit>();
  const ofVisit = grouped(
    every.filter(({ visit }) => visit != null),
    ({ visit }) => visit!,
  );
  for (const [id, own] of ofVisit) {
    visits.set(id, visitOf(own, voided, corrections, oneSite, oneSystem));
  }
  return {
    sites: sitesOf(standing, oneSite),
    systems: systemsOf(standing, oneSite, oneSystem),
    visits,
  };
}

/** Leads from any id to the one kept; of a circle of merges the smallest id is kept. */
function merged(records: FieldRecord[], sort: "site" | "system"): One {
  const leads = new Map<string, string>();
  const same = ofKind(records, "same-as").filter(({ body }) => body.sort === sort);
  for (const { body } of same.sort(byClock)) leads.set(body.other, body.keep);
  return (start) => {
    const seen = [start];
    for (;;) {
      const after = leads.get(seen.at(-1)!);
      if (after === undefined) return seen.at(-1)!;
      const back = seen.indexOf(after);
      if (back !== -1) return seen.slice(back).sort(byText)[0]!;
      seen.push(after);
    }
  };
}

function sitesOf(records: FieldRecord[], oneSite: One): Map<string, Site> {
  const sites = new Map<string, Site>();
  for (const { site } of records) {
    if (site == null) continue;
    const id = oneSite(site);
    if (!sites.has(id)) sites.set(id, { id, name: "", address: "" });
  }
  const added = ofKind(records, "site-added");
  for (const site of sites.values()) {
    const own = added.filter((each) => each.site === site.id);
    const named = lastWord(
      own.length ? own : added.filter((each) => oneSite(each.site) === site.id),
    );
    if (named) Object.assign(site, { name: named.body.name, address: named.body.address ?? "" });
  }
  return sites;
}

function systemsOf(records: FieldRecord[], oneSite: One, oneSystem: One): Map<string, System> {
  const systems = new Map<string, System>();
  const about = grouped(
    records.filter(({ system }) => system != null),
    ({ system }) => oneSystem(system!),
  );
  for (const [id, those] of about) {
    const kept = those.filter(({ system }) => system === id);
    const own = kept.length ? kept : those;
    const placed = [...own].sort(byClock).find(({ site }) => site != null);
    const ownNames = ofKind(own, "system-added");
    const named = lastWord(ownNames.length ? ownNames : ofKind(those, "system-added"));
    const byMember = grouped(ofKind(those, "member-added"), ({ body }) => body.member);
    const firsts = inOrder([...byMember.values()].map((added) => inOrder(added)[0]!));
    const members = firsts.map(({ body: { member } }) => {
      const { collection, label } = lastWord(byMember.get(member)!)!.body;
      return { collection, id: member, label };
    });
    const site = oneSite(placed?.site ?? "");
    systems.set(id, { id, site, label: named?.body.label ?? "", members });
  }
  return systems;
}

function visitOf(
  records: FieldRecord[],
  voided: ReadonlyMap<string, FieldRecord>,
  corrections: Corrections,
  oneSite: One,
  oneSystem: One,
): Visit {
  const byTime = [...records].sort(byClock);
  const placed = byTime.find(({ site, system }) => site != null && system != null) ?? byTime[0]!;
  const standing = records.filter(({ id }) => !voided.has(id));
  const plan = lastWord(ofKind(standing, "visit-opened"));
  const closing = lastWord(ofKind(standing, "closed"));
  // A voided record was written all the same and fixes edition and times too.
  const field = inOrder(
    records.filter(({ kind }) => (FIELD_KINDS as readonly string[]).includes(kind)),
  );
  const moved = lastWord(ofKind(records, "edition-moved"));
  const kept = <B>(of: (FieldRecord & { body: B })[]): Kept<B>[] =>
    inOrder(of).map((each) => ({ source: source(each), body: each.body }));
  return {
    id: records[0]!.visit!,
    site: oneSite((plan ?? placed).site ?? ""),
    system: oneSystem((plan ?? placed).system ?? ""),
    title: plan?.body.title ?? "",
    visitKind: plan?.body.visit_kind ?? null,
    date: plan?.body.date ?? null,
    checklists: plan?.body.checklists ?? [],
    assignedTo: lastWord(ofKind(standing, "assigned"))?.body.to ?? null,
    edition: moved?.edition ?? field.find(({ edition }) => edition !== null)?.edition ?? null,
    readings: readingsOf(standing, corrections),
    steps: stepsOf(standing),
    timers: timersOf(standing),
    notes: kept(ofKind(standing, "note")).map((note) => {
      const made = correctedBy(note.source.record, corrections);
      return { ...note, text: made.at(-1)?.text ?? note.body.text, corrections: made };
    }),
    photos: kept(ofKind(standing, "photo")),
    signatures: kept(ofKind(standing, "signed")),
    comments: kept(ofKind(standing, "commented")),
    closed: closing ? source(closing) : null,
    found: foundOf(records, voided, corrections),
    first: field[0] ? when(field[0]) : null,
    last: field.length ? when(field.at(-1)!) : null,
  };
}

/** What its phone sent last, unless a value or the rules were changed since. */
function foundOf(
  records: FieldRecord[],
  voided: ReadonlyMap<string, FieldRecord>,
  corrections: Corrections,
): ResultSnapshot | null {
  const sent = [...ofKind(records, "signed"), ...ofKind(records, "closed")];
  const last = lastWord(sent.filter(({ id, body }) => body.results && !voided.has(id)));
  if (!last) return null;
  const values = [...ofKind(records, "value-set"), ...ofKind(records, "timer-read")];
  const changes: (FieldRecord | undefined)[] = [
    ...ofKind(records, "edition-moved"),
    ...values.flatMap((each) => [each, ...(corrections.get(each.id) ?? []), voided.get(each.id)]),
  ];
  return changes.some((each) => each && isAfter(each, last)) ? null : last.body.results!;
}

function isAfter(one: FieldRecord, other: FieldRecord): boolean {
  const together = one.device === other.device && one.epoch === other.epoch;
  return (together ? one.seq - other.seq : byClock(one, other)) > 0;
}

/** By the record that is corrected in the end: a correction of a correction counts for it. */
function correctionsOf(records: FieldRecord[]): Corrections {
  const all = ofKind(records, "corrected");
  const names = new Map(all.map(({ id, body }) => [id, body.record]));
  return grouped(all, ({ id, body }) => {
    const seen = new Set([id]);
    let root = body.record;
    while (names.has(root) && !seen.has(root)) {
      seen.add(root);
      root = names.get(root)!;
    }
    return root;
  });
}

function correctedBy(record: string, corrections: Corrections): Correction[] {
  const made = corrections.get(record) ?? [];
  const last = lastWord(made);
  if (!last) return [];
  return [...inOrder(made).filter(({ id }) => id !== last.id), last].map((each) => ({
    source: source(each),
    text: each.body.text,
    unit: each.body.unit ?? null,
    si: each.body.si ?? null,
    reason: each.body.reason ?? "",
  }));
}

function readingsOf(records: FieldRecord[], corrections: Corrections): Map<string, Reading> {
  const all: ReadingRecord[] = [...ofKind(records, "value-set"), ...ofKind(records, "timer-read")];
  const byKey = grouped(
    all.filter(({ body }) => body.quantity),
    ({ body }) => keyOf(body.quantity, body.member),
  );
  const readings = new Map<string, Reading>();
  for (const [key, of] of byKey) {
    const byDevice = grouped(of, ({ device }) => device);
    const replaced = new Set(ofKind(of, "value-set").map(({ body }) => body.replaces));
    const last = [...byDevice.values()].map((own) => lastWords(own).at(-1)!).sort(byClock);
    const notReplaced = last.filter(({ id }) => !replaced.has(id));
    const heads = notReplaced.length ? notReplaced : last;
    const head = heads.at(-1)!;
    const shown = readingOf(head, corrections);
    const said = JSON.stringify(shown.si);
    shown.conflicts = heads
      .slice(0, -1)
      .map((each) => readingOf(each, corrections))
      .filter(({ si }) => JSON.stringify(si) !== said);
    const listed = new Set([head.id, ...shown.conflicts.map((each) => each.source.record)]);
    shown.earlier = inOrder(of)
      .filter(({ id }) => !listed.has(id))
      .map((each) => readingOf(each, corrections));
    readings.set(key, shown);
  }
  return readings;
}

function readingOf(record: ReadingRecord, corrections: Corrections): Reading {
  const { body } = record;
  const made = correctedBy(record.id, corrections);
  const { text = "", unit = null, si = null } = made.at(-1) ?? body;
  return {
    source: source(record),
    quantity: body.quantity!,
    member: body.member ?? null,
    ...{ text, unit, si },
    origin: record.kind === "value-set" ? record.body.origin : "timer",
    ...{ corrections: made, conflicts: [], earlier: [] },
  };
}

function stepsOf(records: FieldRecord[]): Map<string, StepState> {
  const steps = new Map<string, StepState>();
  const byStep = grouped(ofKind(records, "step-done"), ({ body }) =>
    keyOf(body.checklist, body.step, body.member),
  );
  for (const [key, of] of byStep) {
    const last = lastWord(of)!;
    const { checklist, step, member = null, outcome, reason = "" } = last.body;
    if (outcome === "open-again") continue;
    steps.set(key, { source: source(last), checklist, step, member, outcome, reason });
  }
  return steps;
}

function timersOf(records: FieldRecord[]): TimerState[] {
  const all = [
    ...ofKind(records, "timer-started"),
    ...ofKind(records, "timer-read"),
    ...ofKind(records, "timer-stopped"),
  ];
  const timers = [...grouped(all, ({ body }) => body.timer)].map(([timer, of]): TimerState => {
    const start = ofKind(of, "timer-started").sort(byClock)[0];
    const stop = lastWord(ofKind(of, "timer-stopped"));
    const reads = ofKind(of, "timer-read").sort(
      (a, b) => a.body.elapsed_s - b.body.elapsed_s || byClock(a, b),
    );
    return {
      timer,
      started: start ? source(start) : null,
      stopped: stop ? source(stop) : null,
      checklist: start?.body.checklist ?? null,
      step: start?.body.step ?? null,
      quantity: start?.body.quantity ?? null,
      targetS: start?.body.target_s ?? null,
      elapsedS: stop?.body.elapsed_s ?? null,
      observed: stop?.body.observed ?? null,
      asleepS: stop?.body.asleep_s ?? 0,
      clockChanged: stop?.body.clock_changed ?? false,
      readings: reads.map(({ body }) => ({
        elapsedS: body.elapsed_s,
        text: body.text ?? "",
        unit: body.unit ?? null,
        si: body.si ?? null,
      })),
    };
  });
  const startOf = ({ started }: TimerState): number => started?.when.corrected ?? Infinity;
  return timers.sort((a, b) => startOf(a) - startOf(b) || byText(a.timer, b.timer));
}
