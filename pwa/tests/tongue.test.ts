import assert from "node:assert/strict";
import test from "node:test";
import { inTongue, isEnglish } from "../src/bundle/tongue.ts";
import { Engine, Unknown } from "../src/engine/index.ts";
import { parseReading, showValue } from "../src/bundle/reading.ts";
import type { Bundle } from "../src/generated/bundle.ts";
import { FORMAT } from "../src/generated/bundle.ts";
import { en } from "../src/words/en.ts";
import { es } from "../src/words/es.ts";

const source = { of: "demo" };
const bundle: Bundle = {
  format: FORMAT,
  ...{ packs: [], units: {}, collections: {}, sources: {}, tables: [] },
  choices: {
    metal: {
      options: [
        { value: "copper", label: "Copper" },
        { value: "tin", label: "Tinned" },
      ],
    },
  },
  quantities: [
    { id: "wire.metal", label: "Metal of the wire", type: "choice", choices: "metal" },
    { id: "wire.size", label: "Size", tree: ["na", "No wire here"], source },
  ],
  checks: [
    {
      ...{ id: "wire.right", label: "Wire", source },
      says: { pass: [["q", 0], " is right."], fail: [["q", 0], " is wrong here."] },
      fail: ["==", ["q", 0], 1],
    },
  ],
  calculators: [],
  words: {
    es: {
      texts: {
        "choices/metal/values/copper": "Cobre",
        "checks/wire.right/says/pass": ["Con ", ["q", 0], " está bien."],
        "reasons/No wire here": "Aquí no hay conductor",
      },
    },
  },
};
const spanish = inTongue(bundle, "es");
const metal = spanish.quantities[0]!;

test("a text is said in the other language, one without words as it is", () => {
  assert.equal(showValue(spanish, metal, "copper").text, "Cobre");
  assert.equal(metal.label, "Metal of the wire");
  assert.ok(isEnglish("Metal of the wire"));
  assert.ok(isEnglish("Tinned is wrong here."));
  assert.ok(!isEnglish("Con Cobre está bien."));
  assert.equal(inTongue(bundle, "en"), bundle);
  assert.equal(inTongue({ ...bundle, words: {} }, "es").quantities[0]!.label, metal.label);
});

test("a choice is still understood in English, and means the same", () => {
  for (const text of ["Cobre", "copper", "Copper"]) {
    const read = parseReading(spanish, metal, text);
    assert.ok(read.ok && read.si === "copper");
  }
});

test("verdict and reason come out of the engine in the other language", () => {
  const answer = new Engine(spanish).evaluate({ "wire.metal": "copper" }, {});
  const [check] = answer.checks(["wire.right"]);
  assert.equal(check?.verdict, "pass");
  assert.equal(check?.pieces[0], "Con ");
  const value = answer.value("wire.size");
  assert.ok(value instanceof Unknown && value.detail.code === "says");
  assert.equal(value.detail.text, "Aquí no hay conductor");
});

test("both languages of the app say a day, and a topic without words as it is", () => {
  assert.equal(en.date("2026-11-25"), "25 Nov 2026");
  assert.equal(es.date("2026-11-25"), "25 nov 2026");
  assert.equal(es.topic("a-new-topic"), "A new topic");
});
