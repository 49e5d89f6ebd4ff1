/** A visit that begins on the phone: where, on what, for what. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Book } from "../book.ts";
import type { VisitKind } from "../generated/records.ts";
import type { Draft } from "../ledger/ledger.ts";
import { uuid4 } from "../ledger/uuid.ts";
import { Screen, go } from "../parts/element.ts";
import { valueOf } from "../parts/field.ts";
import { back, bar, day } from "../parts/frame.ts";
import { sign } from "../parts/sign.ts";
import { words } from "../words/index.ts";

const KINDS: VisitKind[] = ["install", "commissioning", "maintenance", "fault"];
const NEW = "new";
/** Names what was begun, until it is opened. */
const BEGUN = "new-visit";
const EMPTY: Draft_ = {
  ...{ kind: "", site: "", siteName: "", address: "", system: "", systemLabel: "" },
  ...{ counts: {}, checklists: [] },
};

interface Draft_ {
  kind: VisitKind | "";
  site: string;
  siteName: string;
  address: string;
  system: string;
  systemLabel: string;
  counts: Record<string, number>;
  checklists: string[];
}

class NewVisit extends Screen {
  static override properties = {
    ...Screen.properties,
    draft: { state: true },
    asked: { state: true },
  };
  declare draft: Draft_;
  declare asked: boolean;

  constructor() {
    super();
    this.asked = false;
    this.draft = EMPTY;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    void this.phone.drafts.text(BEGUN).then(
      (begun) => {
        if (begun && this.draft === EMPTY) this.draft = JSON.parse(begun) as Draft_;
      },
      () => undefined,
    );
  }

  protected override render(): TemplateResult {
    const { phone, draft } = this;
    const { book } = phone;
    const systems = [...book.systems.values()].filter(({ site }) => site === draft.site);
    const newSite = draft.site === NEW || book.sites.size === 0;
    const newSystem = newSite || draft.system === NEW || systems.length === 0;
    const missing = this.#missing(newSite, newSystem);
    return html`<main tabindex="-1">
        ${back("/", words.places.visits)}
        <h1>${words.newVisit.title}</h1>
        ${radios(
          "kind",
          words.newVisit.kind,
          draft.kind,
          options(KINDS, (kind) => words.visit.kinds[kind]),
          (kind) => this.#set({ kind: kind as VisitKind }),
        )}
        ${
          book.sites.size
            ? html`<div class="ask">
                <label for="site">${words.newVisit.site}</label>
                <select
                  id="site"
                  @change=${(e: Event) => this.#set({ site: valueOf(e), system: "" })}
                >
                  <option value="" ?selected=${draft.site === ""}>${words.field.choose}</option>
                  <option value=${NEW} ?selected=${draft.site === NEW}>
                    ${words.newVisit.newSite}
                  </option>
                  ${[...book.sites.values()].map(
                    ({ id, name, address }) =>
                      html`<option value=${id} ?selected=${draft.site === id}>
                        ${[name, address].filter(Boolean).join(", ")}
                      </option>`,
                  )}
                </select>
              </div>`
            : nothing
        }
        ${
          newSite
            ? html`${text("site-name", words.newVisit.siteName, draft.siteName, (siteName) => this.#set({ siteName }))}
              ${text("address", words.newVisit.address, draft.address, (address) => this.#set({ address }))}`
            : nothing
        }
        ${
          !newSite && draft.site && systems.length
            ? radios(
                "system",
                words.newVisit.system,
                draft.system,
                [
                  ...systems.map(({ id, label }) => ({ value: id, label })),
                  { value: NEW, label: words.newVisit.newSystem },
                ],
                (system) => this.#set({ system }),
              )
            : nothing
        }
        ${
          newSystem && (newSite || draft.site)
            ? html`${text(
                "system-label",
                words.newVisit.systemLabel,
                draft.systemLabel,
                (systemLabel) => this.#set({ systemLabel }),
              )}
              ${this.#counts()}`
            : nothing
        }
        ${this.#checklists()}
        ${this.asked && missing ? html`<p class="problem" role="alert">${missing}</p>` : nothing}
      </main>
      ${bar([{ label: words.newVisit.open, press: () => void this.#open(book, newSite, newSystem) }])}`;
  }

  /** How many members each collection begins with. */
  #counts(): TemplateResult[] {
    const collections = Object.entries(this.phone.rules?.engine.bundle.collections ?? {});
    return collections.map(([id, { plural }]) =>
      radios(
        `count-${id}`,
        plural,
        String(this.draft.counts[id] ?? 1),
        options(["1", "2", "3", "4"], (n) => n),
        (n) => this.#set({ counts: { ...this.draft.counts, [id]: Number(n) } }),
      ),
    );
  }

  #checklists(): TemplateResult | typeof nothing {
    const lists = this.phone.rules?.engine.bundle.checklists ?? [];
    if (lists.length === 0) return nothing;
    const { checklists } = this.draft;
    const toggle = (id: string): void => {
      const without = checklists.filter((each) => each !== id);
      this.#set({ checklists: without.length < checklists.length ? without : [...checklists, id] });
    };
    return html`<fieldset class="ask">
      <legend>${words.newVisit.checklists}</legend>
      <div class="choices stack">
        ${lists.map(
          ({ id, title }) =>
            html`<label class="choice">
              <input
                type="checkbox"
                .checked=${checklists.includes(id)}
                @change=${() => toggle(id)}
              />
              <span>${checklists.includes(id) ? sign("pass", "") : sign("todo", "")}${title}</span>
            </label>`,
        )}
      </div>
    </fieldset>`;
  }

  #set(change: Partial<Draft_>): void {
    this.draft = { ...this.draft, ...change };
    void this.phone.drafts.keepText(BEGUN, JSON.stringify(this.draft)).catch(() => undefined);
  }

  #missing(newSite: boolean, newSystem: boolean): string {
    const { kind, site, siteName, system, systemLabel } = this.draft;
    if (kind === "") return words.newVisit.needs.kind;
    if (newSite ? !siteName.trim() : !site) return words.newVisit.needs.site;
    if (newSystem ? !systemLabel.trim() : !system) return words.newVisit.needs.system;
    return "";
  }

  async #open(book: Book, newSite: boolean, newSystem: boolean): Promise<void> {
    this.asked = true;
    if (this.#missing(newSite, newSystem)) return;
    const { draft, phone } = this;
    const kind = draft.kind as VisitKind;
    const site = newSite ? uuid4() : draft.site;
    const system = newSystem ? uuid4() : draft.system;
    const visit = uuid4();
    const edition = phone.rules?.hash ?? null;
    const siteName = newSite ? draft.siteName.trim() : (book.sites.get(site)?.name ?? "");
    const records: Draft[] = [];
    if (newSite) {
      const body = { name: siteName, address: draft.address.trim() };
      records.push({
        kind: "site-added",
        about: { site, system: null, visit: null },
        edition,
        body,
      });
    }
    if (newSystem) {
      const about = { site, system, visit: null };
      const body = { label: draft.systemLabel.trim() };
      records.push({ kind: "system-added", about, edition, body });
      for (const [collection, { label }] of Object.entries(
        phone.rules?.engine.bundle.collections ?? {},
      )) {
        for (let n = 1; n <= (draft.counts[collection] ?? 1); n += 1) {
          const member = { collection, member: uuid4(), label: `${label} ${n}` };
          records.push({ kind: "member-added", about, edition, body: member });
        }
      }
    }
    records.push({
      ...{ kind: "visit-opened" as const, about: { site, system, visit }, edition },
      body: {
        title: `${words.visit.kinds[kind]}, ${siteName}`.slice(0, 200),
        ...{ visit_kind: kind, date: day(Date.now()), checklists: draft.checklists },
      },
    });
    try {
      await phone.write(...records);
    } catch {
      // The phone has said so; the form stays as it is.
      return;
    }
    await phone.drafts.keepText(BEGUN, "").catch(() => undefined);
    go({ at: "visit", visit });
  }
}

function options<V extends string>(
  values: readonly V[],
  label: (value: V) => string,
): { value: string; label: string }[] {
  return values.map((value) => ({ value, label: label(value) }));
}

function radios(
  name: string,
  legend: string,
  chosen: string,
  all: readonly { value: string; label: string }[],
  set: (value: string) => void,
): TemplateResult {
  return html`<fieldset class="ask">
    <legend>${legend}</legend>
    <div
      class="choices ${all.some(({ label }) => label.length > 22) ? "stack" : ""} ${all.every(({ label }) => label.length < 3) ? "few" : ""}"
    >
      ${all.map(
        ({ value, label }) =>
          html`<label class="choice">
            <input
              type="radio"
              name=${name}
              value=${value}
              .checked=${chosen === value}
              @change=${() => set(value)}
            />
            <span>${chosen === value ? sign("pass", "") : nothing}${label}</span>
          </label>`,
      )}
    </div>
  </fieldset>`;
}

function text(
  id: string,
  label: string,
  value: string,
  set: (value: string) => void,
): TemplateResult {
  return html`<div class="ask">
    <label for=${id}>${label}</label>
    <input
      class="wide"
      type="text"
      id=${id}
      maxlength="200"
      autocomplete="off"
      .value=${value}
      @input=${(event: Event) => set(valueOf(event))}
    />
  </div>`;
}

customElements.define("kw-new-visit", NewVisit);
