// Written by kneewall.generate_types from kneewall.bundle; edit that.

export const FORMAT = 3;
export const UNPACKED = 2;
export const OVER_VISITS = "visits";

export type Scalar = number | boolean | string;

export type Value = Scalar | readonly number[] | readonly string[] | readonly (readonly number[])[];

export type Expr = Scalar | readonly Expr[];

export type Piece = string | number | readonly Piece[];

export type Said = string | readonly Piece[];

export type UnitName = string;

export type ChoicesName = string;

export type SourceName = string;

export type QuantityName = string;

export type CheckName = string;

export type CautionName = string;

export type CalculatorName = string;

export type ChecklistName = string;

export type Scope = string;

export type Why = "missing" | "outside" | "domain" | "not-applicable";

export type Verdict = "pass" | "caution" | "fail" | "unknown" | "not-applicable";

export type Act = "do" | "read" | "choose" | "time" | "photo" | "sign";

export type ValueType = "number" | "count" | "flag" | "choice" | "text" | "date" | "list" | "texts" | "series";

/** When a rule holds: from a day, to a day (both included), under these code editions. */
export interface Holds {
  readonly since?: string;
  readonly until?: string;
  readonly editions?: readonly string[];
}

/** What an item or row stands in for: the pack it was in, and why. */
export interface Replaced {
  readonly pack: string;
  readonly because: string;
}

/** Where a value comes from: a source, the place in it, and how sure that is. */
export interface SourceRef {
  readonly of: string;
  readonly place?: string;
  readonly mark?: "" | "from memory" | "computed" | "disputed";
}

export interface Source {
  readonly title: string;
  readonly edition?: string;
  readonly kind: "standard" | "handbook" | "paper" | "maker" | "open-data" | "practice" | "memory" | "demo";
  readonly confirmed?: boolean;
}

export interface Pack {
  readonly id: string;
  readonly rank: "trade" | "maker" | "house";
  readonly title: string;
}

/** SI value = typed value * scale + offset (offset only on points). */
export interface Unit {
  readonly scale: number;
  readonly offset?: number;
  readonly dimension?: string;
  readonly kind?: string;
  readonly point?: boolean;
  readonly system?: "ip" | "si" | "both";
  readonly partner?: string;
  readonly label: string;
  readonly spellings?: readonly string[];
}

export interface Option {
  readonly value: string;
  readonly label: string;
  readonly spellings?: readonly string[];
}

export interface Choices {
  readonly label?: string;
  readonly ordered?: boolean;
  readonly options: readonly Option[];
  readonly source?: SourceRef | null;
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

export interface Collection {
  readonly label: string;
  readonly plural: string;
}

/** A column of a table or of a series. `type` as of quantities; `unit` an id of `Bundle.units`. */
export interface Column {
  readonly name: string;
  readonly type?: "number" | "flag" | "choice" | "text" | "date";
  readonly unit?: string;
  readonly choices?: string;
  readonly label?: string;
}

/** What is particular to one row: its pack, its own source, what it replaced. */
export interface RowMark {
  readonly pack?: string;
  readonly source?: SourceRef | null;
  readonly replaced?: Replaced | null;
}

/** `cells` hold one list per column, all of one length; null where the table gives nothing. A grid for interpolation over two keys is sorted by its first key, then by its second. */
export interface Table {
  readonly id: string;
  readonly label?: string;
  readonly columns: readonly Column[];
  readonly keys?: readonly number[];
  readonly transform?: { readonly [key: string]: "ln" | "reciprocal" };
  readonly cells: readonly (readonly (Scalar | null)[])[];
  readonly source: SourceRef;
  readonly marks?: { readonly [key: string]: RowMark };
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

export interface Function {
  readonly id: string;
  readonly parameters: readonly string[];
  readonly tree: Expr;
  readonly source: SourceRef;
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

/** One of several formulas of a quantity, by when it holds. */
export interface Case {
  readonly holds?: Holds | null;
  readonly source: SourceRef;
}

/** `cases`, where there are any, are tried in turn: TRACE n says whether case n held; the last one is the rest. */
export interface Quantity {
  readonly id: string;
  readonly label: string;
  readonly scope?: string;
  readonly each_visit?: boolean;
  readonly type?: ValueType;
  readonly unit?: string;
  readonly kind?: string;
  readonly choices?: string;
  readonly columns?: readonly Column[];
  readonly limits?: readonly [number, number] | null;
  readonly usual?: readonly [number, number] | null;
  readonly one_of?: readonly number[];
  readonly decimals?: number | null;
  readonly default?: Value | null;
  readonly note?: string;
  readonly offers?: string;
  readonly tree?: Expr | null;
  readonly when?: Expr | null;
  readonly traces?: number;
  readonly cases?: readonly Case[];
  readonly holds?: Holds | null;
  readonly source?: SourceRef | null;
  readonly pack?: string;
  readonly replaced?: Replaced | null;
  readonly formerly?: readonly string[];
}

export interface Check {
  readonly id: string;
  readonly label: string;
  readonly scope?: string;
  readonly when?: Expr | null;
  readonly fail?: Expr | null;
  readonly caution?: Expr | null;
  readonly says: { readonly [key in Verdict]?: readonly Piece[] };
  readonly holds?: Holds | null;
  readonly source: SourceRef;
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

/** `owner`: it is also said to the owner, in the visit's report. */
export interface Caution {
  readonly id: string;
  readonly text: string;
  readonly owner?: boolean;
  readonly source: SourceRef;
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

/** A series as it was read, results asked again over one entered number, or numbers from visit to visit. `series` is set for the first. The second has `over` with `ends` and `show` and is asked at `steps` + 1 values, end to end. The third has `over` as `OVER_VISITS` and `show`: what each visit on the same system found. `lines` are limits across it, each one value of the same kind as what the chart shows. */
export interface Chart {
  readonly id: string;
  readonly title: string;
  readonly series?: string;
  readonly over?: string;
  readonly ends?: readonly [number, number] | null;
  readonly steps?: number;
  readonly show?: readonly string[];
  readonly lines?: readonly string[];
}

export interface Calculator {
  readonly id: string;
  readonly title: string;
  readonly topic: string;
  readonly note?: string;
  readonly enter: readonly string[];
  readonly if_known?: readonly string[];
  readonly show: readonly string[];
  readonly checks?: readonly string[];
  readonly cautions?: readonly string[];
  readonly charts?: readonly Chart[];
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

/** `needs` holds the step back until it is true, and `held` says why; unknown holds it back too. `clears` is no longer so once the step is done, and asked anew where it is wanted. */
export interface Step {
  readonly id: string;
  readonly act: Act;
  readonly title: string;
  readonly text?: string;
  readonly enter?: readonly string[];
  readonly if_known?: readonly string[];
  readonly show?: readonly string[];
  readonly checks?: readonly string[];
  readonly calculator?: string;
  readonly caution?: string;
  readonly when?: Expr | null;
  readonly after?: readonly string[];
  readonly needs?: Expr | null;
  readonly held?: string;
  readonly least?: string;
  readonly keeps?: string;
  readonly clears?: readonly string[];
  readonly holds?: Holds | null;
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

export interface Checklist {
  readonly id: string;
  readonly title: string;
  readonly note?: string;
  readonly steps: readonly Step[];
  readonly pack?: string;
  readonly replaced?: Replaced | null;
}

export interface Expected {
  readonly quantity: string;
  readonly member?: string;
  readonly value?: Value | null;
  readonly within?: number;
  readonly why?: Why | null;
}

/** A worked example of a calculator or of a checklist; values are SI values as records hold them. Members are named "1", "2", … */
export interface Example {
  readonly name: string;
  readonly calculator?: string;
  readonly checklist?: string;
  readonly members?: { readonly [key: string]: readonly string[] };
  readonly given: { readonly [key: string]: Value | { readonly [key: string]: Value } };
  readonly expect?: readonly Expected[];
  readonly checks?: { readonly [key: string]: Verdict };
  readonly source: SourceRef;
  readonly pack?: string;
}

/** The texts of another language by the path of what they stand for, as `quantities/vacuum.target/label`. What has no word here is said as the rules say it. */
export interface Words {
  readonly texts: { readonly [key: string]: Said };
}

export interface Bundle {
  readonly format?: number;
  readonly packs: readonly Pack[];
  readonly units: { readonly [key: string]: Unit };
  readonly choices: { readonly [key: string]: Choices };
  readonly collections: { readonly [key: string]: Collection };
  readonly sources: { readonly [key: string]: Source };
  readonly quantities: readonly Quantity[];
  readonly tables: readonly Table[];
  readonly functions?: readonly Function[];
  readonly checks: readonly Check[];
  readonly cautions?: readonly Caution[];
  readonly calculators: readonly Calculator[];
  readonly checklists?: readonly Checklist[];
  readonly examples?: readonly Example[];
  readonly words?: { readonly [key: string]: Words };
}
