import assert from "node:assert/strict";
import { test } from "node:test";
import type { RunningTimer } from "../src/ledger/schema.ts";
import { elapsed, look } from "../src/ledger/timer.ts";
import type { Look } from "../src/ledger/timer.ts";

const START = Date.UTC(2026, 10, 25, 12);
const MINUTE = 60_000;

function started(): RunningTimer {
  return {
    ...{ timer: "t", visit: "v", checklist: "c", step: "s", quantity: null, member: null },
    ...{ targetS: null, startedWall: START, session: "one", seenWall: START, seenMono: 0 },
    ...{ asleepMs: 0, jumpedMs: 0 },
  };
}

/** Looks once a second for `ms`, with both clocks going as fast as they should. */
function watch(timer: RunningTimer, ms: number): RunningTimer {
  for (let passed = 0; passed < ms; passed += 1000) {
    timer = look(timer, {
      ...{ wall: timer.seenWall + 1000, mono: timer.seenMono + 1000 },
      ...{ session: timer.session, shown: true },
    });
  }
  return timer;
}

function after(
  timer: RunningTimer,
  change: Partial<Look> & { wallMs: number; monoMs: number },
): RunningTimer {
  const { wallMs, monoMs, session = timer.session, shown = true } = change;
  return look(timer, {
    wall: timer.seenWall + wallMs,
    mono: timer.seenMono + monoMs,
    session,
    shown,
  });
}

test("a timer that was watched all the time says so", () => {
  assert.deepEqual(elapsed(watch(started(), 10 * MINUTE)), {
    ...{ elapsedMs: 10 * MINUTE, asleepMs: 0, clockChanged: false, observed: true },
  });
});

test("half an hour of sleep counts, and is kept as sleep, whether the monotonic clock slept too or not", () => {
  for (const monoMs of [0, 30 * MINUTE]) {
    const slept = after(watch(started(), MINUTE), { wallMs: 30 * MINUTE, monoMs, shown: false });
    assert.deepEqual(elapsed(watch(slept, MINUTE)), {
      ...{ elapsedMs: 32 * MINUTE, asleepMs: 30 * MINUTE, clockChanged: false, observed: false },
    });
  }
});

test("a restart of the app is a gap like sleep", () => {
  const again = after(watch(started(), MINUTE), {
    wallMs: 5 * MINUTE,
    monoMs: -50_000,
    session: "two",
  });
  assert.deepEqual(elapsed(again), {
    ...{ elapsedMs: 6 * MINUTE, asleepMs: 5 * MINUTE, clockChanged: false, observed: false },
  });
});

test("a clock set while the app watches is noticed and does not count", () => {
  for (const jump of [24 * 60 * MINUTE, -24 * 60 * MINUTE, 5 * MINUTE]) {
    const set = after(watch(started(), MINUTE), { wallMs: jump + 1000, monoMs: 1000 });
    assert.deepEqual(elapsed(watch(set, MINUTE)), {
      ...{ elapsedMs: 2 * MINUTE + 1000, asleepMs: 0, clockChanged: true, observed: false },
    });
  }
});

test("a clock set back while the app was away is noticed too", () => {
  const set = after(watch(started(), MINUTE), { wallMs: -10 * MINUTE, monoMs: 0, session: "two" });
  const { clockChanged, elapsedMs } = elapsed(set);
  assert.equal(clockChanged, true);
  assert.equal(elapsedMs, MINUTE);
});

test("a second's stutter is nothing", () => {
  const stuttered = after(watch(started(), MINUTE), { wallMs: 1900, monoMs: 1000 });
  assert.equal(elapsed(stuttered).observed, true);
});
