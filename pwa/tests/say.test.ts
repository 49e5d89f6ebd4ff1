import assert from "node:assert/strict";
import { test } from "node:test";
import type { Bundle } from "../src/generated/bundle.ts";
import { Unknown } from "../src/engine/index.ts";
import { lower } from "../src/words/shape.ts";
import {
  sayAmended,
  sayFilled,
  sayParts,
  sayReplaced,
  sayUnknown,
  sayValue,
} from "../src/parts/say.ts";
import type { Speaker } from "../src/parts/say.ts";

const bundle = {
  packs: [
    { id: "trade", rank: "trade", title: "Trade rules" },
    { id: "ours", rank: "house", title: "Our shop" },
  ],
  quantities: [
    { id: "hold.least", label: "Least hold" },
    { id: "hold.readings", label: "Readings", columns: [{ name: "time", unit: "min" }] },
  ],
  units: { min: { scale: 60, label: "min" } },
  tables: [{ id: "line_sets", label: "Line sets" }],
  choices: {},
} as unknown as Bundle;
const to: Speaker = {
  ...{ bundle, system: "ip" as const, labelOf: () => "" },
  quantity: (id) => bundle.quantities.find((each) => each.id === id) ?? null,
};
const because = "The county asks for it.";

test("what a later pack changed names the pack, the thing and the reason", () => {
  const said = (id: string): string => sayAmended(to, { id, pack: "ours", because });
  assert.equal(said("hold.least"), `Changed by Our shop, Least hold: ${because}`);
  assert.equal(said("line_sets"), `Changed by Our shop, Line sets: ${because}`);
  assert.equal(said("line_sets 3"), `Changed by Our shop, Line sets, row 3: ${because}`);
});

test("a check, step or caution as it was first written says nothing", () => {
  assert.equal(sayReplaced(bundle, { pack: "trade" }), "");
  const replaced = { pack: "trade", because };
  assert.equal(sayReplaced(bundle, { pack: "ours", replaced }), `Changed by Our shop: ${because}`);
});

test("a formula filled in names what is unknown, and says nothing where no part of it is decided", () => {
  const value = new Unknown("missing", { code: "missing" });
  const parts = ["2 × ", { id: "hold.least", value }];
  assert.equal(sayFilled(to, parts), "2 × Least hold?");
  // In a message the sentence goes on.
  assert.equal(sayParts(to, parts), "2 × (not known)");
  assert.equal(sayFilled(to, ["?"]), "");
});

test("before and after what was read the end of it is named", () => {
  const said = (code: "below" | "above", edge: number): string =>
    sayUnknown(to, new Unknown("outside", { code, quantity: "hold.readings", edge }));
  assert.equal(said("below", 0), "Below the first entry of Readings, 0 min");
  assert.equal(said("above", 720), "Past the last entry of Readings, 12 min");
});

test("a list is its entries, and one without any says so", () => {
  const texts = { id: "kits", label: "Kits", type: "texts" as const };
  assert.equal(sayValue(to, texts, ["KIT-05", "KIT-08"]).text, "KIT-05, KIT-08");
  assert.equal(sayValue(to, texts, []).text, "none");
});

test("a title inside a sentence keeps the abbreviation it begins with", () => {
  assert.equal(lower("Read the hold"), "read the hold");
  assert.equal(lower("Élan"), "élan");
  for (const title of ["DC bus voltage", "R-32 in the room", "MERV of the filter"])
    assert.equal(lower(title), title);
});
