// Written by kneewall.generate_types from kneewall.records.envelope; edit that.

export const RECORD_VERSION = 1;
export const LINE_LIMIT = 262144;
export const FIELD_KINDS = ["note", "photo", "step-done", "timer-read", "timer-started", "timer-stopped", "value-set"] as const;

export type Uuid = string;

export type Uuid7 = string;

export type Sha256 = string;

export type Day = string;

export type Name = string;

export type Text = string;

export type RuleId = string;

export type Number = number;

export type SiValue = boolean | number | string | readonly number[] | readonly (readonly [number, number])[] | readonly string[];

export type Verdict = "pass" | "caution" | "fail" | "unknown" | "not-applicable";

/** When, as the device knew it. Nothing here is ever rewritten. */
export interface At {
  readonly wall: string;
  readonly offset_min: number;
  readonly mono_ms: number;
  readonly server_offset_ms: number | null;
}

export interface CheckOutcome {
  readonly id: string;
  readonly member?: string | null;
  readonly verdict: Verdict;
}

export interface ResultOutcome {
  readonly quantity: string;
  readonly member?: string | null;
  readonly si: SiValue | null;
  readonly why?: string | null;
}

/** What the device's engine found, so that the office's second look can tell a difference. */
export interface ResultSnapshot {
  readonly results?: readonly ResultOutcome[];
  readonly checks?: readonly CheckOutcome[];
}

export interface SiteAdded {
  readonly name: string;
  readonly address?: string;
}

export interface SystemAdded {
  readonly label: string;
}

export interface MemberAdded {
  readonly collection: string;
  readonly member: string;
  readonly label: string;
}

export type VisitKind = "install" | "commissioning" | "maintenance" | "fault";

export interface VisitOpened {
  readonly title: string;
  readonly visit_kind: VisitKind;
  readonly date: string;
  readonly checklists?: readonly string[];
}

export interface Assigned {
  readonly to: string | null;
}

export interface ValueSet {
  readonly quantity: string;
  readonly member?: string | null;
  readonly text: string;
  readonly unit?: string | null;
  readonly si: SiValue | null;
  readonly origin: "typed" | "picked" | "offered" | "timer" | "table";
  readonly calculator?: string | null;
  readonly replaces?: string | null;
}

export interface StepDone {
  readonly checklist: string;
  readonly step: string;
  readonly member?: string | null;
  readonly outcome: "done" | "not-applicable" | "skipped" | "open-again";
  readonly reason?: string;
}

export interface TimerStarted {
  readonly timer: string;
  readonly checklist?: string | null;
  readonly step?: string | null;
  readonly quantity?: string | null;
  readonly member?: string | null;
  readonly target_s?: number | null;
}

export interface TimerRead {
  readonly timer: string;
  readonly elapsed_s: number;
  readonly quantity?: string | null;
  readonly member?: string | null;
  readonly text?: string;
  readonly unit?: string | null;
  readonly si?: SiValue | null;
}

export interface TimerStopped {
  readonly timer: string;
  readonly elapsed_s: number;
  readonly observed: boolean;
  readonly asleep_s?: number;
  readonly clock_changed?: boolean;
}

export interface Photo {
  readonly photo: string;
  readonly mime: "image/jpeg" | "image/png" | "image/webp" | "image/heic";
  readonly size: number;
  readonly caption?: string;
  readonly checklist?: string | null;
  readonly step?: string | null;
  readonly quantity?: string | null;
  readonly member?: string | null;
}

export interface Note {
  readonly text: string;
  readonly checklist?: string | null;
  readonly step?: string | null;
  readonly quantity?: string | null;
  readonly member?: string | null;
}

/** The named value-set, timer-read or note says this instead. A note takes `text` alone. */
export interface Corrected {
  readonly record: string;
  readonly text: string;
  readonly unit?: string | null;
  readonly si?: SiValue | null;
  readonly reason?: string;
}

export interface Voided {
  readonly record: string;
  readonly reason: string;
}

/** The envelope's `edition` is the one moved to. */
export interface EditionMoved {
  readonly left: string;
  readonly reason?: string;
}

export interface Signed {
  readonly name: string;
  readonly statement: string;
  readonly strokes?: string | null;
  readonly results?: ResultSnapshot | null;
}

export interface Closed {
  readonly note?: string;
  readonly results?: ResultSnapshot | null;
}

export interface SameAs {
  readonly sort: "site" | "system";
  readonly keep: string;
  readonly other: string;
}

export interface Commented {
  readonly text: string;
  readonly record?: string | null;
}

export interface SiteAddedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system?: null;
  readonly visit?: null;
  readonly kind: "site-added";
  readonly body: SiteAdded;
}

export interface SystemAddedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit?: null;
  readonly kind: "system-added";
  readonly body: SystemAdded;
}

export interface MemberAddedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string | null;
  readonly kind: "member-added";
  readonly body: MemberAdded;
}

export interface VisitOpenedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "visit-opened";
  readonly body: VisitOpened;
}

export interface AssignedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "assigned";
  readonly body: Assigned;
}

export interface ValueSetRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "value-set";
  readonly body: ValueSet;
}

export interface StepDoneRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "step-done";
  readonly body: StepDone;
}

export interface TimerStartedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "timer-started";
  readonly body: TimerStarted;
}

export interface TimerReadRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "timer-read";
  readonly body: TimerRead;
}

export interface TimerStoppedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "timer-stopped";
  readonly body: TimerStopped;
}

export interface PhotoRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "photo";
  readonly body: Photo;
}

export interface NoteRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "note";
  readonly body: Note;
}

export interface CorrectedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string | null;
  readonly system: string | null;
  readonly visit: string | null;
  readonly kind: "corrected";
  readonly body: Corrected;
}

export interface VoidedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string | null;
  readonly system: string | null;
  readonly visit: string | null;
  readonly kind: "voided";
  readonly body: Voided;
}

export interface EditionMovedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "edition-moved";
  readonly body: EditionMoved;
}

export interface SignedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "signed";
  readonly body: Signed;
}

export interface ClosedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string;
  readonly system: string;
  readonly visit: string;
  readonly kind: "closed";
  readonly body: Closed;
}

export interface SameAsRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string | null;
  readonly system: string | null;
  readonly visit: string | null;
  readonly kind: "same-as";
  readonly body: SameAs;
}

export interface CommentedRecord {
  readonly id: string;
  readonly device: string;
  readonly epoch: string;
  readonly seq: number;
  readonly prev: string | null;
  readonly version: 1;
  readonly app: string;
  readonly edition: string | null;
  readonly at: At;
  readonly site: string | null;
  readonly system: string | null;
  readonly visit: string | null;
  readonly kind: "commented";
  readonly body: Commented;
}

export type Record = SiteAddedRecord | SystemAddedRecord | MemberAddedRecord | VisitOpenedRecord | AssignedRecord | ValueSetRecord | StepDoneRecord | TimerStartedRecord | TimerReadRecord | TimerStoppedRecord | PhotoRecord | NoteRecord | CorrectedRecord | VoidedRecord | EditionMovedRecord | SignedRecord | ClosedRecord | SameAsRecord | CommentedRecord;
