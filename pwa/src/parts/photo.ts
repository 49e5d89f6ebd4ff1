/** A photograph: made smaller, kept on the phone, named by a record. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Kept, Visit } from "../book.ts";
import type { Photo } from "../generated/records.ts";
import { StoreFull } from "../ledger/errors.ts";
import { sortOf, withoutNotes } from "../picture.ts";
import { pathOf } from "../routes.ts";
import { words } from "../words/index.ts";
import { Screen } from "./element.ts";
import { valueOf } from "./field.ts";
import { clock } from "./frame.ts";

const LONGEST_PX = 1600;
const QUALITY = 0.8;
const LARGEST = 12 * 1024 * 1024;

export class PhotoPart extends Screen {
  static override properties = {
    ...Screen.properties,
    visit: { attribute: false },
    edition: { attribute: false },
    checklist: { attribute: false },
    step: { attribute: false },
    open: { attribute: false },
    problem: { state: true },
    caption: { state: true },
    taking: { state: true },
  };
  declare visit: Visit;
  declare edition: string;
  declare checklist: string;
  declare step: string;
  /** Photos can still be taken. */
  declare open: boolean;
  declare problem: string;
  declare caption: string;
  declare taking: boolean;
  readonly #urls = new Map<string, string | null>();

  constructor() {
    super();
    this.problem = "";
    this.caption = "";
    this.taking = false;
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    for (const url of this.#urls.values()) if (url) URL.revokeObjectURL(url);
    this.#urls.clear();
  }

  protected override render(): TemplateResult {
    const own = this.visit.photos.filter(
      ({ body }) => body.checklist === this.checklist && body.step === this.step,
    );
    return html`${own.map((photo) => this.#shown(photo))}
    ${
      this.open
        ? html`<div class="ask">
              <label for="caption">${words.photo.caption}</label>
              <input
                class="wide"
                id="caption"
                type="text"
                maxlength="500"
                autocomplete="off"
                .value=${this.caption}
                @input=${(event: Event) => (this.caption = valueOf(event))}
              />
            </div>
            <div class="takes">
              ${this.#source("photo", own.length ? words.photo.another : words.photo.take, true)}
              ${this.#source("picture", words.photo.choose, false)}
            </div>
            <p class="note" role="status">${this.taking ? words.photo.taking : ""}</p>
            ${this.problem ? html`<p class="problem" role="alert">${this.problem}</p>` : nothing}`
        : nothing
    }`;
  }

  /** A press that opens the camera, or the pictures on the phone. */
  #source(id: string, label: string, camera: boolean): TemplateResult {
    return html`<label class="press wide">
      <input
        class="over"
        id=${id}
        type="file"
        accept="image/jpeg,image/png"
        capture=${camera ? "environment" : nothing}
        @change=${(event: Event) => void this.#take(event.target as HTMLInputElement)}
      />
      ${label}
    </label>`;
  }

  #shown({ body, source }: Kept<Photo>): TemplateResult {
    const { photo, caption } = body;
    const url = this.#urls.get(photo);
    if (url === undefined) {
      this.#urls.set(photo, "");
      void this.phone.photos.bytes(photo).then((found) => {
        const blob = found && new Blob(found.parts, { type: found.mime });
        this.#urls.set(photo, blob && URL.createObjectURL(blob));
        this.requestUpdate();
      });
    }
    const said = caption || words.photo.alt;
    return html`<figure class="photo-of">
      ${url ? html`<img class="photo" src=${url} alt=${said} />` : nothing}
      <figcaption class="note">
        ${[caption, clock(source.when.corrected), url === null ? words.photo.elsewhere : ""]
          .filter(Boolean)
          .join(" · ")}
      </figcaption>
      ${
        this.open
          ? html`<a
              class="quiet"
              href=${pathOf({ at: "entry", visit: this.visit.id, record: source.record })}
              >${words.photo.mend}</a
            >`
          : nothing
      }
    </figure>`;
  }

  async #take(input: HTMLInputElement): Promise<void> {
    const file = input.files?.[0];
    input.value = "";
    if (!file) return;
    this.problem = "";
    this.taking = true;
    const picture = await smaller(file);
    this.taking = false;
    if (!picture) {
      this.problem = words.photo.unreadable;
      return;
    }
    const { id, site, system } = this.visit;
    try {
      const photo = await this.phone.photos.keep(picture.bytes, picture.mime, id);
      const body = {
        ...{ photo, mime: picture.mime, size: picture.bytes.length },
        ...{ caption: this.caption.trim(), checklist: this.checklist, step: this.step },
      };
      const about = { site, system, visit: id };
      await this.phone.write({ kind: "photo", about, edition: this.edition, body });
      this.caption = "";
    } catch (error) {
      this.problem = error instanceof StoreFull ? words.store.full : words.store.notSaved;
    }
  }
}

interface Picture {
  bytes: Uint8Array<ArrayBuffer>;
  mime: Photo["mime"];
}

/** A JPEG of at most 1600 px; the file as it is where the browser cannot read it; null if too large. */
async function smaller(file: File): Promise<Picture | null> {
  try {
    const whole = await createImageBitmap(file);
    const scale = Math.min(1, LONGEST_PX / Math.max(whole.width, whole.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(whole.width * scale);
    canvas.height = Math.round(whole.height * scale);
    canvas.getContext("2d")?.drawImage(whole, 0, 0, canvas.width, canvas.height);
    whole.close();
    const blob = await new Promise<Blob | null>((done) =>
      canvas.toBlob(done, "image/jpeg", QUALITY),
    );
    if (blob) return { bytes: new Uint8Array(await blob.arrayBuffer()), mime: "image/jpeg" };
  } catch {
    // Kept as it came, below.
  }
  if (file.size > LARGEST) return null;
  const bytes = withoutNotes(new Uint8Array(await file.arrayBuffer()));
  const mime = sortOf(bytes);
  return mime && { bytes, mime };
}

customElements.define("kw-photo", PhotoPart);
