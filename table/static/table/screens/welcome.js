// Nobody is signed in on this phone: by the sign-in page, or by a code that another device shows.
import { Component, html } from "../parts/html.js";
import { _ } from "../parts/i18n.js";
import { failureWords } from "../parts/labels.js";
import { store } from "../parts/store.js";

class CodeForm extends Component {
  state = { typed: store.offeredCode.value, problem: "" };

  send = async (event) => {
    event.preventDefault();
    this.setState({ problem: "" });
    try {
      await store.signIn({ code: this.state.typed });
    } catch (error) {
      this.setState({ problem: failureWords(error) });
    }
  };

  render() {
    const { typed, problem } = this.state;
    return html`<form onSubmit=${this.send}>
      <h2>${_("With a code")}</h2>
      <p>${_("A page on which you are signed in already shows one: Account, “Sign a phone in”.")}</p>
      <label for="code">${_("Code")}</label>
      <input id="code" autocomplete="one-time-code" autocapitalize="characters" maxlength="40" value=${typed}
        onInput=${(event) => this.setState({ typed: event.currentTarget.value })} />
      <p class="wrong" role="alert">${problem}</p>
      <p class="forward"><button type="submit" class="second" disabled=${!typed.trim()}>${_("Sign in with the code")}</button></p>
    </form>`;
  }
}

/** A link with a code was opened while somebody is signed in. */
function SignedInAlready() {
  const { name, teamName } = store.account.value;
  return html`<p class="hint">${_("%(name)s of %(team)s is signed in on this phone. With the code, somebody else tastes on; what %(name)s has not sent stays here until they sign in again.", { name, team: teamName })}</p>
    <p><button type="button" class="wide" onClick=${() => (store.offeredCode.value = "")}>${_("Stay signed in")}</button></p>
    <${CodeForm} />`;
}

export function WelcomeScreen() {
  if (store.account.value) {
    return html`<div class="app"><main id="content"><h1 tabindex="-1">${_("Sign another login in?")}</h1><${SignedInAlready} /></main></div>`;
  }
  return html`<div class="app"><main id="content">
    <h1 tabindex="-1">${_("The tasting table")}</h1>
    <p>${_("Sign in once, with a network. From then on the app opens and keeps your notes without one.")}</p>
    <p><a class="button wide" href="/sign-in/?next=/table/">${_("Sign in")}</a></p>
    <${CodeForm} />
  </main></div>`;
}
