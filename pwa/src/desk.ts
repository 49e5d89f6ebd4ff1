/** One place of work: rules, kept values, typed values and results, for a calculator or a step. */
import { keyOf, stateOf } from "./book.ts";
import type { Visit } from "./book.ts";
import type { AskAgain } from "./charts.ts";
import { Unknown } from "./engine/index.ts";
import type { Engine, Need } from "./engine/index.ts";
import { Form } from "./form.ts";
import type { Entry, Slot } from "./form.ts";
import { historyOf } from "./history.ts";
import type { Then } from "./history.ts";
import type { Draft } from "./ledger/ledger.ts";
import type { DraftValue } from "./ledger/schema.ts";
import { offersFor } from "./offers.ts";
import { pastOf } from "./past.ts";
import { fieldId } from "./parts/field.ts";
import type { Beside, FieldEvents } from "./parts/field.ts";
import { day } from "./parts/frame.ts";
import type { WayTo } from "./parts/result.ts";
import { sayPast, unitOf } from "./parts/say.ts";
import type { Speaker } from "./parts/say.ts";
import type { Phone, Rules } from "./phone.ts";
import { NO_MEMBER, collectionOf, evaluate, groundAlone, groundOn, quantityOf } from "./work.ts";
import type { Ground, Work } from "./work.ts";

export interface View {
  rules: Rules;
  work: Work;
  entries: Entry[];
  /** Needed for what is shown and asked nowhere else on this screen. */
  extra: Entry[];
  to: Speaker;
  way: WayTo;
  /** What stands beside a field: results that may be taken, readings of earlier visits. */
  beside(entry: Entry): Beside;
  again: AskAgain;
  /** What each visit on the system found, this one last. */
  history: readonly Then[];
  /** What the results rest on, to tell one state from another. */
  values(): unknown;
}

/** What a screen asks for and shows; `members` says which member of each collection, all if none. */
export interface Wants {
  enter: readonly string[];
  show: readonly string[];
  checks: readonly string[];
  members: Readonly<Record<string, string>>;
  /** Ask here for what is needed and asked nowhere on the screen. */
  extra: boolean;
}

export class Desk {
  readonly events: FieldEvents;
  readonly #phone: Phone;
  readonly #changed: () => void;
  readonly #visit: string | null;
  readonly #form: Form;
  #rules: Rules | null = null;
  /** The rules are not on this phone, and the office cannot be asked. */
  lacking = false;
  #loaded = false;
  #loading = "";
  readonly #extra = new Set<string>();
  /** Rules of earlier visits, by edition. */
  readonly #before = new Map<string, Engine | null>();

  /** `scratch` names the drafts of a calculator alone. */
  constructor(phone: Phone, visit: string | null, scratch: string, changed: () => void) {
    this.#phone = phone;
    this.#visit = visit;
    this.#changed = changed;
    this.#form = new Form(phone.drafts, visit === null ? `alone/${scratch}` : `visit/${visit}`);
    this.events = {
      set: (entry, text, unit) => this.#set(entry, text, unit),
      sure: (entry) => this.#set(entry, entry.text, undefined, { sure: true }),
      take: (entry, text) => this.#set(entry, text, undefined, { origin: "offered" }),
    };
    void this.#form.load().then(() => {
      this.#loaded = true;
      changed();
    });
  }

  get visit(): Visit | null {
    return this.#visit === null ? null : (this.#phone.book.visits.get(this.#visit) ?? null);
  }

  get open(): boolean {
    const { visit } = this;
    return visit !== null && stateOf(visit) !== "closed";
  }

  /** Null while rules or drafts are still being read. */
  ground(): (Ground & { rules: Rules }) | null {
    const { visit } = this;
    this.#load(visit?.edition ?? this.#phone.rules?.hash ?? "");
    const rules = this.#rules;
    if (!rules || !this.#loaded) return null;
    if (this.#visit === null) return { ...groundAlone(rules.engine), rules };
    if (!visit) return null;
    const ground = groundOn(this.#phone.book, visit, rules.engine);
    for (const { edition } of ground.earlier) this.#lookBack(edition, rules);
    return { ...ground, rules };
  }

  /** The rules of an earlier visit, where they are on this phone. */
  #lookBack(edition: string | null, { hash, engine }: Rules): void {
    if (edition === null || this.#before.has(edition)) return;
    this.#before.set(edition, edition === hash ? engine : null);
    if (edition === hash) return;
    void this.#phone.rulesHere(edition).then((rules) => {
      if (!rules) return;
      this.#before.set(edition, rules.engine);
      this.#changed();
    });
  }

  view(ground: Ground & { rules: Rules }, wants: Wants): View {
    const { rules } = ground;
    const to = speakerFor(this.#phone, ground);
    const slots = wants.enter.flatMap((id) => slotsOf(ground, id, wants.members));
    let entries = this.#entries(ground, slots);
    const asked = new Set(entries.map(({ key }) => key));
    let extra = this.#entries(ground, this.#extraSlots(ground, asked));
    let typed = this.#form.typed([...entries, ...extra]);
    let work = evaluate(ground, typed);
    for (const { id, member } of wants.extra ? needsOf(work, wants) : []) {
      const key = keyOf(id, member);
      if (!asked.has(key)) this.#extra.add(key);
    }
    if (this.#extra.size > extra.length) {
      extra = this.#entries(ground, this.#extraSlots(ground, asked));
      typed = this.#form.typed([...entries, ...extra]);
      work = evaluate(ground, typed);
    }
    entries = entries.filter((entry) => applies(work, entry));
    const all = new Map([...entries, ...extra].map((entry) => [entry.key, entry]));
    const way: WayTo = ({ id, member }) => {
      const entry = all.get(keyOf(id, member));
      return entry ? `#${fieldId(entry)}` : "#";
    };
    const beside = (entry: Entry): Beside => ({
      offers: offersFor(to, work, entry, day(Date.now())),
      past: pastOf(work.earlier, entry).map((past) => sayPast(to, entry.quantity, past)),
    });
    const again: AskAgain = (key, si) => evaluate(ground, new Map([...typed, [key, si]])).answer;
    const values = (): unknown => [
      [...ground.readings].map(([key, { si }]) => [key, si]),
      [...typed],
    ];
    const history = this.history(work, rules);
    return { rules, work, entries, extra, to, way, beside, again, history, values };
  }

  history(work: Work, { hash }: Rules): Then[] {
    const rulesOf = (edition: string): Engine | null => this.#before.get(edition) ?? null;
    return historyOf(this.#phone.book, work, hash, rulesOf, Date.now());
  }

  /** Value-set records for what was typed here and is understood. */
  drafts({ rules, work, entries, extra }: View, calculator: string | null): Draft[] {
    const { visit } = work;
    if (!visit) return [];
    const about = { site: visit.site, system: visit.system, visit: visit.id };
    return this.#form.toKeep([...entries, ...extra], calculator).map((body) => ({
      ...{ kind: "value-set" as const, about, edition: rules.hash, body },
    }));
  }

  /** Forgets what was typed into these fields: it is kept now, or is not wanted. */
  forget(entries: readonly Entry[]): void {
    this.#form.forget(entries.map(({ key }) => key));
    this.#changed();
  }

  settled(): Promise<void> {
    return this.#form.settled();
  }

  #set(entry: Entry, text: string, unit?: string, change: Partial<DraftValue> = {}): void {
    const to = this.#speaker();
    const meant = to && entry.quantity.unit ? (unit ?? unitOf(to, entry)) : null;
    this.#form.set(entry, text, { unit: meant || null, ...change });
    this.#changed();
  }

  #speaker(): Speaker | null {
    return this.#rules && speakerFor(this.#phone, groundAlone(this.#rules.engine));
  }

  #entries(ground: Ground, slots: readonly Slot[]): Entry[] {
    const { bundle } = ground.engine;
    return slots.map((slot) => {
      const kept = ground.readings.get(keyOf(slot.quantity.id, slot.member)) ?? null;
      return this.#form.entry(bundle, slot, kept);
    });
  }

  #extraSlots(ground: Ground, asked: ReadonlySet<string>): Slot[] {
    return [...this.#extra].flatMap((key) => {
      if (asked.has(key)) return [];
      const [id = "", member = NO_MEMBER] = key.split("\n");
      const quantity = quantityOf(ground.engine, id);
      return quantity ? [{ quantity, member: member || null }] : [];
    });
  }

  #load(hash: string): void {
    if (hash === this.#loading) return;
    this.#loading = hash;
    void this.#phone.rulesOf(hash).then((rules) => {
      if (hash !== this.#loading) return;
      this.#rules = rules;
      this.lacking = rules === null;
      // Asked again at the next change: the office may be in reach by then.
      if (!rules) this.#loading = "";
      else this.#changed();
    });
  }
}

export function speakerFor(phone: Phone, { engine, system }: Ground): Speaker {
  // One member of a kind needs no name: there is nothing to mistake it for.
  const several = (system?.members ?? []).filter(
    ({ collection }, _, all) => all.filter((each) => each.collection === collection).length > 1,
  );
  const labels = new Map(several.map(({ id, label }) => [id, label]));
  return {
    bundle: engine.bundle,
    system: phone.settings.system,
    labelOf: (member) => labels.get(member) ?? "",
    quantity: (id) => quantityOf(engine, id),
  };
}

/** Whether the rules ask for it here: of several members perhaps only some. */
function applies({ answer }: Work, { quantity, member }: Slot): boolean {
  if (quantity.when == null) return true;
  const value = answer.value(quantity.id, member ?? undefined);
  return !(value instanceof Unknown && value.why === "not-applicable");
}

function slotsOf(
  { engine, members }: Ground,
  id: string,
  chosen: Readonly<Record<string, string>>,
): Slot[] {
  const quantity = quantityOf(engine, id);
  if (!quantity || quantity.tree != null) return [];
  return membersFor({ engine, members }, id, chosen).map((member) => ({ quantity, member }));
}

/** The members a screen speaks of for a quantity or check; null where there is one value. */
export function membersFor(
  { engine, members }: Pick<Ground, "engine" | "members">,
  id: string,
  chosen: Readonly<Record<string, string>>,
): (string | null)[] {
  const collection = collectionOf(engine, id);
  if (collection === null) return [null];
  const one = chosen[collection];
  const all = one === undefined ? (members[collection] ?? []) : [one];
  return all.map((member) => member || null);
}

function needsOf(work: Work, { show, checks, members }: Wants): Need[] {
  const values = show.flatMap((id) =>
    membersFor(work, id, members).map((member) => work.answer.value(id, member ?? undefined)),
  );
  const verdicts = work.answer
    .checks([...checks])
    .filter(({ verdict }) => verdict === "unknown")
    .map(({ unknown }) => unknown);
  return [...values, ...verdicts].flatMap((each) => (each instanceof Unknown ? each.needs : []));
}
