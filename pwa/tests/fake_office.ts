/** An office in memory, with the faults that networks and servers have. */
import { createHash } from "node:crypto";
import type { BatchReply, LineAnswer } from "../src/generated/api.ts";
import { OFFICE } from "./help.ts";

type Fault = "cut before" | "cut after" | "portal" | "wait" | "crash" | null;

const sha256 = (data: string | Uint8Array): string =>
  createHash("sha256").update(data).digest("hex");

export class FakeOffice {
  generation = "g1";
  /** By hash, in order of arrival. */
  readonly held = new Map<string, string>();
  readonly quarantine = new Map<string, string>();
  /** Lines of others for this phone. */
  feed: string[] = [];
  readonly parts = new Map<string, Map<number, Uint8Array>>();
  readonly photos = new Map<string, Uint8Array>();
  readonly events: string[] = [];
  reports = 0;
  batches: number[] = [];
  /** Server time minus the test's clock, ms. */
  offsetMs = 0;
  now: () => number = Date.now;
  /** Asked before each request is served. */
  fault: (path: string, lines: string[]) => Fault = () => null;
  /** Why a record is set aside; null: it is not. */
  refuses: (line: string) => string | null = () => null;

  fetch = async (url: string, init: RequestInit): Promise<Response> => {
    const path = url.replace(/^\/api\/1\//, "");
    const body = await bodyOf(init);
    const isBatch = init.method === "POST" && path === "records";
    const lines = isBatch ? body.toString().split("\n").filter(Boolean) : [];
    const fault = this.fault(path, lines);
    if (fault === "cut before") throw new TypeError("connection reset");
    if (fault === "portal") return new Response("<html>sign in</html>", { status: 200 });
    if (fault === "crash") return new Response("<html>500</html>", { status: 500 });
    if (fault === "wait") {
      return new Response("{}", { status: 429, headers: { "Retry-After": "7" } });
    }
    const response = this.#serve(init.method ?? "GET", path, body, lines);
    if (fault === "cut after") throw new TypeError("connection reset");
    return response;
  };

  #serve(method: string, path: string, body: Buffer, lines: string[]): Response {
    const stamp = {
      server_time: new Date(this.now() + this.offsetMs).toISOString(),
      store_generation: this.generation,
    };
    const of = (answer: object): Response => Response.json(answer);
    if (path === "reports") {
      this.reports += 1;
      const report = JSON.parse(body.toString());
      this.events.push(...report.events.map(({ text }: { text: string }) => text));
      return of({ ...this.#heldOf(report.heads), missing_photos: [], ...stamp });
    }
    if (path === "records") {
      this.batches.push(lines.length);
      const records = lines.map((line, index) => this.#take(line, index));
      const reply: BatchReply = { records, held: [], missing_photos: [], ...stamp };
      return of(reply);
    }
    if (path.startsWith("records?")) {
      const after = new URLSearchParams(path.slice(8)).get("after");
      const [of_, from] = after?.split(".") ?? [];
      const start = of_ === this.generation ? Number(from) : 0;
      const page = this.feed.slice(start, start + 2);
      const next = start + page.length;
      const more = next < this.feed.length;
      return of({ lines: page, next: `${this.generation}.${next}`, more, ...stamp });
    }
    if (path === "edition") {
      return Response.json({ error: "No edition yet.", mend: "Publish one." }, { status: 404 });
    }
    const photo = /^photos\/([0-9a-f]{64})(?:\/parts(?:\/(\d+))?)?$/.exec(path);
    if (photo) return this.#photo(method, photo[1]!, photo[2], body);
    return Response.json({ error: "No such place.", mend: "" }, { status: 404 });
  }

  #take(line: string, index: number): LineAnswer {
    const hash = sha256(line);
    const known = this.held.has(hash);
    const reason = this.refuses(line);
    this.held.set(hash, line);
    if (reason !== null) this.quarantine.set(hash, reason);
    const status = reason !== null ? "quarantined" : known ? "duplicate" : "stored";
    return { line: index, id: JSON.parse(line).id, hash, status, reason };
  }

  #heldOf(heads: { epoch: string }[]): object {
    const held = heads.map(({ epoch }) => {
      const own = [...this.held.values()].map((line) => JSON.parse(line));
      const numbers = own.filter((each) => each.epoch === epoch).map((each) => each.seq);
      const highest = Math.max(0, ...numbers);
      const holes: [number, number][] = [];
      for (let seq = 1; seq < highest; seq += 1) {
        if (!numbers.includes(seq)) holes.push([seq, seq]);
      }
      const device = own[0]?.device ?? OFFICE;
      return {
        device,
        epoch,
        contiguous_through: (holes[0]?.[0] ?? highest + 1) - 1,
        highest,
        holes,
      };
    });
    return { held };
  }

  #photo(method: string, hash: string, part: string | undefined, body: Buffer): Response {
    const parts = this.parts.get(hash) ?? new Map<number, Uint8Array>();
    this.parts.set(hash, parts);
    if (method === "GET") {
      return Response.json({ complete: this.photos.has(hash), parts: [...parts.keys()] });
    }
    if (part !== undefined) {
      parts.set(Number(part), body);
      return new Response(null, { status: 204 });
    }
    const whole = Buffer.concat([...parts].sort(([a], [b]) => a - b).map(([, bytes]) => bytes));
    if (sha256(whole) !== hash) {
      return Response.json({ error: "Parts are missing.", mend: "Send them." }, { status: 409 });
    }
    this.photos.set(hash, whole);
    return new Response(null, { status: 204 });
  }
}

async function bodyOf({ body }: RequestInit): Promise<Buffer> {
  if (body instanceof Blob) return Buffer.from(await body.arrayBuffer());
  return Buffer.from((body as string | null) ?? "");
}
