// A photo, made smaller on the phone before it is kept.
import { html } from "./html.js";
import { _ } from "./i18n.js";
import { store } from "./store.js";
import { did } from "./undo.js";

const LONGEST_SIDE_PX = 2048;
const QUALITY = 0.85;

async function smaller(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST_SIDE_PX / Math.max(picture.width, picture.height));
  const canvas = new OffscreenCanvas(Math.round(picture.width * scale), Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return canvas.convertToBlob({ type: "image/jpeg", quality: QUALITY });
}

/** Props: session, infusion (id or null), kind (as the API names it). */
export function PhotoButton({ session, infusion, kind, label }) {
  const take = async (event) => {
    const input = event.currentTarget;
    const [file] = input.files;
    if (!file) return;
    try {
      await store.addPhoto({ session, infusion, kind, blob: await smaller(file) });
      did(_("Photo kept"));
    } catch (error) {
      if (error.name !== "InvalidStateError") throw error;
      did(_("This file is no picture that the phone can read."));
    } finally {
      input.value = "";
    }
  };
  return html`<label class="button second file"><span>${label ?? _("Take a photo")}</span>
    <input type="file" accept="image/*" capture="environment" onChange=${take} /></label>`;
}
