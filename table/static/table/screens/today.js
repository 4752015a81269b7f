// The day's list: what was tasted, what only this phone has, which blind cups wait.
import { MOST_POTS, onTable } from "../model/pour.js";
import { cupsToTaste, infusionsOf, isClosed, mySessions, notesOf, ratedIn, roleNow, sessionOfCup, titleOf, wordLabel } from "../model/reading.js";
import { Curve, curveLabel } from "../parts/curve.js";
import { Frame } from "../parts/frame.js";
import { html } from "../parts/html.js";
import { _, ngettext, number, when } from "../parts/i18n.js";
import { caffeine, hotDrink, scalding } from "../parts/labels.js";
import { to } from "../parts/route.js";
import { local, store } from "../parts/store.js";
import { canInstall, install } from "../parts/install.js";
import { TeamChoice } from "./settings.js";

const EARLIER = 20;
const MANY = 1000; // fewer come in a moment

/** From the least to the most liked cup, to judge several teas by. */
function likingOf({ liking }) {
  const points = liking.map(([, value]) => value);
  const ends = [...new Set([Math.min(...points), Math.max(...points)])];
  return points.length > 0 && `${wordLabel("liking")} ${ends.map((value) => number(value, 1)).join("–")}`;
}

function Row({ session }) {
  const cups = infusionsOf(session.id).filter((one) => one.fields.number > 0).length;
  const isCounted = store.isRead(session.id) && (cups > 0 || !session.fields.flight_cup); // a score is of the cup as a whole
  const counted = isCounted && ngettext("%(n)s infusion", "%(n)s infusions", cups);
  const rated = ratedIn(infusionsOf(session.id), notesOf(session.id));
  const state = onTable().includes(session.id) ? _("on the table") : isClosed(session) ? _("closed") : _("open");
  const isUnsent = store.unsentSessions.value.has(session.id);
  return html`<li><a class="row" href=${to("tasting", session.id, isClosed(session) ? "look" : "")}>
    <b><bdi>${titleOf(session)}</bdi></b>
    <span class="soft">${[when(session.fields.started_at, store.now()), counted, state, likingOf(rated)].filter(Boolean).join(" · ")}</span>
    ${rated.strength.length > 1 && html`<${Curve} isSmall rated=${rated} label=${curveLabel(rated)} />`}
    <span class="sent" data-unsent=${isUnsent}>${isUnsent ? _("saved on this phone") : _("sent")}</span>
  </a></li>`;
}

function Flights() {
  const open = [...store.flights.value.values()].map((flight) => [flight, cupsToTaste(flight)]).filter(([, cups]) => cups.length > 0);
  if (open.length === 0) return null;
  return html`<section aria-labelledby="flights">
    <h2 id="flights">${_("Blind cups")}</h2>
    <ul class="rows">${open.map(([flight, cups]) => {
      const left = cups.filter((cup) => !cup.tasted && !sessionOfCup(cup.id)).length;
      return html`<li key=${flight.id}><a class="row" href=${to("flight", flight.id)}><b><bdi>${flight.name}</bdi></b> <span class="soft">${left ? ngettext("%(n)s cup to taste", "%(n)s cups to taste", left) : _("on the table")}</span></a></li>`;
    })}</ul>
  </section>`;
}

function NewVersion() {
  if (!store.updateWaits.value) return null;
  const isFree = onTable().length === 0;
  return html`<p class="hint">${isFree ? _("A new version of the app is ready.") : _("A new version of the app is ready; close the pots on the table first.")}
    ${isFree && html`<button type="button" onClick=${store.takeUpdate}>${_("Take it")}</button>`}</p>`;
}

/** How far the first load of a team, or another long one, has come. */
function Fetching() {
  const { sending, pulled } = store.link.value;
  if (!sending || pulled < MANY) return null;
  return html`<p class="hint" role="status">${_("The team's notes are being fetched: %(n)s records so far. You can taste meanwhile.", { n: number(pulled) })}</p>`;
}

function Install() {
  if (!canInstall.value || local("installAsked", false)) return null;
  return html`<p class="hint">${_("Install this app, so that the phone keeps your notes and opens them without a network.")}
    <button type="button" onClick=${install}>${_("Install")}</button>
    <button type="button" class="quiet" onClick=${() => store.setLocal("installAsked", true)}>${_("Not now")}</button></p>`;
}

/** A login of several teams is asked once; later the choice is in the settings. */
function FirstTeam() {
  if (local("teamAsked", false) || !(store.account.value.teams?.length > 1)) return null;
  return html`<div class="hint"><${TeamChoice} />
    <p><button type="button" class="quiet" onClick=${() => store.setLocal("teamAsked", true)}>${_("Taste for %(team)s", { team: store.account.value.teamName })}</button></p></div>`;
}

export function TodayScreen() {
  const day = store.now().toDateString();
  const all = mySessions();
  const today = all.filter((one) => new Date(one.fields.started_at).toDateString() === day);
  const earlier = all.filter((one) => !today.includes(one)).slice(0, EARLIER);
  const { name, teamName } = store.account.value ?? {};
  const mayTaste = roleNow() !== "viewer";
  const start = !mayTaste
    ? html`<p class="soft">${_("Your role looks on: it writes no tastings.")}</p>`
    : onTable().length < MOST_POTS
      ? html`<a class="button wide" href=${to("lots")}>${_("Start a tasting")}</a>`
      : html`<p class="soft">${_("Six pots are on the table. Close one to start another.")}</p>`;
  return html`<${Frame} title=${_("Today")} bottom=${html`<div class="start">${start}</div>`}>
    <p class="soft"><bdi>${name}</bdi> · <bdi>${teamName}</bdi></p>
    <${NewVersion} />
    <${Fetching} />
    <${FirstTeam} />
    ${today.length === 0 && html`<p>${_("Nothing tasted yet today.")}</p>`}
    <ul class="rows">${today.map((one) => html`<${Row} key=${one.id} session=${one} />`)}</ul>
    ${today.length > 0 && html`<${Install} />`}
    <${Flights} />
    ${earlier.length > 0 && html`<section aria-labelledby="earlier"><h2 id="earlier">${_("Earlier")}</h2>
      <ul class="rows">${earlier.map((one) => html`<${Row} key=${one.id} session=${one} />`)}</ul></section>`}
    <section class="cautions" aria-labelledby="care"><h2 id="care">${_("Take care")}</h2>
      <ul><li>${scalding()}</li><li>${hotDrink()}</li><li>${caffeine()}</li></ul></section>
  </${Frame}>`;
}
