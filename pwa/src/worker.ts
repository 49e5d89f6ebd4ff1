/**
 * The service worker. It keeps one whole release of the app in a cache of its own, or nothing of
 * it, and answers from that cache alone, so that a page never mixes two releases.
 *
 * A page may post, with a message port:
 *   {ask: "complete"}   -> {release, missing}: how many files are not there or not as built, after
 *                          an attempt to fetch those again
 *   {ask: "take-over"}  the person agreed to the update: activate now
 */
export {};
declare const self: ServiceWorkerGlobalScope;

type File = (typeof RELEASE_FILES)[number];

const prefix = "release-";
const name = prefix + RELEASE_ID;
const files = new Map(RELEASE_FILES.map((file) => [file.url, file]));
/** Never answered from the cache, not even for a navigation. */
const elsewhere = /^\/(api|office|health)(\/|$)|^\/(sw\.js|release\.json)$|\.map$/;

async function matches(response: Response | undefined, file: File): Promise<boolean> {
  if (!response) return false;
  const digest = await crypto.subtle.digest("SHA-256", await response.arrayBuffer());
  const hex = Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, "0"));
  return hex.join("") === file.sha256;
}

/** Throws unless the server gave exactly the bytes of this release: a sign-in page answers 200 too. */
async function keep(cache: Cache, file: File): Promise<void> {
  // Names under /assets/ change with their content; every other name must get past the HTTP cache.
  const mode = file.url.startsWith("/assets/") ? "default" : "reload";
  const response = await fetch(file.url, { cache: mode, redirect: "error" });
  if (!response.ok || response.type !== "basic" || response.redirected) {
    throw new Error(`${file.url}: status ${response.status}`);
  }
  if (!(await matches(response.clone(), file))) throw new Error(`${file.url}: other bytes`);
  await cache.put(file.url, response);
}

async function missing(cache: Cache): Promise<File[]> {
  const lacking: File[] = [];
  for (const file of files.values()) {
    if (!(await matches(await cache.match(file.url), file))) lacking.push(file);
  }
  return lacking;
}

/** Puts what is missing into the cache. Returns how many files are missing still. */
async function complete(cache: Cache): Promise<number> {
  const lacking = await missing(cache);
  const kept = await Promise.allSettled(lacking.map((file) => keep(cache, file)));
  return kept.filter(({ status }) => status === "rejected").length;
}

async function install(): Promise<void> {
  // The same release may be in use already, when the server went forth and back.
  const inUse = await caches.has(name);
  const cache = await caches.open(name);
  const left = await complete(cache).catch(() => files.size);
  if (left === 0) return;
  if (!inUse) await caches.delete(name);
  throw new Error(`release ${RELEASE_ID}: ${left} files could not be stored`);
}

async function activate(): Promise<void> {
  for (const other of await caches.keys()) {
    if (other.startsWith(prefix) && other !== name) await caches.delete(other);
  }
  await self.clients.claim();
}

async function answer(url: string, request: Request): Promise<Response> {
  const cache = await caches.open(name);
  return (await cache.match(url)) ?? fetch(request);
}

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (request.headers.has("range") || elsewhere.test(pathname)) return;
  if (files.has(pathname)) event.respondWith(answer(pathname, request));
  else if (request.mode === "navigate") event.respondWith(answer("/", request));
});

self.addEventListener("message", (event) => {
  if (event.data?.ask === "take-over") {
    event.waitUntil(self.skipWaiting());
  } else if (event.data?.ask === "complete") {
    const port = event.ports[0];
    const told = caches
      .open(name)
      .then(complete)
      .catch(() => files.size)
      .then((left) => port?.postMessage({ release: RELEASE_ID, missing: left }));
    event.waitUntil(told);
  }
});
