/** What a visit's report says, section by section, before it is laid out. The office's says the same. Pure. */
import type { Book, Reading, Visit } from "./book.ts";
import { keyOf, stateOf } from "./book.ts";
import { plainly } from "./bundle/reading.ts";
import { plotOf } from "./charts.ts";
import type { AskAgain, Plot } from "./charts.ts";
import { Unknown } from "./engine/index.ts";
import type { CheckResult } from "./engine/index.ts";
import type { Bundle, Calculator, Verdict } from "./generated/bundle.ts";
import type { Signed } from "./generated/records.ts";
import type { Then } from "./history.ts";
import type { Source } from "./order.ts";
import { sayDisputed, sayNeed, sayParts, saySource, sayUnknown, sayValue } from "./parts/say.ts";
import type { Speaker } from "./parts/say.ts";
import { WORST, calculatorsBegun, checklistsOf, toldChecks, worstOn } from "./told.ts";
import { calculatorsUsed, collectionOf, quantityOf, readingsInOrder } from "./work.ts";
import type { Work } from "./work.ts";
import { words } from "./words/index.ts";

export interface Finding {
  verdict: Verdict;
  label: string;
  said: string;
  source: string;
}

export interface Row {
  label: string;
  figure: string;
  under: string;
  /** The worst that rests on it; null where nothing does. */
  verdict: Verdict | null;
}

export interface Topic {
  title: string;
  rows: Row[];
  charts: Plot[];
}

export interface Report {
  title: string;
  place: string;
  facts: [string, string][];
  /** The system, then each of its members. */
  plates: { title: string; facts: [string, string][] }[];
  findings: Finding[];
  readings: Topic[];
  settings: Row[];
  photos: { hash: string; caption: string; who: string }[];
  cautions: { text: string; source: string }[];
  notes: { text: string; who: string }[];
  signatures: { body: Signed; who: string }[];
  rules: [string, string][];
}

export interface Context {
  to: Speaker;
  work: Work;
  book: Book;
  again: AskAgain;
  history: readonly Then[];
  nameOf(device: string): string;
  /** Number, day and note of the edition, where this phone knows them. */
  edition: { hash: string; number: number; date: string; note: string };
  app: string;
}

/** What stands on plates and on the house: names of quantities kept from visit to visit. */
const PLATE = ["site", "system", "nameplate", "indoor", "outdoor"];
/** Topic of the calculators whose entries and results are settings made. */
const SETTINGS = "controls";

export function reportOf(of: Context): Report {
  const { to, work, book } = of;
  const visit = work.visit!;
  const site = book.sites.get(visit.site);
  const readings = readingsInOrder(work);
  const plain = readings.filter((reading) => !onPlate(work, reading));
  const checks = toldChecks(work);
  const topics = [...new Set(work.engine.bundle.calculators.map(({ topic }) => topic)), ""];
  const used = calculatorsBegun(work);
  const drawn = calculatorsUsed(work);
  const all = [...findings(of, checks), ...skipped(work)];
  const rowsIn = (topic: string): Row[] =>
    plain.filter((each) => topicOf(work, each) === topic).map((each) => row(of, checks, each));
  return {
    title: visit.title || words.visit.kinds[visit.visitKind ?? "maintenance"],
    place: [site?.name, site?.address].filter(Boolean).join(", "),
    facts: factsOf(of, visit),
    plates: platesOf(
      of,
      readings.filter((reading) => onPlate(work, reading)),
    ),
    findings: WORST.flatMap((verdict) => all.filter((each) => each.verdict === verdict)),
    readings: topics
      .filter((topic) => topic !== SETTINGS)
      .map((topic) => ({
        title: topic ? words.topic(topic) : words.report.other,
        rows: rowsIn(topic),
        charts: drawn.filter((each) => each.topic === topic).flatMap((each) => chartsOf(of, each)),
      }))
      .filter(({ rows }) => rows.length > 0),
    settings: [
      ...rowsIn(SETTINGS),
      ...found(
        to,
        work,
        used.filter(({ topic }) => topic === SETTINGS),
      ),
    ],
    photos: visit.photos.map(({ body, source }) => ({
      ...{ hash: body.photo, caption: body.caption ?? "", who: who(of, source) },
    })),
    cautions: cautionsOf(work.engine.bundle, visit, used),
    notes: visit.notes.map(({ text, source }) => ({ text, who: who(of, source) })),
    signatures: visit.signatures.map(({ body, source }) => ({ body, who: who(of, source) })),
    rules: rulesOf(of),
  };
}

/** Who wrote it, and when. */
function who({ nameOf }: Pick<Context, "nameOf">, { device, when }: Source): string {
  return words.report.who(nameOf(device), moment(when), when.doubtful);
}

/** By the clock of the phone that wrote it. */
function moment({ corrected, offsetMin }: Source["when"]): string {
  const local = new Date(corrected + offsetMin * 60_000).toISOString();
  return `${words.date(local.slice(0, 10))} ${local.slice(11, 16)}`;
}

function factsOf(of: Context, visit: Visit): [string, string][] {
  const devices = new Set([...visit.readings.values()].map(({ source }) => source.device));
  const closed = visit.closed ? ` ${moment(visit.closed.when)}` : "";
  const facts: [string, string][] = [
    [words.report.kind, visit.visitKind ? words.visit.kinds[visit.visitKind] : ""],
    [words.report.planned, visit.date ? words.date(visit.date) : ""],
    [words.report.first, visit.first ? moment(visit.first) : ""],
    [words.report.state, words.visit.states[stateOf(visit)] + closed],
    [words.report.technician, [...devices].map((each) => of.nameOf(each)).join(", ")],
  ];
  return facts.filter(([, said]) => said !== "");
}

function onPlate({ engine }: Work, { quantity: id }: Reading): boolean {
  const quantity = quantityOf(engine, id);
  return (
    quantity !== null &&
    PLATE.includes(quantity.id.split(".")[0]!) &&
    (quantity.scope ?? "visit") !== "visit" &&
    !quantity.each_visit &&
    quantity.type !== "series"
  );
}

function platesOf({ to, work }: Context, readings: readonly Reading[]): Report["plates"] {
  const { system } = work;
  const of = (id: string | null): [string, string][] =>
    readings
      .filter(({ member }) => (member ?? null) === id)
      .map((reading) => [
        to.quantity(reading.quantity)?.label ?? reading.quantity,
        typed(to, reading),
      ]);
  const members = system?.members ?? [];
  return [
    { title: system?.label || words.report.noSystem, facts: of(null) },
    ...members.map(({ id, label }) => ({ title: label, facts: of(id) })),
  ];
}

function findings({ to, work }: Context, checks: readonly CheckResult[]): Finding[] {
  const { engine, answer } = work;
  return checks.map((result): Finding => {
    const check = engine.bundle.checks.find(({ id }) => id === result.id)!;
    const of = result.member ? to.labelOf(result.member) : "";
    const needs = [...new Set(result.unknown?.needs.map((need) => sayNeed(to, need)) ?? [])];
    const why = result.unknown ? sayUnknown(to, result.unknown) : "";
    const lacking = needs.length ? words.result.needsThese(needs.join(", ")) : why;
    return {
      verdict: result.verdict,
      label: of ? words.ofMember(check.label, of) : check.label,
      said: result.verdict === "unknown" ? lacking : sayParts(to, result.pieces),
      source: [
        saySource(to.bundle, check.source),
        result.verdict === "unknown" ? "" : sayDisputed(to.bundle, answer.disputedIn(result)),
      ]
        .filter(Boolean)
        .join(" · "),
    };
  });
}

/** Steps that were skipped are findings too. */
function skipped({ engine, visit }: Work): Finding[] {
  return (engine.bundle.checklists ?? []).flatMap(({ id, title, steps }) =>
    steps.flatMap((step): Finding[] => {
      const state = visit!.steps.get(keyOf(id, step.id, null));
      if (state?.outcome !== "skipped") return [];
      const said = words.report.skipped(state.reason);
      return [{ verdict: "caution", label: step.title, said, source: title }];
    }),
  );
}

function topicOf({ engine }: Work, { quantity }: Reading): string {
  const id = quantityOf(engine, quantity)?.id;
  const entered = engine.bundle.calculators.find(({ enter, if_known: maybe = [] }) =>
    [...enter, ...maybe].includes(id ?? ""),
  );
  return entered?.topic ?? "";
}

function row(of: Context, checks: readonly CheckResult[], reading: Reading): Row {
  const { to, work } = of;
  const { origin, source, corrections, conflicts } = reading;
  const quantity = quantityOf(work.engine, reading.quantity);
  const figure = typed(to, reading);
  const read =
    quantity && reading.si !== null ? plainly(sayValue(to, quantity, reading.si)) : figure;
  const own = work.visit!.readings.has(keyOf(reading.quantity, reading.member));
  const under = [
    read === figure ? "" : words.report.thatIs(read),
    words.report.origins[origin],
    who(of, source),
    own ? "" : words.report.kept,
    ...corrections
      .slice(-1)
      .map(({ source, reason }) => words.report.corrected(moment(source.when), reason)),
    ...conflicts.map((other) => words.report.otherwise(typed(to, other), who(of, other.source))),
  ];
  return {
    label: labelOf(to, work, reading),
    figure,
    under: under.filter(Boolean).join(" · "),
    verdict: quantity && worstOn(work.engine, checks, quantity, reading.member),
  };
}

function labelOf(to: Speaker, { engine }: Work, { quantity: id, member }: Reading): string {
  const label = quantityOf(engine, id)?.label ?? id;
  const of = member ? to.labelOf(member) : "";
  return of ? words.ofMember(label, of) : label;
}

/** As a person typed it; a choice by its label. */
function typed(to: Speaker, { quantity: id, text, unit, si }: Reading): string {
  const quantity = to.quantity(id);
  const { type = "number" } = quantity ?? {};
  if (quantity && si !== null && (type === "choice" || type === "flag"))
    return plainly(sayValue(to, quantity, si));
  const label = to.bundle.units[unit ?? ""]?.label ?? "";
  return /[\d.,]$/.test(text) ? plainly({ text, unit: label }) : text;
}

/** The charts of a calculator, for each member of what it speaks of. */
function chartsOf({ to, work, again, history }: Context, { charts = [] }: Calculator): Plot[] {
  return charts.flatMap((chart) => {
    const of = chart.series || (chart.ends ? chart.over! : chart.show![0]!);
    const collection = collectionOf(work.engine, of);
    const members = collection === null ? [null] : (work.members[collection] ?? []);
    return members.flatMap((member) => {
      const only = member ? { [collection!]: member } : {};
      const plot = plotOf(to, work, chart, only, again, history);
      // A curve without its point says nothing of this visit, nor do visits with no other to compare.
      if (!plot || plot.marks.length === 0) return [];
      const read = (plot.visits ?? []).filter(({ figures }) => figures.some(Boolean));
      if (plot.visits && (read.length < 2 || read.at(-1) !== plot.visits.at(-1))) return [];
      const label = member ? to.labelOf(member) : "";
      return [label ? { ...plot, title: words.ofMember(plot.title, label) } : plot];
    });
  });
}

/** Results that are settings, with what they rest on. */
function found(to: Speaker, work: Work, calculators: readonly Calculator[]): Row[] {
  const shown = [...new Set(calculators.flatMap(({ show }) => show))];
  return shown.flatMap((id) => {
    const quantity = to.quantity(id)!;
    const collection = collectionOf(work.engine, id);
    const members = collection === null ? [undefined] : (work.members[collection] ?? []);
    return members.flatMap((member): Row[] => {
      const value = work.answer.value(id, member);
      if (value instanceof Unknown) return [];
      const of = member ? to.labelOf(member) : "";
      return [
        {
          label: of ? words.ofMember(quantity.label, of) : quantity.label,
          figure: plainly(sayValue(to, quantity, value)),
          under: [
            quantity.source ? saySource(to.bundle, quantity.source) : "",
            sayDisputed(to.bundle, work.answer.disputed(id, member)),
          ]
            .filter(Boolean)
            .join(" · "),
          verdict: null,
        },
      ];
    });
  });
}

/** What the owner is told: cautions of the visit's checklists and calculators. */
function cautionsOf(bundle: Bundle, visit: Visit, used: readonly Calculator[]): Report["cautions"] {
  const lists = checklistsOf(bundle, visit);
  const named = new Set([
    ...used.flatMap(({ cautions = [] }) => cautions),
    ...lists.flatMap(({ steps }) => steps.map(({ caution = "" }) => caution)),
  ]);
  return (bundle.cautions ?? [])
    .filter(({ id, owner }) => owner && named.has(id))
    .map(({ text, source }) => ({ text, source: saySource(bundle, source) }));
}

function rulesOf({ to, edition: { hash, number, date, note }, app }: Context): [string, string][] {
  const said = [number ? String(number) : "", date ? words.date(date.slice(0, 10)) : "", note];
  const rows: [string, string][] = [
    [words.report.edition, said.filter(Boolean).join(", ")],
    [words.report.hash, hash],
    ...to.bundle.packs.map(({ rank, title }): [string, string] => [
      words.report.packs[rank],
      title,
    ]),
    [words.report.computedBy, `${words.name} ${app}`],
  ];
  return rows.filter(([, said]) => said !== "");
}
