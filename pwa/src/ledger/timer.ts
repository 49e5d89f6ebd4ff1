/**
 * A timed step that survives sleep. A phone stops its programs when its screen goes off, and the
 * monotonic clock with them, so the time that passed comes from the wall clock; what the app did
 * not see, and a wall clock that was set meanwhile, are kept beside it.
 *
 * All functions are pure; times in ms.
 */
import type { RunningTimer } from "./schema.ts";

/** Longer between two looks than this, and the app was not watching. */
const GAP_MS = 5000;
/** Clocks that go apart by more than this while the app watches: one of them was set. */
const DRIFT_MS = 2000;

export interface Look {
  wall: number;
  mono: number;
  /** Made anew at each start of the app: `mono` of two sessions cannot be compared. */
  session: string;
  /** The screen has shown the app ever since the look before. */
  shown: boolean;
}

export interface Elapsed {
  elapsedMs: number;
  asleepMs: number;
  clockChanged: boolean;
  observed: boolean;
}

/** The timer after one more look at both clocks; to be called about once a second. */
export function look(timer: RunningTimer, now: Look): RunningTimer {
  const wallMs = now.wall - timer.seenWall;
  const monoMs = now.mono - timer.seenMono;
  const seen = { ...timer, seenWall: now.wall, seenMono: now.mono, session: now.session };
  const watched = now.session === timer.session && now.shown && monoMs <= GAP_MS;
  if (wallMs < 0 || (watched && Math.abs(wallMs - monoMs) > DRIFT_MS)) {
    // Without a monotonic reading to go by, the time of a clock set back is not known.
    const passed = now.session === timer.session ? monoMs : 0;
    return { ...seen, jumpedMs: timer.jumpedMs + wallMs - passed };
  }
  if (watched) return seen;
  return wallMs > GAP_MS ? { ...seen, asleepMs: timer.asleepMs + wallMs } : seen;
}

/** What the timer says at its last look. */
export function elapsed(timer: RunningTimer): Elapsed {
  const { startedWall, seenWall, asleepMs, jumpedMs } = timer;
  const clockChanged = jumpedMs !== 0;
  return {
    elapsedMs: Math.max(0, seenWall - startedWall - jumpedMs),
    ...{ asleepMs, clockChanged },
    observed: asleepMs === 0 && !clockChanged,
  };
}
