import assert from "node:assert/strict";
import { test } from "node:test";
import { pathOf, routeOf } from "../src/routes.ts";
import type { Route } from "../src/routes.ts";

const visit = "55555555-5555-4555-8555-555555555555";
const routes: Route[] = [
  { at: "visits" },
  { at: "new-visit" },
  { at: "visit", visit },
  { at: "checklist", visit, checklist: "walk" },
  { at: "step", visit, checklist: "walk", step: "sides" },
  { at: "sign", visit },
  { at: "sign", visit, checklist: "walk", step: "name" },
  { at: "calculators" },
  { at: "calculators", visit },
  { at: "calculator", calculator: "gap" },
  { at: "calculator", calculator: "gap", visit, member: "a,b" },
  { at: "result", calculator: "gap", quantity: "gap.found" },
  { at: "result", calculator: "gap", quantity: "gap.found", visit, member: "a" },
  { at: "phone" },
  { at: "parked" },
  { at: "log" },
  { at: "handbook" },
  { at: "handbook", chapter: "voltage-drop" },
  { at: "enrol" },
];

for (const route of routes) {
  test(`the address of ${route.at} ${Object.keys(route).length} leads back to it`, () => {
    const { pathname, search } = new URL(pathOf(route), "http://phone");
    assert.deepEqual(routeOf({ pathname, search }), route);
  });
}

test("any other address is nowhere, and none fails", () => {
  for (const pathname of ["/nothing", "/visits", `/visits/${visit}/what`, "/%E0%A4%A"]) {
    assert.deepEqual(routeOf({ pathname, search: "" }), { at: "nowhere" });
  }
});
