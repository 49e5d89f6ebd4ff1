/** Pictures as bytes: which kind they are, and a JPEG without what its camera wrote into it. */
import type { Photo } from "./generated/records.ts";

const ascii = (bytes: Uint8Array, from: number, to: number): string =>
  String.fromCharCode(...bytes.subarray(from, to));

/** By the first bytes, as the office looks at them; null for anything but a picture it takes. */
export function sortOf(bytes: Uint8Array): Photo["mime"] | null {
  if (bytes[0] === 0xff && bytes[1] === 0xd8 && bytes[2] === 0xff) return "image/jpeg";
  if (ascii(bytes, 0, 8) === "\x89PNG\r\n\x1a\n") return "image/png";
  if (ascii(bytes, 0, 4) === "RIFF" && ascii(bytes, 8, 12) === "WEBP") return "image/webp";
  const heic = ["heic", "heix", "mif1", "heim", "heis"].includes(ascii(bytes, 8, 12));
  return ascii(bytes, 4, 8) === "ftyp" && heic ? "image/heic" : null;
}

/** A JPEG without the segments in which cameras write time, place and owner. Others as they are. */
export function withoutNotes(bytes: Uint8Array<ArrayBuffer>): Uint8Array<ArrayBuffer> {
  if (sortOf(bytes) !== "image/jpeg") return bytes;
  const kept: Uint8Array[] = [bytes.subarray(0, 2)];
  let at = 2;
  while (bytes[at] === 0xff && at + 4 <= bytes.length) {
    const marker = bytes[at + 1]!;
    const end = at + 2 + (bytes[at + 2]! << 8) + bytes[at + 3]!;
    // From the scan on there are no more segments; what is cut off is not touched.
    if (marker === 0xda || end > bytes.length) break;
    const notes = marker === 0xe1 || marker === 0xed || marker === 0xfe;
    if (!notes) kept.push(bytes.subarray(at, end));
    at = end;
  }
  kept.push(bytes.subarray(at));
  const whole = new Uint8Array(kept.reduce((sum, { length }) => sum + length, 0));
  let place = 0;
  for (const part of kept) {
    whole.set(part, place);
    place += part.length;
  }
  return whole;
}
