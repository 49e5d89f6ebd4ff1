/** This phone: whose it is, what it has not sent, which rules and release, how it looks. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import { exportName, inFiles, unsentLines, unsentPhotoLines } from "../ledger/export.ts";
import { Screen } from "../parts/element.ts";
import { bar, clock } from "../parts/frame.ts";
import type { Act } from "../parts/frame.ts";
import { line } from "../parts/result.ts";
import { offerFiles, textFile } from "../parts/share.ts";
import { sign } from "../parts/sign.ts";
import type { Sign } from "../parts/sign.ts";
import { pathOf } from "../routes.ts";
import { LANGUAGES } from "../settings.ts";
import type { Language, Theme, UnitSystem } from "../settings.ts";
import { words } from "../words/index.ts";

const THEMES: Theme[] = ["auto", "attic", "sun"];
const SYSTEMS: UnitSystem[] = ["ip", "si"];
/** Each by its own name, so that it is found by those who read no other. */
const LANGUAGE_NAMES: Readonly<Record<Language, string>> = { en: "English", es: "Español" };

class ThisPhone extends Screen {
  static override properties = {
    ...Screen.properties,
    photos: { state: true },
    files: { state: true },
  };
  /** Photos that the office has not. */
  declare photos: number;
  /** Made ready to be shared: a phone shares only what is there at the press. */
  declare files: File[] | null;

  constructor() {
    super();
    this.photos = 0;
    this.files = null;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    this.phone.addEventListener("change", this.#count);
    this.#count();
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    this.phone.removeEventListener("change", this.#count);
  }

  readonly #count = (): void => {
    void this.phone.photos.waiting().then(
      (waiting) => (this.photos = waiting.length),
      () => undefined,
    );
  };

  protected override render(): TemplateResult {
    const { phone } = this;
    const { ledger } = phone;
    const { enrolment } = ledger;
    return html`<main tabindex="-1">
        <h1>${words.places.phone}</h1>
        <p class="sub">
          ${enrolment ? words.phone.of(enrolment.name, enrolment.office) : words.phone.nobody}
        </p>
        ${this.#contact()}
        <ul class="lines">
          ${this.#unsent()} ${this.#rules()} ${this.#release()} ${this.#storage()}
          ${line({ sign: "none", title: words.log.title, href: pathOf({ at: "log" }) })}
          ${line({
            ...{ sign: "none", title: words.enrol.title, href: pathOf({ at: "enrol" }) },
            ...(enrolment ? { more: words.phone.reenrol } : {}),
          })}
          ${line({ sign: "none", title: words.phone.notices, href: "/notices.txt" })}
        </ul>
        ${choose(
          words.phone.theme,
          "theme",
          THEMES,
          phone.settings.theme,
          words.phone.themes,
          (theme) => phone.set({ theme }),
        )}
        ${choose(
          words.phone.units,
          "units",
          SYSTEMS,
          phone.settings.system,
          words.phone.systems,
          (system) => phone.set({ system }),
        )}
        ${choose(
          words.phone.language,
          "language",
          LANGUAGES,
          phone.settings.language,
          LANGUAGE_NAMES,
          (language) => phone.set({ language }),
        )}
      </main>
      ${this.#bar()}`;
  }

  #contact(): TemplateResult | typeof nothing {
    const { state } = this.phone.sync;
    if (state === "idle" || state === "running") return nothing;
    return html`<div class="verdict caution">
      ${sign("caution")}
      <div><p>${words.phone.states[state]}</p></div>
    </div>`;
  }

  #unsent(): TemplateResult {
    const { unsent, parked } = this.phone.ledger;
    return html`${line({
      sign: unsent.length ? "on" : "pass",
      title: words.strip.unsent(unsent.length),
      more: words.phone.oldest(
        unsent.length ? clock(Date.parse(JSON.parse(unsent[0]!.line).at.wall)) : "",
      ),
    })}
    ${this.photos ? line({ sign: "on", title: words.phone.photosUnsent(this.photos) }) : nothing}
    ${
      parked.length
        ? line({
            ...{
              sign: "caution",
              title: words.parked.title,
              figure: { text: String(parked.length), unit: "" },
            },
            href: pathOf({ at: "parked" }),
          })
        : nothing
    }`;
  }

  #rules(): TemplateResult {
    const { rules, refusedEdition } = this.phone;
    const { number = 0, date = "", note = "" } = rules?.pointer ?? {};
    return html`${line({
      sign: rules ? "pass" : "unknown",
      title: rules ? words.strip.rules(number) : words.strip.noRules,
      more: rules
        ? [date.slice(0, 10), note, rules.hash.slice(0, 12)].filter(Boolean).join(" · ")
        : "",
    })}
    ${
      refusedEdition
        ? line({ sign: "fail", title: words.phone.rulesRefused, more: refusedEdition.reason })
        : nothing
    }`;
  }

  #release(): TemplateResult {
    const { offline, failed } = this.phone.release;
    const signs: Record<typeof offline, Sign> = {
      ...{ ready: "pass", incomplete: "caution", unknown: "unknown", unsupported: "fail" },
    };
    return html`${line({
      sign: signs[offline],
      title: words.phone.app(APP_VERSION),
      more: html`<span data-offline=${offline}>${words.phone.offline[offline]}</span> ·
        ${RELEASE_ID.slice(0, 12)}`,
    })}
    ${failed ? line({ sign: "caution", title: words.release.failed }) : nothing}`;
  }

  #storage(): TemplateResult {
    const { persisted, start } = this.phone;
    const state =
      start === "no-store"
        ? "gone"
        : persisted === true
          ? "safe"
          : persisted === false
            ? "loose"
            : "unknown";
    const signs = { gone: "fail", safe: "pass", loose: "caution", unknown: "unknown" } as const;
    return line({
      sign: signs[state],
      title: words.phone.storage,
      more: words.phone.storages[state],
    });
  }

  async #prepare(): Promise<void> {
    const lines = unsentLines(this.phone.ledger);
    const photos = await unsentPhotoLines(this.phone.photos).catch(() => []);
    this.files = asFiles([...lines, ...photos]);
  }

  #bar(): TemplateResult {
    const { phone } = this;
    const { ledger, release } = phone;
    const acts: Act[] = [];
    const { files } = this;
    if (files) {
      const give = (): void => {
        void offerFiles(...files);
        this.files = null;
      };
      acts.push({ label: words.phone.giveFiles(files.length, megabytes(files)), press: give });
    } else if (this.photos > 0) {
      acts.push({ label: words.phone.export, press: () => void this.#prepare() });
    } else if (ledger.unsent.length + ledger.parked.length > 0) {
      const give = (): void => void offerFiles(...asFiles(unsentLines(ledger)));
      acts.push({ label: words.phone.export, press: give });
    }
    if (release.waiting && !phone.timing) {
      acts.push({ label: words.release.takeOver, press: () => release.takeOver() });
    } else if (ledger.enrolment) {
      const busy = phone.sync.state === "running";
      acts.push({ label: words.phone.contact, disabled: busy, press: () => void phone.contact() });
    } else {
      acts.push({ label: words.enrol.title, href: pathOf({ at: "enrol" }) });
    }
    return bar(acts);
  }
}

function asFiles(lines: readonly string[]): File[] {
  const now = new Date();
  return inFiles(lines).map((part, at, all) => textFile(exportName(now, at + 1, all.length), part));
}

function megabytes(files: readonly File[]): string {
  return (files.reduce((sum, { size }) => sum + size, 0) / 1_000_000).toFixed(1);
}

function choose<V extends string>(
  legend: string,
  name: string,
  values: readonly V[],
  chosen: V,
  labels: Readonly<Record<V, string>>,
  set: (value: V) => void,
): TemplateResult {
  return html`<fieldset class="ask">
    <legend>${legend}</legend>
    <div class="choices">
      ${values.map(
        (value) =>
          html`<label class="choice">
            <input
              type="radio"
              name=${name}
              value=${value}
              .checked=${value === chosen}
              @change=${() => set(value)}
            />
            <span>${value === chosen ? sign("pass", "") : nothing}${labels[value]}</span>
          </label>`,
      )}
    </div>
  </fieldset>`;
}

customElements.define("kw-this-phone", ThisPhone);
