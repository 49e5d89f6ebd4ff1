/**
 * Which record came first: `seq` within one epoch of a device, corrected time between them.
 * The twin of the office's `records/order.py`.
 */
import type { Record as FieldRecord } from "./generated/records.ts";

export interface When {
  /** Corrected time, ms since 1970. */
  corrected: number;
  offsetMin: number;
  /** The device never met the office, or its clock was more than two minutes off. */
  doubtful: boolean;
}

/** Who wrote a record, and when. */
export interface Source {
  record: string;
  device: string;
  when: When;
}

export function when({ at }: FieldRecord): When {
  const offset = at.server_offset_ms;
  return {
    corrected: Date.parse(at.wall) + (offset ?? 0),
    offsetMin: at.offset_min,
    doubtful: offset === null || Math.abs(offset) > 120_000,
  };
}

export function source(record: FieldRecord): Source {
  return { record: record.id, device: record.device, when: when(record) };
}

export function byClock(a: FieldRecord, b: FieldRecord): number {
  return when(a).corrected - when(b).corrected || byText(a.id, b.id);
}

export function byText(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}

/** The last record of each epoch of each device, in order of time; the last one stands. */
export function lastWords<R extends FieldRecord>(records: readonly R[]): R[] {
  const last = new Map<string, R>();
  for (const record of records) {
    const key = `${record.device} ${record.epoch}`;
    const known = last.get(key);
    if (!known || (record.seq - known.seq || byClock(record, known)) > 0) last.set(key, record);
  }
  return [...last.values()].sort(byClock);
}

/** The one that stands; undefined of none. */
export function lastWord<R extends FieldRecord>(records: readonly R[]): R | undefined {
  return lastWords(records).at(-1);
}

/**
 * For showing: by time, and never against the order of an epoch. A record whose clock stands before
 * that of an earlier one of its epoch is put right after it.
 */
export function inOrder<R extends FieldRecord>(records: readonly R[]): R[] {
  const placed: { at: number; record: R }[] = [];
  for (const own of grouped(records, ({ device, epoch }) => `${device} ${epoch}`).values()) {
    let at = -Infinity;
    for (const record of own.sort((a, b) => a.seq - b.seq || byText(a.id, b.id))) {
      at = Math.max(at, when(record).corrected);
      placed.push({ at, record });
    }
  }
  placed.sort(
    (a, b) =>
      a.at - b.at ||
      byText(a.record.device, b.record.device) ||
      byText(a.record.epoch, b.record.epoch) ||
      a.record.seq - b.record.seq ||
      byText(a.record.id, b.record.id),
  );
  return placed.map(({ record }) => record);
}

export function grouped<T>(items: Iterable<T>, key: (item: T) => string): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const item of items) {
    const of = groups.get(key(item));
    if (of) of.push(item);
    else groups.set(key(item), [item]);
  }
  return groups;
}

type Kind = FieldRecord["kind"];

export function ofKind<K extends Kind>(
  records: Iterable<FieldRecord>,
  kind: K,
): Extract<FieldRecord, { kind: K }>[] {
  return [...records].filter(
    (each): each is Extract<FieldRecord, { kind: K }> => each.kind === kind,
  );
}
