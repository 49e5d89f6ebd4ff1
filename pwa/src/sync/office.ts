/**
 * The office's API as the phone calls it. Only an answer of the expected shape counts as contact:
 * a sign-in page of a strange network answers everything with 200 and a page.
 *
 * OfficeError
 *   NoContact      no answer, or not from the office
 *   Wait           the office asks to wait; nothing was judged
 *   NotKnown       not enrolled there, or revoked
 *   Refused        the office cannot take this; `status` and its sentences say why
 */
import type {
  BatchReply,
  EditionPointer,
  EnrolReply,
  EnrolRequest,
  PhoneReport,
  PhotoCommit,
  PhotoParts,
  Problem,
  RecordsPage,
  ReportReply,
} from "../generated/api.ts";

export class OfficeError extends Error {
  override name = "OfficeError";
}
export class NoContact extends OfficeError {
  override name = "NoContact";
}
export class Wait extends OfficeError {
  override name = "Wait";
  readonly seconds: number;
  constructor(seconds: number) {
    super(`wait ${seconds} s`);
    this.seconds = seconds;
  }
}
export class NotKnown extends OfficeError {
  override name = "NotKnown";
  readonly revoked: boolean;
  constructor(revoked: boolean) {
    super(revoked ? "revoked" : "not enrolled");
    this.revoked = revoked;
  }
}
export class Refused extends OfficeError {
  override name = "Refused";
  readonly status: number;
  readonly problem: Problem;
  constructor(status: number, problem: Problem) {
    super(`${status}: ${problem.error}`);
    this.status = status;
    this.problem = problem;
  }
}

type Fetch = (url: string, init: RequestInit) => Promise<Response>;

const LIMIT_MS = 30_000;
const BUNDLE_LIMIT_MS = 180_000;

export class Office {
  readonly #fetch: Fetch;
  readonly #token: () => string | null;

  constructor(fetch: Fetch, token: () => string | null) {
    this.#fetch = fetch;
    this.#token = token;
  }

  enrol(request: EnrolRequest): Promise<EnrolReply> {
    return this.#json("POST", "enrol", JSON.stringify(request), "device", "token");
  }

  report(report: PhoneReport): Promise<ReportReply> {
    return this.#json("POST", "reports", JSON.stringify(report), "held", "store_generation");
  }

  send(lines: readonly string[]): Promise<BatchReply> {
    const body = new Blob([lines.map((line) => `${line}\n`).join("")], {
      type: "application/x-ndjson",
    });
    return this.#json("POST", "records", body, "records", "store_generation");
  }

  records(after: string | null, own: boolean): Promise<RecordsPage> {
    const query = new URLSearchParams({
      ...(after === null ? {} : { after }),
      ...(own ? { own: "1" } : {}),
    });
    return this.#json("GET", `records?${query}`, null, "lines", "next", "store_generation");
  }

  /** Null while the office has published none. */
  async pointer(): Promise<EditionPointer | null> {
    try {
      return await this.#json<EditionPointer>(
        "GET",
        "edition",
        null,
        "number",
        "hash",
        "least_app",
      );
    } catch (error) {
      if (error instanceof Refused && error.status === 404) return null;
      throw error;
    }
  }

  /** The bytes as they came; it is for the caller to hash them. */
  async edition(hash: string): Promise<Uint8Array<ArrayBuffer>> {
    const response = await this.#call("GET", `editions/${hash}`, null, BUNDLE_LIMIT_MS);
    return new Uint8Array(await body(response.arrayBuffer()));
  }

  photoParts(hash: string): Promise<PhotoParts> {
    return this.#json("GET", `photos/${hash}/parts`, null, "complete", "parts");
  }

  async putPhotoPart(hash: string, part: number, bytes: ArrayBuffer): Promise<void> {
    const content = new Blob([bytes], { type: "application/octet-stream" });
    await this.#call("PUT", `photos/${hash}/parts/${part}`, content);
  }

  async commitPhoto(hash: string, commit: PhotoCommit): Promise<void> {
    await this.#call("POST", `photos/${hash}`, JSON.stringify(commit));
  }

  async #json<T>(
    method: string,
    path: string,
    content: string | Blob | null,
    ...keys: (keyof T)[]
  ): Promise<T> {
    const response = await this.#call(method, path, content);
    const found: unknown = await body(response.json());
    if (typeof found !== "object" || found === null || !keys.every((key) => key in found)) {
      throw new NoContact("the answer is not the office's");
    }
    return found as T;
  }

  async #call(
    method: string,
    path: string,
    content: string | Blob | null,
    limitMs = LIMIT_MS,
  ): Promise<Response> {
    const headers: Record<string, string> = {};
    const token = this.#token();
    if (token !== null) headers["Authorization"] = `Bearer ${token}`;
    if (method !== "GET") headers["X-Kneewall"] = "1";
    if (typeof content === "string") headers["Content-Type"] = "application/json";
    else if (content) headers["Content-Type"] = content.type;
    let response: Response;
    try {
      response = await this.#fetch(`/api/1/${path}`, {
        ...{ method, headers, body: content, cache: "no-store", credentials: "same-origin" },
        // A redirect is never the office's answer.
        ...{ redirect: "error", signal: AbortSignal.timeout(limitMs) },
      });
    } catch (error) {
      throw new NoContact(String(error));
    }
    if (response.ok) return response;
    throw await failure(response);
  }
}

async function body<T>(reading: Promise<T>): Promise<T> {
  try {
    return await reading;
  } catch (error) {
    throw new NoContact(String(error));
  }
}

async function failure(response: Response): Promise<OfficeError> {
  const { status } = response;
  const problem = (await response.json().catch(() => null)) as Partial<Problem> | null;
  if (status === 429) return new Wait(Number(response.headers.get("Retry-After")) || 60);
  // What a proxy says when the office is not there.
  if (status >= 502) return new NoContact(`status ${status}`);
  const said = typeof problem?.error === "string";
  if (said && (status === 401 || status === 403)) return new NotKnown(status === 403);
  const error = said ? problem.error! : `status ${status}`;
  return new Refused(status, { error, mend: problem?.mend ?? "" });
}
