import assert from "node:assert/strict";
import { test } from "node:test";
import { parseReading, plainly, showValue } from "../src/bundle/reading.ts";
import type { Bundle, Quantity, Value } from "../src/generated/bundle.ts";

const TEMPERATURE = "temperature";
const DIFFERENCE = "temperature difference";

const BUNDLE: Bundle = {
  ...{ packs: [], collections: {}, sources: {}, quantities: [], tables: [] },
  ...{ checks: [], calculators: [] },
  units: {
    m: { scale: 1, dimension: "length", system: "si", partner: "ft", label: "m" },
    ft: {
      ...{ scale: 0.3048, dimension: "length", system: "ip", partner: "m", label: "ft" },
      spellings: ["foot", "feet", "′"],
    },
    in: { scale: 0.0254, dimension: "length", system: "ip", partner: "mm", label: "in" },
    mm: { scale: 0.001, dimension: "length", system: "si", partner: "in", label: "mm" },
    µm: { scale: 1e-6, dimension: "length", system: "si", label: "µm" },
    W: { scale: 1, dimension: "power", label: "W" },
    mW: { scale: 1e-3, dimension: "power", label: "mW" },
    MW: { scale: 1e6, dimension: "power", label: "MW" },
    min: { scale: 60, dimension: "time", label: "min" },
    percent: { scale: 0.01, kind: "share", label: "%" },
    K: { scale: 1, dimension: "temperature", kind: "absolute", label: "K" },
    degF: {
      ...{ scale: 5 / 9, offset: 45967 / 180, dimension: "temperature", kind: TEMPERATURE },
      ...{ point: true, system: "ip", partner: "degC", label: "°F" },
    },
    degC: {
      ...{ scale: 1, offset: 273.15, dimension: "temperature", kind: TEMPERATURE },
      ...{ point: true, system: "si", partner: "degF", label: "°C" },
    },
    delta_degF: {
      ...{ scale: 5 / 9, dimension: "temperature", kind: DIFFERENCE, system: "ip" },
      ...{ partner: "delta_degC", label: "°F" },
    },
    delta_degC: {
      ...{ scale: 1, dimension: "temperature", kind: DIFFERENCE, system: "si" },
      ...{ partner: "delta_degF", label: "°C" },
    },
    psi: {
      ...{
        scale: 6894.75729317,
        dimension: "pressure",
        system: "ip",
        partner: "kPa",
        label: "psi",
      },
    },
    psig: {
      ...{ scale: 6894.75729317, dimension: "pressure", kind: "gauge", system: "ip" },
      label: "psig",
    },
    psia: {
      ...{ scale: 6894.75729317, dimension: "pressure", kind: "absolute", system: "ip" },
      label: "psia",
    },
    kPa: { scale: 1000, dimension: "pressure", system: "si", partner: "psi", label: "kPa" },
  },
  choices: {
    wire: {
      options: [
        { value: "12 AWG", label: "12 AWG", spellings: ["#12"] },
        { value: "10 AWG", label: "Ten", spellings: ["#10"] },
      ],
    },
  },
};

const quantity = (of: Partial<Quantity>): Quantity => ({ id: "t.x", label: "x", ...of });
const LENGTH = quantity({ unit: "ft", limits: [0, 609.6] });
const HEAT = quantity({ unit: "degF", kind: TEMPERATURE, limits: [200, 400] });
const RISE = quantity({ unit: "delta_degF", kind: DIFFERENCE, limits: [-100, 100] });
const GAUGE = quantity({ unit: "psi", kind: "gauge", limits: [-101325, 1e7] });
const BARE = quantity({ limits: [-1e9, 1e9] });

function si(of: Quantity, text: string, unit?: string): Value {
  const read = parseReading(BUNDLE, of, text, unit);
  assert.ok(read.ok, `${text}: ${JSON.stringify(read)}`);
  return read.si;
}

function refusal(of: Quantity, text: string, unit?: string): [string, object] {
  const read = parseReading(BUNDLE, of, text, unit);
  assert.ok(!read.ok, `${text} is taken as ${JSON.stringify(read)}`);
  return [read.code, read.params];
}

const codeOf = (of: Quantity, text: string, unit?: string) => refusal(of, text, unit)[0];

test("a number with point or comma, sign, fraction, power of ten", () => {
  const cases: [string, number][] = [
    ["12.5", 12.5],
    ["12,5", 12.5],
    [" -3 ", -3],
    ["\u22123,25", -3.25],
    ["+ 4", 4],
    [".5", 0.5],
    [",5", 0.5],
    ["5.", 5],
    ["1,2345", 1.2345],
    ["1.234", 1.234],
    ["3/8", 0.375],
    ["1-1/8", 1.125],
    ["1 1/8", 1.125],
    ["-1-1/8", -1.125],
    ["1/3", 0.333333333333],
    ["1e-6", 1e-6],
    ["2.5E+3", 2500],
  ];
  for (const [text, expected] of cases) assert.equal(si(BARE, text), expected, text);
});

test("what could be a grouping is refused with both readings", () => {
  assert.deepEqual(refusal(BARE, "1,234"), ["grouping", { plain: "1234", decimal: "1.234" }]);
  assert.equal(codeOf(BARE, "1,234.5"), "grouping");
  assert.equal(codeOf(BARE, "1.234,5"), "grouping");
});

test("what is no number is refused, never half read", () => {
  for (const text of ["abc", "--3", "-", ".", "1/0", "1e100 000 m"])
    assert.notEqual(parseReading(BUNDLE, LENGTH, text).ok, true, text);
  assert.deepEqual(refusal(BARE, "x"), ["number", { text: "x" }]);
  assert.equal(codeOf(BARE, ""), "empty");
  assert.equal(codeOf(BARE, "1 234"), "unit");
  assert.equal(codeOf(BARE, "3/8/2"), "unit");
});

test("units: any spelling, letter case only where it matters", () => {
  assert.equal(si(LENGTH, "85 ft"), 25.908);
  assert.equal(si(LENGTH, "85 FEET"), 25.908);
  assert.equal(si(LENGTH, "85′"), 25.908);
  assert.equal(si(LENGTH, "85"), 25.908);
  assert.equal(si(LENGTH, "2", "m"), 2);
  assert.equal(si(LENGTH, "2 ft", "m"), 0.6096);
  assert.equal(si(LENGTH, "3/8in"), 0.009525);
  assert.equal(si(LENGTH, "7 \u03bcm"), 7e-6);
  const power = quantity({ unit: "W", limits: [0, 1e9] });
  assert.equal(si(power, "3 MW"), 3e6);
  assert.equal(si(power, "3 mW"), 0.003);
  assert.deepEqual(refusal(power, "3 mw"), ["unit", { text: "mw" }]);
  assert.deepEqual(refusal(LENGTH, "3 W"), ["dimension", { unit: "W", declared: "ft" }]);
  assert.deepEqual(refusal(BARE, "3 W"), ["no-unit", { text: "W" }]);
});

test("a degree is a point or a difference as the quantity decides", () => {
  assert.equal(si(HEAT, "131 °F"), 328.15);
  assert.equal(si(HEAT, "55 °C"), 328.15);
  assert.equal(si(HEAT, "55", "degC"), 328.15);
  assert.equal(si(HEAT, "300 K"), 300);
  assert.equal(si(RISE, "18 °F"), 10);
  assert.equal(si(RISE, "-10 °C"), -10);
  assert.equal(codeOf(HEAT, "18 delta_degF"), "dimension");
});

test("a gauge reading is written psi or psig, never psia", () => {
  assert.equal(si(GAUGE, "100 psig"), 689475.729317);
  assert.equal(si(GAUGE, "100 PSI"), 689475.729317);
  assert.equal(codeOf(GAUGE, "100 psia"), "dimension");
});

test("outside the limits is refused, outside the usual is asked", () => {
  assert.deepEqual(refusal(LENGTH, "2001 ft"), ["limits", { low: 0, high: 609.6, unit: "ft" }]);
  assert.deepEqual(refusal(LENGTH, "700 m"), ["limits", { low: 0, high: 609.6, unit: "m" }]);
  assert.equal(si(LENGTH, "2000 ft"), 609.6);
  const usual = quantity({ unit: "ft", limits: [0, 609.6], usual: [1, 100] });
  const asked = parseReading(BUNDLE, usual, "3 ft");
  assert.deepEqual(asked, { ok: true, si: 0.9144, unit: "ft", ask: true });
  const fine = parseReading(BUNDLE, usual, "10 ft");
  assert.deepEqual(fine, { ok: true, si: 3.048, unit: "ft", ask: false });
});

test("only some values, and only whole ones", () => {
  const volts = quantity({ one_of: [208, 240], limits: [0, 1000] });
  assert.equal(si(volts, "208"), 208);
  assert.equal(codeOf(volts, "220"), "one-of");
  const count = quantity({ type: "count", limits: [0, 10] });
  assert.equal(si(count, "3"), 3);
  assert.equal(codeOf(count, "2.5"), "count");
});

test("choices, flags, dates and texts", () => {
  const wire = quantity({ type: "choice", choices: "wire" });
  assert.equal(si(wire, "12 awg"), "12 AWG");
  assert.equal(si(wire, "ten"), "10 AWG");
  assert.equal(si(wire, " #10 "), "10 AWG");
  assert.deepEqual(refusal(wire, "8 AWG"), ["choice", { text: "8 AWG" }]);
  const flag = quantity({ type: "flag" });
  assert.deepEqual([si(flag, "Yes"), si(flag, "false")], [true, false]);
  assert.equal(codeOf(flag, "maybe"), "flag");
  const day = quantity({ type: "date" });
  assert.equal(si(day, "2024-02-29"), "2024-02-29");
  for (const text of ["2026-02-29", "2026-2-1", "20261125", "25.11.2026", "2026-11-25T00"])
    assert.equal(codeOf(day, text), "date", text);
  assert.equal(si(quantity({ type: "text" }), "  as found "), "as found");
});

test("lists and series", () => {
  const list = quantity({ type: "list", unit: "ft", limits: [0, 100] });
  assert.deepEqual(si(list, "1 ft, 2, 3 m"), [0.3048, 0.6096, 3]);
  assert.deepEqual(si(list, "1,5; 2,5"), [0.4572, 0.762]);
  assert.deepEqual(si(list, "1,5, 2,5,"), [0.4572, 0.762]);
  assert.equal(codeOf(list, "1, x"), "number");
  assert.equal(codeOf(list, "1, 101 m"), "limits");
  const wires = quantity({ type: "list", choices: "wire" });
  assert.deepEqual(si(wires, "#12, ten"), ["12 AWG", "10 AWG"]);
  const columns = [{ name: "time", unit: "min" }, { name: "depth", unit: "in" }]; // prettier-ignore
  const series = quantity({ type: "series", columns, limits: [0, 10] });
  assert.deepEqual(si(series, "0 min: 1 in, 4: 10 mm"), [[0, 0.0254], [240, 0.01]]); // prettier-ignore
  assert.deepEqual(si(series, "4: 10 mm, 0 min: 1 in"), [[0, 0.0254], [240, 0.01]]); // prettier-ignore
  assert.equal(codeOf(series, "0: 1, 2"), "series");
  assert.equal(codeOf(series, "4: 1, 4: 2"), "series-twice");
  assert.equal(codeOf(series, "0: 1 degF"), "dimension");
});

test("a value is shown in the person's system", () => {
  const show = (of: Quantity, value: Value, wanted?: string) =>
    plainly(showValue(BUNDLE, of, value, wanted));
  assert.equal(show(LENGTH, 25.908), "85 ft");
  assert.equal(show(LENGTH, 25.908, "si"), "25.91 m");
  assert.equal(show(LENGTH, 25.908, "in"), "1020 in");
  assert.equal(show(HEAT, 328.15, "ip"), "131 °F");
  assert.equal(show(HEAT, 328.15, "si"), "55 °C");
  assert.equal(show(HEAT, 244.261111111, "ip"), "\u221220 °F");
  assert.equal(show(quantity({ unit: "percent", kind: "share" }), 0.021), "2.1 %");
  assert.equal(show(BARE, 1234567), "1234567");
  assert.equal(show(BARE, 0.000012346), "0.00001235");
  assert.equal(show(BARE, 0), "0");
  assert.equal(show(quantity({ type: "flag" }), true), "yes");
  assert.equal(show(quantity({ type: "choice", choices: "wire" }), "10 AWG"), "Ten");
});

test("declared decimals, in the partner unit as many as its size asks for", () => {
  const fine = quantity({ unit: "in", decimals: 2 });
  assert.deepEqual(showValue(BUNDLE, fine, 0.0127), { text: "0.50", unit: "in" });
  assert.deepEqual(showValue(BUNDLE, fine, 0.0127, "si"), { text: "12.7", unit: "mm" });
  assert.deepEqual(showValue(BUNDLE, fine, 0.0127, "ft"), { text: "0.042", unit: "ft" });
  const whole = quantity({ decimals: 0 });
  assert.equal(showValue(BUNDLE, whole, 2.5).text, "3");
  assert.equal(showValue(BUNDLE, whole, -2.5).text, "\u22123");
  assert.equal(showValue(BUNDLE, whole, -0.4).text, "0");
});

test("lists and series are shown as they are typed", () => {
  const list = quantity({ type: "list", unit: "ft", limits: [0, 100] });
  const shown = showValue(BUNDLE, list, [0.3048, 0.762], "ip");
  assert.deepEqual(shown, { text: "1, 2.5", unit: "ft" });
  assert.deepEqual(si(list, shown.text), [0.3048, 0.762]);
  const columns = [{ name: "time", unit: "min" }, { name: "depth", unit: "in" }]; // prettier-ignore
  const series = quantity({ type: "series", columns });
  const points = [[0, 0.0254], [240, 0.0127]]; // prettier-ignore
  const text = showValue(BUNDLE, series, points, "ip").text;
  assert.equal(text, "0 min: 1 in, 4 min: 0.5 in");
  assert.deepEqual(si(series, text), points);
});
