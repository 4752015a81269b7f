// What went wrong while keeping something; it stays in sight until the next thing is kept.
import { signal } from "./html.js";
import { _ } from "./i18n.js";

export const trouble = signal(null);

/** Nothing that was tapped is lost silently: a phone that is full, or whose storage fails, says so. */
export function watchTrouble() {
  addEventListener("unhandledrejection", (event) => {
    if (!(event.reason instanceof DOMException)) return;
    event.preventDefault();
    trouble.value =
      event.reason.name === "QuotaExceededError"
        ? _("Not kept: the phone's storage is full. Free some space, then tap again.")
        : _("Not kept: the phone's storage refused it. Tap again.");
  });
}
