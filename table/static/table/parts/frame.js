// What stands around every screen: the table's pots with their times, what is kept and sent, what was just done.
import { MOST_POTS, isRunning, onTable, pourOf } from "../model/pour.js";
import { infusionsOf, sessionOf, titleOf } from "../model/reading.js";
import { overdue } from "./alarm.js";
import { html } from "./html.js";
import { _, clock, ngettext } from "./i18n.js";
import { route, to } from "./route.js";
import { local, store } from "./store.js";
import { PourTime } from "./ticking.js";
import { trouble } from "./trouble.js";
import { Undo } from "./undo.js";

function phaseWords(pour, isServed) {
  return {
    waiting: isServed ? "" : _("waiting"),
    steeping: pour.target_s ? `/ ${clock(pour.target_s)}` : _("steeping"),
    pouring: _("pouring"),
    resting: _("rests"),
  }[pour.phase];
}

function Pot({ id, session }) {
  const pour = pourOf(id);
  const number = isRunning(pour) ? pour.number : infusionsOf(id).at(-1)?.fields.number;
  const isHere = route.value[0] === "tasting" && route.value[1] === id;
  const isLate = overdue.value.has(id);
  return html`<li>
    <a class="pot" data-phase=${pour.phase} data-late=${isLate} href=${to("tasting", id)} aria-current=${isHere ? "page" : undefined}>
      <span class="pot-name"><bdi>${titleOf(session)}</bdi></span>
      <span class="pot-time">${number === undefined ? "" : html`<b>${number}</b> `}${pour.phase !== "waiting" && html`<${PourTime} session=${id} /> `}<span>${isLate ? _("pour") : phaseWords(pour, session.fields.flight_cup)}</span></span>
    </a>
  </li>`;
}

function TablePots() {
  const pots = onTable().map((id) => [id, sessionOf(id)]).filter(([, session]) => session);
  if (pots.length === 0) return null;
  return html`<nav class="pots" aria-label=${_("Pots on the table")}>
    <ul>
      ${pots.map(([id, session]) => html`<${Pot} key=${id} id=${id} session=${session} />`)}
      ${pots.length < MOST_POTS && html`<li class="pot-more"><a class="pot" href=${to("lots")}><span aria-hidden="true">+</span><span class="unseen">${_("Another pot")}</span></a></li>`}
    </ul>
  </nav>`;
}

/** How many changes only this phone has. */
function Kept() {
  const unsent = store.unsent.value;
  const problems = store.problems.value.length;
  const { online, sending, trouble } = store.link.value;
  const refused = problems > 0 && ngettext("%(n)s not taken", "%(n)s not taken", problems);
  const link = trouble === "signed_out" ? _("signed out") : sending ? _("sending") : online ? _("network") : _("no network");
  const kept = unsent > 0 && ngettext("%(n)s saved on this phone", "%(n)s saved on this phone", unsent);
  const words = kept || refused || _("Everything is sent");
  const state = (kept && refused) || link;
  return html`<a class="kept" href=${to("settings")} data-unsent=${unsent > 0}>
    <span>${words}</span>
    <span class="soft">${state}</span>
  </a>`;
}

export function Frame({ children, title, bottom }) {
  return html`<div class="app" data-flash=${overdue.value.size > 0 && local("flash", true)}>
    <a class="skip" href="#content" onClick=${skip}>${_("Skip to the content")}</a>
    <div class="top"><header class="head">
      <a class="home" href=${to()} aria-current=${route.value.length === 0 ? "page" : undefined}>${_("Today")}</a>
      <${Kept} />
      <a class="gear" href=${to("settings")}><span aria-hidden="true">⚙</span><span class="unseen">${_("Settings")}</span></a>
      <div class="unseen" role="alert">${[...overdue.value].map((id) => _("Time is up: %(name)s", { name: titleOf(sessionOf(id)) })).join(". ")}</div>
    </header>
    <${TablePots} /></div>
    <main id="content" tabindex="-1"><h1 tabindex="-1">${title}</h1>${children}</main>
    <footer class="bottom">${trouble.value && html`<p class="hint" role="alert">${trouble.value}</p>`}<${Undo} />${bottom}</footer>
  </div>`;
}

function skip(event) {
  event.preventDefault();
  document.getElementById("content").focus();
}
