import assert from "node:assert/strict";
import { test } from "node:test";
import { sortOf, withoutNotes } from "../src/picture.ts";

const bytes = (...parts: (string | number[])[]): Uint8Array<ArrayBuffer> =>
  new Uint8Array(
    parts.flatMap((part) =>
      typeof part === "string" ? [...part].map((each) => each.charCodeAt(0)) : part,
    ),
  );
const segment = (marker: number, content: string): Uint8Array<ArrayBuffer> =>
  bytes([0xff, marker, 0, content.length + 2], content);
const joined = (...parts: Uint8Array[]): Uint8Array<ArrayBuffer> =>
  new Uint8Array(parts.flatMap((part) => [...part]));

const start = bytes([0xff, 0xd8]);
const size = segment(0xc0, "eight by eight");
const scan = joined(segment(0xda, "ab"), bytes([1, 2, 0xff, 0xe1, 0, 4, 9, 9, 0xff, 0xd9]));

test("a picture is known by its first bytes", () => {
  assert.equal(sortOf(joined(start, size)), "image/jpeg");
  assert.equal(sortOf(bytes("\x89PNG\r\n\x1a\n", [0])), "image/png");
  assert.equal(sortOf(bytes("RIFF", [0, 0, 0, 0], "WEBPVP8 ")), "image/webp");
  assert.equal(sortOf(bytes([0, 0, 0, 24], "ftypheic")), "image/heic");
  assert.equal(sortOf(bytes("<svg>")), null);
  assert.equal(sortOf(bytes("")), null);
});

test("what a camera wrote into a JPEG goes, the picture stays byte for byte", () => {
  const notes = [
    segment(0xe1, "Exif: where it was taken"),
    segment(0xed, "whose"),
    segment(0xfe, "x"),
  ];
  const found = withoutNotes(
    joined(start, notes[0]!, segment(0xe0, "JFIF"), ...notes.slice(1), size, scan),
  );
  assert.deepEqual([...found], [...joined(start, segment(0xe0, "JFIF"), size, scan)]);
});

test("what is no whole JPEG is left as it is", () => {
  const cut = joined(start, segment(0xe0, "JFIF"), bytes([0xff, 0xe1, 9, 9], "cut off"));
  assert.deepEqual([...withoutNotes(cut)], [...cut]);
  const png = bytes("\x89PNG\r\n\x1a\n", [0xff, 0xe1]);
  assert.equal(withoutNotes(png), png);
});
