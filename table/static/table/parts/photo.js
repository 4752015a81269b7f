// A photo, made smaller on the phone before it is kept.
import { Component, html } from "./html.js";
import { _ } from "./i18n.js";
import { failureWords } from "./labels.js";
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

async function remove(id) {
  try {
    await store.removePhoto(id);
  } catch (error) {
    did(failureWords(error));
  }
}

/** Addresses of pictures by photo: one that is being sent is neither here nor at the server yet. */
const seen = new Map();

class Thumbnail extends Component {
  async componentDidMount() {
    const { id, isThere } = this.props;
    const picture = !seen.has(id) && isThere && (await store.picture(id));
    if (picture) seen.set(id, URL.createObjectURL(picture));
    this.setState({});
  }

  render({ id, label }) {
    return seen.has(id) && html`<img src=${seen.get(id)} alt=${label} />`;
  }
}

/** Props: session, infusion (id or null), kind (as the API names it), label. */
export function PhotoButton({ session, infusion, kind, label }) {
  const take = async (event) => {
    const input = event.currentTarget;
    const [file] = input.files;
    if (!file) return;
    try {
      const id = await store.addPhoto({ session, infusion, kind, blob: await smaller(file) });
      did(_("Photo saved"), () => remove(id));
    } catch (error) {
      if (error.name !== "InvalidStateError") throw error;
      did(_("This file is no picture that the phone can read."));
    } finally {
      input.value = "";
    }
  };
  const taken = [...store.photos.value.values()].filter((one) => one.session === session && (one.infusion ?? null) === infusion && one.of === kind);
  return html`<div class="photos"><label class="button second file"><span>${label}</span>
    <input type="file" accept="image/*" capture="environment" onChange=${take} /></label>
    ${taken.map(({ id, state }) => html`<${Thumbnail} key=${`${id} ${state}`} id=${id} isThere=${["waiting", "kept"].includes(state)} label=${label} />`)}</div>`;
}
