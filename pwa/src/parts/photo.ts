/** A photograph: made smaller, kept on the phone, named by a record. */
import { html, nothing } from "lit";
import type { TemplateResult } from "lit";
import type { Visit } from "../book.ts";
import { StoreFull } from "../ledger/errors.ts";
import { words } from "../words/en.ts";
import { Screen } from "./element.ts";

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
    problem: { state: true },
  };
  declare visit: Visit;
  declare edition: string;
  declare checklist: string;
  declare step: string;
  declare problem: string;
  readonly #urls = new Map<string, string>();

  constructor() {
    super();
    this.problem = "";
  }

  override disconnectedCallback(): void {
    super.disconnectedCallback();
    for (const url of this.#urls.values()) URL.revokeObjectURL(url);
  }

  protected override render(): TemplateResult {
    const own = this.visit.photos.filter(
      ({ body }) => body.checklist === this.checklist && body.step === this.step,
    );
    return html`${own.map(({ body }) => this.#shown(body.photo))}
      <div class="ask">
        <label for="photo">${own.length ? words.photo.another : words.photo.take}</label>
        <input
          class="wide"
          id="photo"
          type="file"
          accept="image/jpeg,image/png"
          @change=${(event: Event) => void this.#take(event.target as HTMLInputElement)}
        />
        ${this.problem ? html`<p class="problem">${this.problem}</p>` : nothing}
      </div>`;
  }

  #shown(hash: string): TemplateResult | typeof nothing {
    const url = this.#urls.get(hash);
    if (url === undefined) {
      this.#urls.set(hash, "");
      void this.phone.photos.bytes(hash).then((found) => {
        if (!found) return;
        this.#urls.set(hash, URL.createObjectURL(new Blob(found.parts, { type: found.mime })));
        this.requestUpdate();
      });
    }
    return url ? html`<img class="photo" src=${url} alt=${words.photo.alt} />` : nothing;
  }

  async #take(input: HTMLInputElement): Promise<void> {
    const file = input.files?.[0];
    input.value = "";
    if (!file) return;
    this.problem = "";
    const picture = await smaller(file);
    if (!picture) {
      this.problem = words.photo.unreadable;
      return;
    }
    const { id, site, system } = this.visit;
    try {
      const photo = await this.phone.photos.keep(picture.bytes, picture.mime, id);
      const body = {
        ...{ photo, mime: picture.mime, size: picture.bytes.length },
        ...{ checklist: this.checklist, step: this.step },
      };
      const about = { site, system, visit: id };
      await this.phone.write({ kind: "photo", about, edition: this.edition, body });
    } catch (error) {
      this.problem = error instanceof StoreFull ? words.store.full : words.store.notSaved;
    }
  }
}

interface Picture {
  bytes: Uint8Array<ArrayBuffer>;
  mime: "image/jpeg" | "image/png";
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
  const mime = file.type;
  if (file.size > LARGEST || (mime !== "image/jpeg" && mime !== "image/png")) return null;
  return { bytes: new Uint8Array(await file.arrayBuffer()), mime };
}

customElements.define("kw-photo", PhotoPart);
