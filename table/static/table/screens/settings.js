// Language, light and dark, signals; what is not sent, and signing out.
import { refusedWords } from "../model/reading.js";
import { Choice } from "../parts/fields.js";
import { Frame } from "../parts/frame.js";
import { Component, html } from "../parts/html.js";
import { LANGUAGES, _, language, ngettext, useLanguage, when } from "../parts/i18n.js";
import { isInstalled } from "../parts/install.js";
import { caffeine, failureWords, hotDrink, scalding, troubleWords } from "../parts/labels.js";
import { go } from "../parts/route.js";
import { local, store } from "../parts/store.js";
import { trouble } from "../parts/trouble.js";

const onOff = () => [[true, _("on")], [false, _("off")]];

async function saveUnsent() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await store.unsentFile());
  link.download = `leafspan-unsent-${store.now().toISOString().slice(0, 10)}.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

function Sending() {
  const { online, sending, lastSync, trouble } = store.link.value;
  const unsent = store.unsent.value;
  const state = sending ? _("Sending.") : online ? _("There is a network.") : _("There is no network; everything is kept on this phone.");
  return html`<section aria-labelledby="sending">
    <h2 id="sending">${_("Kept and sent")}</h2>
    <p>${unsent ? ngettext("%(n)s change is on this phone alone.", "%(n)s changes are on this phone alone.", unsent) : _("Everything is sent.")} ${state}</p>
    ${trouble && html`<p class="hint">${troubleWords(trouble)} ${trouble === "signed_out" && html`<a href="/sign-in/?next=/table/">${_("Sign in")}</a>`}</p>`}
    ${lastSync && html`<p class="soft">${_("Last sent and fetched: %(when)s", { when: when(lastSync, store.now()) })}</p>`}
    <p class="buttons"><button type="button" onClick=${() => store.sync()}>${_("Send now")}</button>
      <button type="button" class="second" onClick=${saveUnsent}>${_("Save unsent notes as a file")}</button></p>
  </section>`;
}

function Problems() {
  const problems = store.problems.value;
  if (problems.length === 0) return null;
  return html`<section aria-labelledby="problems">
    <h2 id="problems">${_("Not taken by the server")}</h2>
    ${problems.length > 1 && html`<p><button type="button" class="second" onClick=${() => store.dismiss(problems)}>${_("Take all off this list")}</button></p>`}
    <ul class="rows">${problems.map(
      (one, i) => html`<li key=${`${one.id} ${i}`}><p><b><bdi>${refusedWords(one)}</bdi></b><br />${one.detail}</p>
        <button type="button" class="second" onClick=${() => store.dismiss([one])}>${_("Seen")}</button></li>`,
    )}</ul>
  </section>`;
}

class SignOut extends Component {
  state = { asked: false };

  render() {
    const unsent = store.unsent.value;
    if (!this.state.asked || unsent === 0) {
      const press = () => (unsent === 0 ? store.signOut() : this.setState({ asked: true }));
      return html`<button type="button" class="second" onClick=${press}>${_("Sign out")}</button>`;
    }
    return html`<div class="hint" role="alert">
      <p>${ngettext("%(n)s change is not sent yet. It stays on this phone and is sent when you sign in here again; a file is safer.", "%(n)s changes are not sent yet. They stay on this phone and are sent when you sign in here again; a file is safer.", unsent)}</p>
      <p class="buttons"><button type="button" onClick=${saveUnsent}>${_("Save unsent notes as a file")}</button>
        <button type="button" class="second" onClick=${() => this.setState({ asked: false })}>${_("Stay signed in")}</button>
        <button type="button" class="danger" onClick=${() => store.signOut()}>${_("Sign out all the same")}</button></p>
    </div>`;
  }
}

async function choose(code) {
  await useLanguage(code);
  await store.setLocal("language", code);
}

/** For a login of several teams: for which one this phone writes. */
export function TeamChoice() {
  const teams = store.teams();
  if (teams.length < 2) return null;
  const unsent = store.unsent.value;
  return html`<${Choice} label=${_("Team")} options=${teams.map(({ id, name }) => [id, html`<bdi>${name}</bdi>`])} value=${store.account.value.team} onChoose=${chooseTeam} />
    ${unsent > 0 && html`<p class="soft">${ngettext("%(n)s change is not sent yet; it waits until this team is chosen again.", "%(n)s changes are not sent yet; they wait until this team is chosen again.", unsent)}</p>`}`;
}

async function chooseTeam(team) {
  try {
    await store.useTeam(team);
  } catch (error) {
    trouble.value = failureWords(error);
    return;
  }
  await store.setLocal("teamAsked", true);
  go();
}

export function SettingsScreen() {
  const account = store.account.value;
  const set = (key) => (value) => store.setLocal(key, value);
  return html`<${Frame} title=${_("Settings")}>
    <${Sending} />
    <${Problems} />
    <section aria-labelledby="look"><h2 id="look">${_("Look and signals")}</h2>
      <${Choice} label=${_("Language")} options=${Object.entries(LANGUAGES)} value=${language.value} onChoose=${choose} />
      <${Choice} label=${_("Light or dark")} options=${[["auto", _("as the phone")], ["light", _("light")], ["dark", _("dark")]]} value=${local("theme", "auto")} onChoose=${set("theme")} />
      <${Choice} label=${_("Sound when the time is up")} options=${onOff()} value=${local("sound", true)} onChoose=${set("sound")} />
      <${Choice} label=${_("Flash when the time is up")} options=${onOff()} value=${local("flash", true)} onChoose=${set("flash")} />
      <${Choice} label=${_("Vibration when the time is up")} options=${onOff()} value=${local("vibration", true)} onChoose=${set("vibration")} />
    </section>
    ${!isInstalled() && html`<section aria-labelledby="install"><h2 id="install">${_("Install")}</h2>
      <p>${_("Install this app from the browser's menu: “Add to home screen”. On an iPhone or iPad, notes of a page that is not installed are dropped after seven days of browser use without a visit.")}</p></section>`}
    <section aria-labelledby="account"><h2 id="account">${_("Account")}</h2>
      <${TeamChoice} />
      ${account && html`<p>${_("Signed in as %(name)s, %(team)s.", { name: account.name, team: account.teamName })} <a href="/lots/">${_("To the lots and reports")}</a></p>`}
      <${SignOut} /></section>
    <section class="cautions" aria-labelledby="care"><h2 id="care">${_("Take care")}</h2><ul><li>${scalding()}</li><li>${hotDrink()}</li><li>${caffeine()}</li></ul></section>
  </${Frame}>`;
}
