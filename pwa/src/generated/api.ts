// Written by kneewall.generate_types from kneewall.web.api_models; edit that.

export const PART_SIZE = 262144;
export const BATCH_LINES = 500;
export const BATCH_BYTES = 4194304;
export const PHOTO_BYTES = 12582912;
export const WHOLE_PHOTO_BYTES = 1048576;

export interface Problem {
  readonly error: string;
  readonly mend: string;
}

export interface Signature {
  readonly alg: "ECDSA-P256-SHA256";
  readonly key: string;
  readonly value: string;
}

/** The small document beside an edition; the bundle's own bytes carry none of this. */
export interface EditionPointer {
  readonly number: number;
  readonly hash: string;
  readonly size: number;
  readonly format: number;
  readonly date: string;
  readonly author: string;
  readonly note: string;
  readonly least_app: string;
  readonly signature: Signature | null;
}

export interface EnrolRequest {
  readonly code: string;
  readonly name: string;
  readonly app: string;
}

export interface EnrolReply {
  readonly device: string;
  readonly token: string;
  readonly office: string;
  readonly office_device: string;
  readonly store_generation: string;
  readonly server_time: string;
}

/** How far one epoch of a device has come. */
export interface Head {
  readonly epoch: string;
  readonly seq: number;
  readonly count: number;
  readonly hash: string | null;
}

/** What the office holds of one epoch of a device. */
export interface Held {
  readonly device: string;
  readonly epoch: string;
  readonly contiguous_through: number;
  readonly highest: number;
  readonly holes: readonly (readonly [number, number])[];
}

export interface LineAnswer {
  readonly line: number;
  readonly id: string | null;
  readonly hash: string;
  readonly status: "stored" | "duplicate" | "quarantined";
  readonly reason: string | null;
}

export interface BatchReply {
  readonly records: readonly LineAnswer[];
  readonly held: readonly Held[];
  readonly missing_photos: readonly string[];
  readonly server_time: string;
  readonly store_generation: string;
}

export interface RecordsPage {
  readonly lines: readonly string[];
  readonly next: string;
  readonly more: boolean;
  readonly store_generation: string;
  readonly server_time: string;
}

/** Something the office should know. The phone repeats an event until a report is answered; the same `id` again changes nothing. */
export interface PhoneEvent {
  readonly id: string;
  readonly kind: "edition-refused" | "self-test-failed" | "witness-alarm" | "install-failed" | "storage-full" | "write-failed" | "fault";
  readonly wall: string;
  readonly text: string;
  readonly edition?: string | null;
}

export interface PhoneReport {
  readonly app: string;
  readonly edition: string | null;
  readonly heads: readonly Head[];
  readonly unsent: number;
  readonly unsent_photos: number;
  readonly persisted: boolean | null;
  readonly standalone: boolean | null;
  readonly platform?: string;
  readonly events?: readonly PhoneEvent[];
}

export interface ReportReply {
  readonly held: readonly Held[];
  readonly missing_photos: readonly string[];
  readonly server_time: string;
  readonly store_generation: string;
}

export interface PhotoParts {
  readonly complete: boolean;
  readonly parts: readonly number[];
}

export interface PhotoCommit {
  readonly size: number;
  readonly mime: "image/jpeg" | "image/png" | "image/webp" | "image/heic";
}
