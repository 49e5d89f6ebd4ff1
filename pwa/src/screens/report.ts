/** The report of a visit: read, printed, or handed over as a file of its own. */
import { html } from "lit";
import type { TemplateResult } from "lit";
import { Desk, speakerFor } from "../desk.ts";
import { Screen } from "../parts/element.ts";
import { back, bar } from "../parts/frame.ts";
import { offerFiles, textFile } from "../parts/share.ts";
import { sheet } from "../parts/sheet.ts";
import type { Phone } from "../phone.ts";
import { reportOf } from "../report.ts";
import type { Report } from "../report.ts";
import { pathOf } from "../routes.ts";
import type { Route } from "../routes.ts";
import { evaluate } from "../work.ts";
import type { Ground } from "../work.ts";
import type { Rules } from "../phone.ts";
import { words } from "../words/index.ts";

class ReportScreen extends Screen {
  static override properties = {
    ...Screen.properties,
    route: { attribute: false },
    pictures: { state: true },
    file: { state: true },
  };
  declare route: Extract<Route, { at: "report" }>;
  /** Addresses of the photos that are here, by hash. */
  declare pictures: ReadonlyMap<string, string>;
  /** Made ready to be shared: a phone shares only what is there at the press. */
  declare file: string | null;
  #desk: Desk | null = null;
  #asked = false;
  readonly #blobs = new Map<string, Blob>();

  constructor() {
    super();
    this.pictures = new Map();
    this.file = null;
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    for (const url of this.pictures.values()) URL.revokeObjectURL(url);
  }

  protected override render(): TemplateResult {
    const { visit: id } = this.route;
    this.#desk ??= new Desk(this.phone, id, "", () => this.requestUpdate());
    const ground = this.#desk.ground();
    const visit = this.#desk.visit;
    const up = back(pathOf({ at: "visit", visit: id }), visit?.title || words.places.visits);
    if (!ground || !visit) {
      const why = !visit
        ? words.visit.gone
        : this.#desk.lacking
          ? words.visit.rulesLacking
          : words.loading;
      return html`<main tabindex="-1">
        ${up}
        <p class="sub">${why}</p>
      </main>`;
    }
    const report = reportOn(this.phone, ground, this.#desk);
    void this.#load(report);
    return html`<main tabindex="-1">${up} ${sheet(report, this.pictures)}</main>
      ${bar([
        { label: words.report.print, press: () => print() },
        this.file === null
          ? { label: words.report.makeFile, press: () => void this.#prepare(report) }
          : { label: words.report.share, press: () => this.#share(report) },
      ])}`;
  }

  async #load({ photos }: Report): Promise<void> {
    if (this.#asked) return;
    this.#asked = true;
    const pictures = new Map<string, string>();
    for (const { hash } of photos) {
      const found = await this.phone.photos.bytes(hash).catch(() => null);
      if (!found) continue;
      const blob = new Blob(found.parts, { type: found.mime });
      const url = URL.createObjectURL(blob);
      this.#blobs.set(url, blob);
      pictures.set(hash, url);
    }
    this.pictures = pictures;
  }

  /** The report as it stands here, with its style and photos inside, for any browser and without this app. */
  async #prepare({ title }: Report): Promise<void> {
    const copy = this.querySelector(".sheet")!.cloneNode(true) as HTMLElement;
    for (const image of copy.querySelectorAll("img")) {
      image.src = await dataUrl(this.#blobs.get(image.src)!);
    }
    const style = [...document.styleSheets]
      .flatMap(({ cssRules }) => [...cssRules])
      .map(({ cssText }) => cssText)
      .join("\n");
    const head = document.createElement("head");
    const named = document.createElement("title");
    named.textContent = title;
    const dressed = document.createElement("style");
    dressed.textContent = style;
    const letters = document.createElement("meta");
    letters.setAttribute("charset", "utf-8");
    const view = document.createElement("meta");
    view.setAttribute("name", "viewport");
    view.setAttribute("content", "width=device-width, initial-scale=1");
    head.append(letters, view, named, dressed);
    const plain = copy.outerHTML.replaceAll(/<!--.*?-->/gs, "");
    this.file = `<!doctype html>\n<html lang="en">${head.outerHTML}<body>${plain}</body></html>\n`;
  }

  #share({ title }: Report): void {
    const name = `${title.replaceAll(/[^\p{L}\p{N}]+/gu, "-").slice(0, 80)}.html`;
    void offerFiles(textFile(name, [this.file!], "text/html"));
    this.file = null;
  }
}

function reportOn(phone: Phone, ground: Ground & { rules: Rules }, desk: Desk): Report {
  const { rules } = ground;
  const { enrolment } = phone.ledger;
  const own = phone.ledger.entries.find(({ stored }) => stored.mine)?.record.device;
  const work = evaluate(ground);
  return reportOf({
    to: speakerFor(phone, ground),
    work,
    history: desk.history(work, rules),
    book: phone.book,
    again: (key, si) => evaluate(ground, new Map([[key, si]])).answer,
    nameOf: (device) =>
      enrolment && (device === enrolment.device || device === own)
        ? enrolment.name
        : words.report.otherPhone,
    edition: { ...rules.pointer, hash: rules.hash },
    app: APP_VERSION,
  });
}

function dataUrl(blob: Blob): Promise<string> {
  return new Promise((done, failed) => {
    const reader = new FileReader();
    reader.onload = () => done(String(reader.result));
    reader.onerror = () => failed(reader.error);
    reader.readAsDataURL(blob);
  });
}

customElements.define("kw-report", ReportScreen);
