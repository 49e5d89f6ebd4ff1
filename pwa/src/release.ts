/**
 * The app's own release on this phone: registers the worker, finds newer releases, says whether
 * everything needed without signal is really there.
 */
const SCRIPT = "/sw.js";
const CHECK_EVERY_MS = 30_000;
const ANSWER_WITHIN_MS = 20_000;

interface TrustedTypes {
  createPolicy(
    name: string,
    rules: { createScriptURL(url: string): string },
  ): { createScriptURL(url: string): string };
}

/** The address as the page's security policy demands it; older browsers take the plain string. */
function scriptAddress(): string {
  const { trustedTypes } = globalThis as { trustedTypes?: TrustedTypes };
  if (!trustedTypes) return SCRIPT;
  const createScriptURL = (url: string): string => {
    if (url !== SCRIPT) throw new TypeError(`not a script of this app: ${url}`);
    return url;
  };
  return trustedTypes.createPolicy("kneewall", { createScriptURL }).createScriptURL(SCRIPT);
}

export type Offline = "unknown" | "ready" | "incomplete" | "unsupported";

/** Fires "change" whenever one of its properties did, "failed" when a new release could not be stored. */
export class Release extends EventTarget {
  /** Whether the whole app was found in the cache, each file by its hash. */
  offline: Offline = "unknown";
  /** A newer release lies ready; `takeOver` starts it. */
  waiting = false;
  /** Storing a newer release failed; the one in use goes on. */
  failed = false;

  #registration: ServiceWorkerRegistration | null = null;
  #checkedAt = 0;
  #reloading = false;

  async start(): Promise<void> {
    if (!("serviceWorker" in navigator)) {
      this.#set({ offline: "unsupported" });
      return;
    }
    const container = navigator.serviceWorker;
    const registration = await container.register(scriptAddress(), { updateViaCache: "none" });
    this.#registration = registration;
    this.#checkedAt = Date.now();
    registration.addEventListener("updatefound", () => this.#watch(registration.installing));
    this.#watch(registration.installing);
    this.#set({ waiting: registration.waiting !== null && container.controller !== null });
    for (const event of ["focus", "pageshow"]) addEventListener(event, () => void this.check());
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") void this.check();
    });
    await container.ready;
    await this.verify();
  }

  /** Looks for a newer release, at most every 30 s. */
  async check(): Promise<void> {
    if (!this.#registration || Date.now() - this.#checkedAt < CHECK_EVERY_MS) return;
    this.#checkedAt = Date.now();
    // Rejects without signal. It resolves even if the new release cannot be stored: see #watch.
    await this.#registration.update().catch(() => undefined);
    await this.verify();
  }

  /** Asks the worker in use whether all files are there; it fetches missing ones again if it can. */
  async verify(): Promise<void> {
    const worker = this.#registration?.active;
    if (!worker) return;
    const { port1, port2 } = new MessageChannel();
    const missing = await new Promise<number | null>((resolve) => {
      setTimeout(() => resolve(null), ANSWER_WITHIN_MS);
      port1.onmessage = ({ data }) => resolve(Number(data.missing));
      worker.postMessage({ ask: "complete" }, [port2]);
    });
    port1.close();
    const offline = missing === null ? "unknown" : missing === 0 ? "ready" : "incomplete";
    this.#set({ offline });
  }

  /** Starts the waiting release and loads the page anew. Call only when nothing unsaved is lost by it. */
  takeOver(): void {
    const worker = this.#registration?.waiting;
    // It may have started by itself, when for a moment no page was open.
    if (!worker) return this.#reload();
    navigator.serviceWorker.addEventListener("controllerchange", () => this.#reload());
    worker.addEventListener("statechange", () => {
      if (worker.state === "activated") this.#reload();
    });
    worker.postMessage({ ask: "take-over" });
  }

  #reload(): void {
    if (!this.#reloading) location.reload();
    this.#reloading = true;
  }

  #watch(worker: ServiceWorker | null): void {
    worker?.addEventListener("statechange", () => {
      if (worker.state === "installed" && navigator.serviceWorker.controller) {
        this.#set({ waiting: true, failed: false });
      } else if (worker.state === "activated") {
        this.#set({ waiting: false, failed: false });
        void this.verify();
      } else if (worker.state === "redundant" && this.#registration?.active !== worker) {
        // Also the fate of a waiting release that a still newer one replaced.
        const waiting = this.#registration?.waiting != null;
        this.#set({ waiting, failed: !waiting });
        if (!waiting) this.dispatchEvent(new Event("failed"));
      }
    });
  }

  #set(change: Partial<Pick<Release, "offline" | "waiting" | "failed">>): void {
    Object.assign(this, change);
    this.dispatchEvent(new Event("change"));
  }
}
