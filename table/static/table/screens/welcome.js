// Nobody is signed in on this phone.
import { html } from "../parts/html.js";
import { _ } from "../parts/i18n.js";

export function WelcomeScreen() {
  return html`<div class="app"><main id="content">
    <h1 tabindex="-1">${_("The tasting table")}</h1>
    <p>${_("Sign in once, with a network. From then on the app opens and keeps your notes without one.")}</p>
    <p><a class="button wide" href="/sign-in/?next=/table/">${_("Sign in")}</a></p>
  </main></div>`;
}
