// What was just done, with a way back; it takes no focus and covers no timer.
import { html, signal } from "./html.js";
import { _ } from "./i18n.js";
import { trouble } from "./trouble.js";

const SHOWN_MS = 10_000;
const last = signal(null);
let clearing = 0;

/** Say what was done; `undo` takes it back. */
export function did(text, undo = null) {
  clearTimeout(clearing);
  trouble.value = null;
  last.value = { text, undo };
  clearing = setTimeout(() => (last.value = null), SHOWN_MS);
}

async function takeBack() {
  const { undo } = last.value;
  clearTimeout(clearing);
  last.value = null;
  await undo();
}

export function Undo() {
  const shown = last.value;
  return html`<div class="undo" role="status">
    ${shown && html`<p>${shown.text}</p>`}
    ${shown?.undo && html`<button type="button" onClick=${takeBack}>${_("Undo")}</button>`}
  </div>`;
}
