/** The texts of the app in the language of this phone. */
import { readSettings } from "../settings.ts";
import { en } from "./en.ts";
import { es } from "./es.ts";

/** The same keys in every language: one that lacks a text does not compile. */
type Worded<T> = T extends string
  ? string
  : T extends (...given: infer Given) => string
    ? (...given: Given) => string
    : { readonly [Key in keyof T]: Worded<T[Key]> };

export type Words = Worded<typeof en>;

const LANGUAGES = { en, es } satisfies Record<string, Words>;

/** Chosen once, before anything is shown: another language is another start of the app. */
export const words: Words = LANGUAGES[readSettings().language] ?? en;
