// The one store of this page. Screens read its signals and write through model/.
import { openStore } from "../data/store.js";

export let store = null;

export async function open() {
  store = await openStore();
  return store;
}

/** A setting of this phone, or what it is until it is set. */
export function local(key, otherwise) {
  return store.local(key).value ?? otherwise;
}
