/** Prints what each of these files of bundle bytes holds once unpacked, a line of JSON a file. */
import { readFileSync } from "node:fs";
import { bundleOf } from "../src/bundle/update.ts";

for (const file of process.argv.slice(2))
  console.log(JSON.stringify(bundleOf(readFileSync(file, "utf-8"))));
