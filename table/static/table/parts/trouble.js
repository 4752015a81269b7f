// What went wrong while keeping something; it stays in sight until the next thing is kept.
import { signal } from "./html.js";
import { _ } from "./i18n.js";

export const trouble = signal(null);

/** Nothing that the screen calls kept is lost silently: a full phone says so. */
export function watchTrouble() {
  addEventListener("unhandledrejection", (event) => {
    if (event.reason?.name !== "QuotaExceededError") return;
    event.preventDefault();
    trouble.value = _("Not kept: the phone's storage is full. Free some space, then tap again.");
  });
}
