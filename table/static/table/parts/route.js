// Where in the app one is, in the address after the #, so that back and reload work.
import { computed, signal } from "./html.js";

const hash = signal(location.hash);
addEventListener("hashchange", () => {
  hash.value = location.hash;
});

/** The parts of the address: ["tasting", "<id>", "pour"]. */
export const route = computed(() => hash.value.replace(/^#\/?/, "").split("/").filter(Boolean).map(decodeURIComponent));

export const to = (...parts) => `#/${parts.map(encodeURIComponent).join("/")}`;

export function go(...parts) {
  location.hash = to(...parts);
}

/** Go there without a step that "back" would return to. */
export function goInstead(...parts) {
  history.replaceState(null, "", to(...parts));
  hash.value = location.hash;
}
