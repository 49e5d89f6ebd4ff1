/** A calculator of 27 formulas, once as a bundle and once by hand. Its figures only give both the same work. */

import type { Bundle, Expr } from "../../../pwa/src/generated/bundle.ts";

const BORES = [
  [15, 16.1], [20, 21.7], [25, 27.3], [32, 36], [40, 41.9], [50, 53.1], [65, 68.9], [80, 80.9],
  [100, 105.3],
] as const; // prettier-ignore
const WARMTHS = [0, 20, 40, 60, 80, 100];
const SHARES = [0, 15, 30, 45];
const VISCOSITIES = [
  [1.79, 2.95, 4.9, 8.6],
  [1, 1.62, 2.5, 4.1],
  [0.65, 1, 1.5, 2.3],
  [0.47, 0.69, 1, 1.45],
  [0.35, 0.51, 0.72, 1.01],
  [0.28, 0.4, 0.55, 0.75],
];

const ENTERED = [
  "power", "spread", "warmth", "share", "size", "length", "zeta", "roughness", "efficiency",
  "hours", "tariff",
] as const; // prettier-ignore
export type Inputs = Record<(typeof ENTERED)[number], number>;

const DERIVED: readonly (readonly [string, (q: (name: string) => Expr) => Expr])[] = [
  ["bore", (q) => ["/", ["row", 0, 0, 1, 0, q("size")], 1000]],
  ["area", (q) => ["*", 0.785398163397, ["**", q("bore"), 2]]],
  ["density", (q) => ["+", ["-", 1000.6, ["*", 0.0128, ["**", q("warmth"), 1.76]]], ["*", 1.05, q("share")]]],
  ["heat", (q) => ["+", ["-", 4180, ["*", 11.5, q("share")]], ["*", 0.6, q("warmth")]]],
  ["viscosity", (q) => ["/", ["interp", 1, 0, 2, 0, q("warmth"), 1, q("share")], 1000]],
  ["mass_flow", (q) => ["/", ["*", q("power"), 1000], ["*", q("heat"), q("spread")]]],
  ["flow", (q) => ["/", q("mass_flow"), q("density")]],
  ["flow_hourly", (q) => ["*", q("flow"), 3600000]],
  ["velocity", (q) => ["/", q("flow"), q("area")]],
  ["reynolds", (q) => ["/", ["*", ["*", q("density"), q("velocity")], q("bore")], q("viscosity")]],
  ["relative", (q) => ["/", ["/", q("roughness"), 1000], q("bore")]],
  ["laminar", (q) => ["/", 64, q("reynolds")]],
  ["turbulent", (q) => ["**", ["*", -1.8, ["log10", ["+", ["**", ["/", q("relative"), 3.7], 1.11], ["/", 6.9, q("reynolds")]]]], -2]],
  ["friction", (q) => ["if", 0, ["<", q("reynolds"), 2300], q("laminar"),
    ["if", 1, [">", q("reynolds"), 4000], q("turbulent"),
      ["+", q("laminar"), ["/", ["*", ["-", q("turbulent"), q("laminar")], ["-", q("reynolds"), 2300]], 1700]]]]],
  ["dynamic", (q) => ["/", ["*", q("density"), ["**", q("velocity"), 2]], 2]],
  ["gradient", (q) => ["*", ["/", q("friction"), q("bore")], q("dynamic")]],
  ["pipe_drop", (q) => ["*", q("gradient"), q("length")]],
  ["fitting_drop", (q) => ["*", q("zeta"), q("dynamic")]],
  ["drop", (q) => ["+", q("pipe_drop"), q("fitting_drop")]],
  ["head", (q) => ["/", q("drop"), ["*", q("density"), 9.80665]]],
  ["hydraulic", (q) => ["*", q("drop"), q("flow")]],
  ["electric", (q) => ["/", q("hydraulic"), q("efficiency")]],
  ["energy", (q) => ["/", ["*", q("electric"), q("hours")], 1000]],
  ["cost", (q) => ["*", q("energy"), q("tariff")]],
  ["volume", (q) => ["*", ["*", q("area"), q("length")], 1000]],
  ["most_velocity", (q) => ["if", 0, ["<", q("bore"), 0.05], 1, 1.5]],
  ["verdict", (q) => ["if", 0, [">", q("velocity"), q("most_velocity")], 0, ["if", 1, [">", q("gradient"), 250], 1, 2]]],
]; // prettier-ignore

export const OUTPUTS = DERIVED.map(([name]) => name);
export const VERDICTS = ["too fast", "high loss", "ok"];

const source = { of: "demo" };
const column = (name: string) => ({ name });

export function bundle(): Bundle {
  const names = [...ENTERED, ...OUTPUTS];
  const q = (name: string): Expr => ["q", names.indexOf(name)];
  const slots = (tree: Expr): number[] =>
    typeof tree !== "object"
      ? []
      : tree[0] === "q"
        ? [tree[1] as number]
        : [...new Set(tree.flatMap(slots))];
  const traces = (tree: Expr): number =>
    typeof tree !== "object"
      ? 0
      : tree.reduce<number>(
          (sum, part) => sum + traces(part),
          ["if", "row", "interp"].includes(String(tree[0])) ? 1 : 0,
        );
  const grid = WARMTHS.flatMap((warmth, i) =>
    SHARES.map((share, j) => [warmth, share, VISCOSITIES[i]?.[j] as number] as const),
  );
  return {
    packs: [],
    units: {},
    choices: { verdicts: { options: VERDICTS.map((value) => ({ value, label: value })) } },
    collections: {},
    sources: {},
    quantities: [
      ...ENTERED.map((id) => ({ id, label: id, limits: [0, 1e5] as const })),
      ...DERIVED.map(([id, formula]) => ({
        id,
        label: id,
        ...(id === "verdict"
          ? { type: "choice" as const, choices: "verdicts" }
          : { limits: [-1e12, 1e12] as const }),
        tree: formula(q),
        inputs: slots(formula(q)),
        traces: traces(formula(q)),
      })),
    ],
    order: names.map((_, slot) => slot),
    tables: [
      {
        id: "bores",
        columns: [column("size"), column("bore")],
        keys: [0],
        cells: [0, 1].map((k) => BORES.map((row) => row[k] as number)),
        source,
      },
      {
        id: "viscosities",
        columns: [column("warmth"), column("share"), column("viscosity")],
        keys: [0, 1],
        cells: [0, 1, 2].map((k) => grid.map((row) => row[k] as number)),
        source,
      },
    ],
    checks: [],
    calculators: [],
  };
}

const BORE_OF = new Map<number, number>(BORES);

function viscosity(x: number, y: number): number {
  if (!(x >= 0 && x <= 100 && y >= 0 && y <= 45)) throw new RangeError("outside the table");
  let [i, j] = [0, 0];
  while (i < WARMTHS.length - 2 && x > (WARMTHS[i + 1] as number)) i++;
  while (j < SHARES.length - 2 && y > (SHARES[j + 1] as number)) j++;
  const u = (x - (WARMTHS[i] as number)) / 20;
  const v = (y - (SHARES[j] as number)) / 15;
  const [low, high] = [VISCOSITIES[i] as number[], VISCOSITIES[i + 1] as number[]];
  const at = (z: number[]) => (z[j] as number) + ((z[j + 1] as number) - (z[j] as number)) * v;
  return at(low) + (at(high) - at(low)) * u;
}

/** The same by hand, without a trace, without refusals: what could be had at best. */
export function byHand(s: Inputs): Record<string, number | string> {
  const bore = (BORE_OF.get(s.size) as number) / 1000;
  const area = 0.785398163397 * bore * bore;
  const density = 1000.6 - 0.0128 * s.warmth ** 1.76 + 1.05 * s.share;
  const heat = 4180 - 11.5 * s.share + 0.6 * s.warmth;
  const mu = viscosity(s.warmth, s.share) / 1000;
  const mass_flow = (s.power * 1000) / (heat * s.spread);
  const flow = mass_flow / density;
  const flow_hourly = flow * 3600000;
  const velocity = flow / area;
  const reynolds = (density * velocity * bore) / mu;
  const relative = s.roughness / 1000 / bore;
  const laminar = 64 / reynolds;
  const turbulent = (-1.8 * Math.log10((relative / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2;
  const friction =
    reynolds < 2300
      ? laminar
      : reynolds > 4000
        ? turbulent
        : laminar + ((turbulent - laminar) * (reynolds - 2300)) / 1700;
  const dynamic = (density * velocity ** 2) / 2;
  const gradient = (friction / bore) * dynamic;
  const pipe_drop = gradient * s.length;
  const fitting_drop = s.zeta * dynamic;
  const drop = pipe_drop + fitting_drop;
  const head = drop / (density * 9.80665);
  const hydraulic = drop * flow;
  const electric = hydraulic / s.efficiency;
  const energy = (electric * s.hours) / 1000;
  const cost = energy * s.tariff;
  const volume = area * s.length * 1000;
  const most_velocity = bore < 0.05 ? 1 : 1.5;
  const verdict = velocity > most_velocity ? "too fast" : gradient > 250 ? "high loss" : "ok";
  return {
    bore, area, density, heat, viscosity: mu, mass_flow, flow, flow_hourly, velocity, reynolds,
    relative, laminar, turbulent, friction, dynamic, gradient, pipe_drop, fitting_drop, drop, head,
    hydraulic, electric, energy, cost, volume, most_velocity, verdict,
  }; // prettier-ignore
}

/** Inputs from a fixed generator, as typed: a few digits. */
export function cases(count: number): Inputs[] {
  let seed = 20261125;
  const random = () => (seed = (Math.imul(seed, 1103515245) + 12345) & 0x7fffffff) / 0x80000000;
  const between = (low: number, high: number) =>
    Number((low + random() * (high - low)).toPrecision(5));
  return Array.from({ length: count }, () => ({
    power: between(1, 60),
    spread: between(5, 20),
    warmth: between(5, 95),
    share: between(0, 45),
    size: BORES[Math.floor(random() * BORES.length)]?.[0] as number,
    length: between(5, 85),
    zeta: between(2, 22),
    roughness: between(0.0015, 0.05),
    efficiency: between(0.3, 0.7),
    hours: between(500, 6500),
    tariff: between(0.1, 0.4),
  }));
}
