// A blind flight: the taster's cups by code alone, in the order in which they are served.
import { onTable } from "../model/pour.js";
import { cupsToTaste, isClosed, sessionOfCup } from "../model/reading.js";
import { protocolOf, startCup } from "../model/starting.js";
import { once } from "../parts/fields.js";
import { Frame } from "../parts/frame.js";
import { html } from "../parts/html.js";
import { _, ngettext, number } from "../parts/i18n.js";
import { go, to } from "../parts/route.js";
import { store } from "../parts/store.js";

/** How the cups are brewed, in a line. */
export function protocolWords(flight) {
  const { brew: { leaf_g, vessel_ml }, steeps_s } = protocolOf(flight);
  const minutes = steeps_s.map((seconds) => number(seconds / 60)).join(", ");
  if (minutes) return `${leaf_g} g · ${vessel_ml} ml · ${_("boiling water")} · ${minutes} min`;
  return flight.infusions ? ngettext("%(n)s infusion", "%(n)s infusions", flight.infusions) : "";
}

function Cup({ cup, flight, isNext }) {
  const session = sessionOfCup(cup.id);
  const isDone = session && isClosed(session) && !onTable().includes(session.id);
  const state = isDone ? _("tasted") : session ? _("on the table") : isNext ? _("next") : "";
  const words = html`<b class="code">${cup.code}</b> <span class="soft">${state}</span>`;
  const start = once(async () => go("tasting", await startCup(cup, flight), "taste"));
  return html`<li>${session
    ? html`<a class="row" href=${to("tasting", session.id)}>${words}</a>`
    : html`<button type="button" class="row" data-next=${isNext} onClick=${start}>${words}</button>`}</li>`;
}

export function FlightScreen({ id }) {
  const flight = store.flights.value.get(id);
  const cups = flight ? cupsToTaste(flight) : [];
  if (cups.length === 0) return html`<${Frame} title=${flight?.name ?? _("Blind cups")}><p>${_("There are no cups for you in this flight.")}</p></${Frame}>`;
  const next = cups.find((cup) => !sessionOfCup(cup.id));
  const sittings = [...new Set(cups.map((cup) => cup.sitting))];
  return html`<${Frame} title=${flight.name}>
    <p>${_("Taste in this order, and note each cup before the next.")}</p>
    <p class="soft">${protocolWords(flight)}</p>
    ${sittings.map(
      (sitting) => html`<section key=${sitting}><h2>${_("Sitting %(number)s", { number: sitting })}</h2>
        <ol class="rows">${cups.filter((cup) => cup.sitting === sitting).map((cup) => html`<${Cup} key=${cup.id} cup=${cup} flight=${flight} isNext=${cup === next} />`)}</ol></section>`,
    )}
  </${Frame}>`;
}
