/** The way out when nothing else works: a file with all that the office has not. */
import type { Ledger } from "./ledger.ts";
import type { Photos } from "./photos.ts";

/** A line of the file that holds a photo; its hash is that of the bytes. */
export interface PhotoLine {
  photo: string;
  mime: string;
  size: number;
  base64: string;
}

/** Bytes that become letters at once: a multiple of three, and few enough for one call. */
const AT_ONCE = 3 * 8192;
/** The office takes 32 MiB at once; letters of other scripts are longer than one byte. */
const MOST_LETTERS = 24_000_000;

/** One record a line, the bytes as they were written; what the office takes in as it is. */
export function unsentLines(ledger: Ledger): string[] {
  return ledger.entries
    .filter(({ stored }) => stored.waiting !== undefined || stored.parked !== undefined)
    .map(({ stored }) => `${stored.line}\n`);
}

/** One photo a line, after the records that name them. */
export async function unsentPhotoLines(photos: Photos): Promise<string[]> {
  const lines: string[] = [];
  for (const { hash, size } of await photos.waiting()) {
    const found = await photos.bytes(hash);
    if (!found) continue;
    const bytes = new Uint8Array(size);
    let at = 0;
    for (const part of found.parts) {
      bytes.set(new Uint8Array(part), at);
      at += part.byteLength;
    }
    const line: PhotoLine = { photo: hash, mime: found.mime, size, base64: base64(bytes) };
    lines.push(`${JSON.stringify(line)}\n`);
  }
  return lines;
}

/** As many files as it takes for the office to take in each. */
export function inFiles(lines: readonly string[], most = MOST_LETTERS): string[][] {
  const files: string[][] = [[]];
  let letters = 0;
  for (const line of lines) {
    if (letters > 0 && letters + line.length > most) {
      files.push([]);
      letters = 0;
    }
    files.at(-1)!.push(line);
    letters += line.length;
  }
  return files;
}

export function exportName(now: Date, part = 1, of = 1): string {
  const time = now.toISOString().slice(0, 19).replaceAll(":", "");
  return `kneewall-unsent-${time}${of > 1 ? `-${part}-of-${of}` : ""}.txt`;
}

function base64(bytes: Uint8Array): string {
  let text = "";
  for (let from = 0; from < bytes.length; from += AT_ONCE) {
    text += btoa(String.fromCharCode(...bytes.subarray(from, from + AT_ONCE)));
  }
  return text;
}
