/**
 * Builds the phone app: node build.mjs [FOLDER] [--watch]
 *
 * Into FOLDER (default ../backend/kneewall/static/pwa) go
 *   index.html, …      public/ as it is; in index.html {{main.js}} and {{main.css}} become addresses
 *   assets/NAME-HASH.* src/main.ts bundled; a name never changes its content
 *   notices.txt        licences of the libraries in the bundles
 *   sw.js              src/worker.ts, knowing every file it must hold
 *   release.json       {version, id, files: [{url, sha256, bytes}]}, what the worker knows
 *
 * The folder is replaced in one step, so a running server never sees half a build.
 */
import { createHash } from "node:crypto";
import { existsSync, watch } from "node:fs";
import { mkdir, readFile, readdir, rename, rm, writeFile } from "node:fs/promises";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { build } from "esbuild";

const here = path.dirname(fileURLToPath(import.meta.url));
const inside = (...parts) => path.join(here, ...parts);
const sha256 = (bytes) => createHash("sha256").update(bytes).digest("hex");
const byName = (a, b) => (a < b ? -1 : 1);

class BuildError extends Error {}

/** One esbuild run, nothing written; resolves to a map of output path -> bytes, and the files that went in. */
async function bundle(options, define) {
  const result = await build({
    bundle: true,
    minify: true,
    target: "es2022",
    sourcemap: "linked",
    legalComments: "none",
    metafile: true,
    write: false,
    absWorkingDir: here,
    outdir: "out",
    tsconfig: inside("tsconfig.json"),
    define: Object.fromEntries(Object.entries(define).map(([k, v]) => [k, JSON.stringify(v)])),
    ...options,
  });
  const files = new Map(
    result.outputFiles.map((file) => [
      path.relative(inside("out"), file.path).replaceAll("\\", "/"),
      Buffer.from(file.contents),
    ]),
  );
  return { files, inputs: Object.keys(result.metafile.inputs) };
}

const bundleApp = (define) =>
  bundle(
    {
      entryPoints: { main: "src/main.ts" },
      format: "esm",
      entryNames: "assets/[name]-[hash]",
      assetNames: "assets/[name]-[hash]",
    },
    define,
  );

// As a script and not a module: every browser runs that as a service worker.
const bundleWorker = (define) =>
  bundle({ entryPoints: { sw: "src/worker.ts" }, format: "iife" }, define);

async function readPublic() {
  const files = new Map();
  for (const entry of await readdir(inside("public"), { recursive: true, withFileTypes: true })) {
    if (!entry.isFile()) continue;
    const file = path.join(entry.parentPath, entry.name);
    const name = path.relative(inside("public"), file).replaceAll("\\", "/");
    files.set(name, await readFile(file));
  }
  return files;
}

/** The page with the addresses of this build in it. */
function fillPage(template, assets) {
  return template.toString().replaceAll(/\{\{main\.(js|css)\}\}/g, (_, ending) => {
    const name = assets.find((each) => new RegExp(`/main-[^.]+\\.${ending}$`).test(each));
    if (!name) throw new BuildError(`public/index.html wants main.${ending}; src/main.ts has none`);
    return `/${name}`;
  });
}

/** Licence texts of every library among the inputs, as those licences ask. */
async function notices(inputs) {
  const library = /^(.*node_modules\/(?:@[^/]+\/)?[^/]+)\//;
  const folders = new Set(inputs.map((input) => library.exec(input)?.[1]).filter(Boolean));
  const texts = [];
  for (const folder of [...folders].sort(byName)) {
    const about = JSON.parse(await readFile(inside(folder, "package.json"), "utf8"));
    const file = (await readdir(inside(folder))).find((name) => /^licen[cs]e/i.test(name));
    if (!file) throw new BuildError(`${folder} carries no licence file; leave it out or ask`);
    const text = await readFile(inside(folder, file), "utf8");
    texts.push(`${about.name} ${about.version} (${about.license})\n\n${text.trim()}\n`);
  }
  return Buffer.from(texts.join(`\n${"-".repeat(72)}\n\n`));
}

/** What the worker has to hold: all but source maps, which only a debugger asks for. */
function listFiles(files) {
  return [...files]
    .filter(([name]) => !name.endsWith(".map"))
    .map(([name, bytes]) => ({
      url: name === "index.html" ? "/" : `/${name}`,
      sha256: sha256(bytes),
      bytes: bytes.length,
    }))
    .sort((a, b) => byName(a.url, b.url));
}

async function compose(define) {
  const app = await bundleApp(define);
  const files = new Map([...(await readPublic()), ...app.files]);
  const page = files.get("index.html");
  if (!page) throw new BuildError("public/index.html is missing");
  files.set("index.html", Buffer.from(fillPage(page, [...app.files.keys()])));
  files.set("notices.txt", await notices(app.inputs));
  const list = listFiles(files);
  const worker = await bundleWorker({ ...define, RELEASE_FILES: list });
  return { files, list, worker: worker.files };
}

/** Resolves to {id, files: map of path -> bytes} of a whole release. */
export async function makeRelease() {
  const { version } = JSON.parse(await readFile(inside("package.json"), "utf8"));
  // Two rounds: the id covers app and worker, and both know it.
  const draft = await compose({ APP_VERSION: version, RELEASE_ID: "" });
  const id = sha256(JSON.stringify([draft.list, sha256(draft.worker.get("sw.js"))]));
  const { files, list, worker } = await compose({ APP_VERSION: version, RELEASE_ID: id });
  const release = Buffer.from(JSON.stringify({ version, id, files: list }, null, 1) + "\n");
  return { id, files: new Map([...files, ...worker, ["release.json", release]]) };
}

async function writeRelease(folder) {
  const { id, files } = await makeRelease();
  const fresh = `${folder}.new`;
  await rm(fresh, { recursive: true, force: true });
  for (const [name, bytes] of files) {
    const file = path.join(fresh, name);
    await mkdir(path.dirname(file), { recursive: true });
    await writeFile(file, bytes);
  }
  const old = `${folder}.old`;
  await rm(old, { recursive: true, force: true });
  if (existsSync(folder)) await rename(folder, old);
  await rename(fresh, folder);
  await rm(old, { recursive: true, force: true });

  const total = [...files].reduce((sum, [name, { length }]) => {
    return name.endsWith(".map") ? sum : sum + length;
  }, 0);
  console.log(`phone app ${id.slice(0, 12)}: ${files.size} files, ${Math.ceil(total / 1024)} KiB`);
}

/** True when it worked; esbuild has already said what did not. */
async function tryRelease(folder) {
  try {
    await writeRelease(folder);
    return true;
  } catch (error) {
    if (error instanceof BuildError) console.error(`phone app: ${error.message}`);
    else if (!error.errors) throw error;
    return false;
  }
}

const args = process.argv.slice(2);
const folder = path.resolve(
  args.find((arg) => !arg.startsWith("-")) ?? inside("../backend/kneewall/static/pwa"),
);
await mkdir(path.dirname(folder), { recursive: true });
const built = await tryRelease(folder);
if (args.includes("--watch")) {
  let timer;
  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(() => tryRelease(folder), 150);
  };
  for (const part of ["src", "public"]) watch(inside(part), { recursive: true }, soon);
  console.log("watching src and public; Ctrl-C ends");
} else if (!built) {
  process.exitCode = 1;
}
