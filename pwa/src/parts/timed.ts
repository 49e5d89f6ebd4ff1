/** The timer of a step: computed from clock times, so that sleep and restarts do not stop it. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { TimerState, Visit } from "../book.ts";
import { parseReading } from "../bundle/reading.ts";
import type { View } from "../desk.ts";
import { Unknown } from "../engine/index.ts";
import type { Entry } from "../form.ts";
import type { Quantity, Step } from "../generated/bundle.ts";
import type { Draft } from "../ledger/ledger.ts";
import type { RunningTimer } from "../ledger/schema.ts";
import { elapsed, look } from "../ledger/timer.ts";
import { uuid4 } from "../ledger/uuid.ts";
import { words } from "../words/index.ts";
import { Screen } from "./element.ts";
import { field } from "./field.ts";
import { unitOf } from "./say.ts";

const TICK_MS = 1000;
const SAVE_EVERY_MS = 5000;

export class Timed extends Screen {
  static override properties = {
    ...Screen.properties,
    view: { attribute: false },
    checklist: { attribute: false },
    step: { attribute: false },
    series: { attribute: false },
    running: { state: true },
    reading: { state: true },
    unit: { state: true },
    asked: { state: true },
    stopping: { state: true },
    awake: { state: true },
  };
  declare view: View;
  declare checklist: string;
  declare step: Step;
  declare series: Entry | null;
  declare running: RunningTimer | null;
  declare reading: string;
  declare unit: string | null;
  /** The reading was to be taken and could not be read. */
  declare asked: boolean;
  declare stopping: boolean;
  /** The screen is kept on. */
  declare awake: boolean;
  #ticking: ReturnType<typeof setInterval> | undefined;
  #saved = 0;
  #hidden = false;
  #lock: WakeLockSentinel | null = null;
  #taking = "";

  readonly #visibility = (): void => {
    if (document.visibilityState === "hidden") this.#hidden = true;
    else this.#tick();
  };

  constructor() {
    super();
    this.running = null;
    this.reading = "";
    this.unit = null;
    this.asked = false;
    this.stopping = false;
    this.awake = false;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    document.addEventListener("visibilitychange", this.#visibility);
    this.#ticking = setInterval(() => this.#tick(), TICK_MS);
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    document.removeEventListener("visibilitychange", this.#visibility);
    clearInterval(this.#ticking);
    void this.#lock?.release();
  }

  protected override willUpdate(): void {
    const open = this.#timers().find(({ started, stopped }) => started && !stopped);
    if (open && this.running?.timer !== open.timer) void this.#takeUp(open);
    if (!open && this.running) this.running = null;
  }

  protected override render(): TemplateResult {
    const { running } = this;
    const last = this.#timers()
      .filter(({ stopped }) => stopped)
      .at(-1);
    if (!running) {
      return html`${last ? this.#stopped(last) : nothing}
        <button
          type="button"
          class=${last ? "press wide" : "press wide full"}
          @click=${() => void this.#start()}
        >
          ${last ? words.timed.startAgain : words.timed.start}
        </button>`;
    }
    const { elapsedMs, asleepMs, clockChanged } = elapsed(running);
    const targetMs = (running.targetS ?? 0) * 1000;
    const left = targetMs - elapsedMs;
    return html`<p class="clock" role="timer">${stopwatch(elapsedMs)}</p>
      <p class="sub">
        ${targetMs ? (left > 0 ? words.timed.left(stopwatch(left)) : words.timed.complete) : nothing}
      </p>
      ${asleepMs ? html`<p class="note">${words.timed.asleep(stopwatch(asleepMs))}</p>` : nothing}
      ${clockChanged ? html`<p class="problem">${words.timed.clockChanged}</p>` : nothing}
      <p class="note">${this.awake ? words.timed.awake : words.timed.keepOn}</p>
      ${this.series ? this.#readings(this.series) : nothing}
      ${
        this.stopping && left > 0
          ? html`<p class="problem">${words.timed.early(stopwatch(left))}</p>
              <button type="button" class="press wide" @click=${() => void this.#stop()}>
                ${words.timed.stopEarly}
              </button>
              <button type="button" class="press wide" @click=${() => (this.stopping = false)}>
                ${words.timed.goOn}
              </button>`
          : html`<button
              type="button"
              class="press wide"
              @click=${() => (left > 0 ? (this.stopping = true) : void this.#stop())}
            >
              ${words.timed.stop}
            </button>`
      }`;
  }

  #stopped({ elapsedS, observed, asleepS, clockChanged }: TimerState): TemplateResult {
    return html`<p class="clock">${stopwatch((elapsedS ?? 0) * 1000)}</p>
      <p class="sub">
        ${words.timed.held} ${observed ? words.timed.observed : ""}
        ${asleepS ? words.timed.asleep(stopwatch(asleepS * 1000)) : ""}
        ${clockChanged ? words.timed.clockChanged : ""}
      </p>`;
  }

  /** One figure and one press; the time is taken at the press. */
  #readings(series: Entry): TemplateResult {
    const entry = this.#entry(series);
    const taken = this.#points();
    const set = (_: Entry, text: string, unit?: string): void => {
      this.reading = text;
      this.unit = unit ?? this.unit;
      this.asked = false;
    };
    return html`<div
        @keydown=${(event: KeyboardEvent) => event.key === "Enter" && void this.#take(series)}
      >
        ${field(this.view.to, entry, { offers: [], past: [] }, { set, sure: () => undefined, take: () => undefined })}
      </div>
      <button type="button" class="press wide full" @click=${() => void this.#take(series)}>
        ${words.timed.take}
      </button>
      <p class="note" role="status">
        ${taken.length ? words.timed.taken(taken.length) : words.timed.firstReading}
      </p>`;
  }

  /** The figure of one reading, as a field of its own. */
  #entry({ quantity }: Entry): Entry {
    const { id, label, note = "", limits = null } = quantity;
    const { unit = "" } = quantity.columns?.[1] ?? {};
    const as: Quantity = { ...{ id, label, unit, note }, limits };
    const entry: Entry = {
      ...{ quantity: as, member: null, key: id, text: this.reading, unit: this.unit, si: null },
      ...{ problem: null, ask: false, changed: true, kept: null },
    };
    if (this.reading.trim() === "" && !this.asked) return entry;
    const meant = unitOf(this.view.to, entry);
    const read = parseReading(this.view.to.bundle, as, this.reading, meant);
    if (!read.ok) return { ...entry, problem: read };
    return { ...entry, unit: read.unit || meant, si: typeof read.si === "number" ? read.si : null };
  }

  #timers(): TimerState[] {
    const { timers } = this.view.work.visit!;
    return timers.filter(
      ({ checklist, step }) => checklist === this.checklist && step === this.step.id,
    );
  }

  /** The readings of the running timer as written so far. */
  #points(): readonly (readonly [number, number])[] {
    const timer = this.#timers().find(({ timer }) => timer === this.running?.timer);
    return (timer?.readings ?? []).flatMap(({ elapsedS, si }) =>
      typeof si === "number" ? [[elapsedS, si] as const] : [],
    );
  }

  #about(): Pick<Draft, "about" | "edition"> {
    const { id, site, system } = this.view.work.visit as Visit;
    return { about: { site, system, visit: id }, edition: this.view.rules.hash };
  }

  async #takeUp({ timer, started, checklist, step, quantity, targetS }: TimerState): Promise<void> {
    if (this.#taking === timer) return;
    this.#taking = timer;
    // By this phone's own clock, which the timer is read from.
    const at = started!.when.corrected - (this.phone.ledger.offsetMs ?? 0);
    const kept = await this.phone.timers.read(timer).catch(() => undefined);
    this.running = kept ?? {
      ...{ timer, visit: this.view.work.visit!.id, checklist: checklist ?? "", step: step ?? "" },
      ...{ quantity, member: null, targetS, startedWall: at, session: "" },
      ...{ seenWall: at, seenMono: 0, asleepMs: 0, jumpedMs: 0 },
    };
    this.#tick();
    void this.#keepAwake();
  }

  #tick(): void {
    if (!this.running) return;
    const shown = !this.#hidden;
    this.#hidden = document.visibilityState === "hidden";
    const { session } = this.phone;
    const before = this.running;
    this.running = look(before, { wall: Date.now(), mono: performance.now(), session, shown });
    const gap =
      this.running.asleepMs !== before.asleepMs || this.running.jumpedMs !== before.jumpedMs;
    if (gap || Date.now() - this.#saved > SAVE_EVERY_MS) {
      this.#saved = Date.now();
      void this.phone.timers.write(this.running).catch(() => undefined);
    }
    if (!this.awake && document.visibilityState === "visible") void this.#keepAwake();
  }

  async #keepAwake(): Promise<void> {
    try {
      this.#lock = (await navigator.wakeLock?.request("screen")) ?? null;
      this.awake = this.#lock !== null;
      this.#lock?.addEventListener("release", () => (this.awake = false));
    } catch {
      // Low battery, or a browser without it: the hint stays.
      this.awake = false;
    }
  }

  async #start(): Promise<void> {
    const timer = uuid4();
    const least = this.step.least ? this.view.work.answer.value(this.step.least) : null;
    const targetS =
      typeof least === "number" && !((least as unknown) instanceof Unknown) ? least : null;
    const { keeps = "" } = this.step;
    const now = { wall: Date.now(), mono: performance.now() };
    const running: RunningTimer = {
      ...{ timer, visit: this.view.work.visit!.id, checklist: this.checklist, step: this.step.id },
      ...{ quantity: keeps || null, member: null, targetS, startedWall: now.wall },
      ...{ session: this.phone.session, seenWall: now.wall, seenMono: now.mono },
      ...{ asleepMs: 0, jumpedMs: 0 },
    };
    const body = {
      ...{ timer, checklist: this.checklist, step: this.step.id },
      ...(keeps ? { quantity: keeps } : {}),
      ...(targetS === null ? {} : { target_s: targetS }),
    };
    await this.phone.timers.write(running).catch(() => undefined);
    await this.phone
      .write({ kind: "timer-started", ...this.#about(), body })
      .catch(() => undefined);
  }

  async #take(series: Entry): Promise<void> {
    this.#tick();
    this.asked = true;
    const { quantity } = series;
    const { si: read, unit } = this.#entry(series);
    const points = this.#points();
    const { timer } = this.running!;
    const elapsedS = Math.round(elapsed(this.running!).elapsedMs / 100) / 10;
    // Two presses at one moment are one reading.
    if (typeof read !== "number" || elapsedS <= (points.at(-1)?.[0] ?? -1)) return;
    const si = [...points, [elapsedS, read] as const];
    const text = this.reading.trim();
    const label = this.view.to.bundle.units[unit ?? ""]?.label ?? "";
    const shown = /[\d.,]$/.test(text) ? `${text} ${label}`.trim() : text;
    const earlier = points.length ? `${series.text}; ` : "";
    const minutes = Math.round((elapsedS / 60) * 1000) / 1000;
    const about = this.#about();
    try {
      await this.phone.write(
        {
          ...{ kind: "timer-read" as const, ...about },
          body: { timer, elapsed_s: elapsedS, text, unit: unit || null, si: read },
        },
        {
          ...{ kind: "value-set" as const, ...about },
          body: {
            ...{ quantity: quantity.id, text: `${earlier}${minutes} min: ${shown}` },
            ...{
              unit: null,
              si,
              origin: "timer" as const,
              calculator: this.step.calculator || null,
            },
          },
        },
      );
    } catch {
      // The phone has said so; the figure stays in its field.
      return;
    }
    this.reading = "";
    this.asked = false;
  }

  async #stop(): Promise<void> {
    this.#tick();
    const { timer } = this.running!;
    const { elapsedMs, asleepMs, clockChanged, observed } = elapsed(this.running!);
    const elapsedS = Math.round(elapsedMs / 1000);
    const drafts: Draft[] = [
      {
        ...{ kind: "timer-stopped" as const, ...this.#about() },
        body: {
          ...{ timer, elapsed_s: elapsedS, observed },
          ...{ asleep_s: Math.round(asleepMs / 1000), clock_changed: clockChanged },
        },
      },
    ];
    if (this.step.keeps) {
      const minutes = Math.round((elapsedS / 60) * 100) / 100;
      drafts.push({
        ...{ kind: "value-set" as const, ...this.#about() },
        body: {
          ...{ quantity: this.step.keeps, text: String(minutes), unit: "min", si: elapsedS },
          ...{ origin: "timer" as const, calculator: this.step.calculator || null },
        },
      });
    }
    try {
      await this.phone.write(...drafts);
    } catch {
      return;
    }
    this.stopping = false;
    await this.phone.timers.drop(timer).catch(() => undefined);
    await this.#lock?.release();
  }
}

/** 75 minutes 3 seconds: 1:15:03. */
export function stopwatch(ms: number): string {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  const two = (n: number): string => String(n).padStart(2, "0");
  const hours = Math.floor(seconds / 3600);
  const rest = `${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
  return hours ? `${hours}:${rest}` : rest;
}

customElements.define("kw-timed", Timed);
