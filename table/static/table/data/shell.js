// The service worker that lets the app open without a network, and new versions of the app.
import { signal } from "../vendor/signals-core.js";

/** Whether a new version of the app waits; `takeUpdate` takes it. */
export const updateWaits = signal(false);

/** @type {?ServiceWorkerRegistration} */
let registration = null;

/** Register the worker and watch for new versions. */
export async function registerShell() {
  if (!("serviceWorker" in navigator)) return;
  registration = await navigator.serviceWorker.register(workerAddress(), { updateViaCache: "none" });
  watch(registration.installing);
  registration.addEventListener("updatefound", () => watch(registration?.installing ?? null));
  note();
}

/** Ask for a new version. */
export function lookForUpdate() {
  registration?.update().catch(() => {});
}

/** Load the new version; only while no timer runs and nothing is half-written. */
export function takeUpdate() {
  const waiting = registration?.waiting;
  if (!waiting) return;
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
  waiting.postMessage("take over");
}

/** @param {?ServiceWorker} worker */
function watch(worker) {
  worker?.addEventListener("statechange", note);
}

function note() {
  updateWaits.value = Boolean(registration?.waiting && navigator.serviceWorker.controller);
}

/** The address as a trusted type, which the page's policy asks for. */
function workerAddress() {
  const address = "/table/sw.js";
  const { trustedTypes } = /** @type {any} */ (globalThis);
  if (!trustedTypes) return address;
  return trustedTypes.createPolicy("leafspan", { createScriptURL: () => address }).createScriptURL("");
}
