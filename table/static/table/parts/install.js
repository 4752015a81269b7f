// Installing the app: browsers that offer it say so once, and only this event can ask.
import { signal } from "./html.js";
import { store } from "./store.js";

export const canInstall = signal(false);
let offer = null;

export const isInstalled = () => matchMedia("(display-mode: standalone)").matches || navigator.standalone === true;

export function watchInstall() {
  addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    offer = event;
    canInstall.value = true;
  });
}

export async function install() {
  canInstall.value = false;
  await offer.prompt();
  await store.setLocal("installAsked", true);
}
