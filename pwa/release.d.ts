/** What build.mjs writes into the bundles; under `node --test` none of it exists. */

/** The version people see, and that an edition's least release is compared with: "0.1.0". */
declare const APP_VERSION: string;

/** SHA-256 of everything in this build; names the worker's cache. */
declare const RELEASE_ID: string;

/** What makes the app complete offline; only the worker knows it. */
declare const RELEASE_FILES: readonly {
  /** Path from the root of the origin, "/" for the page itself. */
  readonly url: string;
  readonly sha256: string;
  readonly bytes: number;
}[];
