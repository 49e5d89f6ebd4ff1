/** What a person chose for this phone. Read before the first paint, so not from the database. */
export type Theme = "auto" | "attic" | "sun";
export type UnitSystem = "ip" | "si";
export type Language = "en" | "es";

export interface Settings {
  theme: Theme;
  system: UnitSystem;
  language: Language;
}

const KEY = "kneewall.settings";
export const LANGUAGES: readonly Language[] = ["en", "es"];

export function readSettings(): Settings {
  try {
    const found = JSON.parse(localStorage.getItem(KEY) ?? "{}") as Partial<Settings>;
    return { ...first(), ...found };
  } catch {
    return first();
  }
}

function first(): Settings {
  const own = globalThis.navigator?.language ?? "";
  const language = LANGUAGES.find((each) => own.startsWith(each)) ?? "en";
  return { theme: "auto", system: "ip", language };
}

/** Also shows them on the page. */
export function writeSettings(settings: Settings): void {
  try {
    localStorage.setItem(KEY, JSON.stringify(settings));
  } catch {
    // Then they last until the app is closed.
  }
  showTheme(settings.theme);
}

export function showTheme(theme: Theme): void {
  const dark = theme === "attic" || (theme === "auto" && matchMedia(DARK).matches);
  document.documentElement.classList.toggle("attic", dark);
  const paper = getComputedStyle(document.documentElement).getPropertyValue("--paper").trim();
  document.querySelector('meta[name="theme-color"]')?.setAttribute("content", paper);
}

export const DARK = "(prefers-color-scheme: dark)";
