// What was just done, with a way back; it takes no focus and covers no timer.
import { html, signal } from "./html.js";
import { _ } from "./i18n.js";
import { sessionOf, titleOf } from "../model/reading.js";
import { route } from "./route.js";
import { trouble } from "./trouble.js";

const SHOWN_MS = 10_000;
const last = signal(null);
let clearing = 0;

/** Say what was done; `undo` takes it back. */
export function did(text, undo = null) {
  clearTimeout(clearing);
  trouble.value = null;
  last.value = { text, undo, session: sessionHere() };
  clearing = setTimeout(() => (last.value = null), SHOWN_MS);
}

/** The tasting whose screen is open, or null. */
const sessionHere = () => (route.value[0] === "tasting" ? route.value[1] : null);

/** On the screen of another pot it says which one is meant. */
function words({ text, session }) {
  const found = session && session !== sessionHere() ? sessionOf(session) : null;
  return found ? `${titleOf(found)}: ${text}` : text;
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
    ${shown && html`<p>${words(shown)}</p>`}
    ${shown?.undo && html`<button type="button" onClick=${takeBack}>${_("Undo")}</button>`}
  </div>`;
}
