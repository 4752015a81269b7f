// A blind flight: the taster's cups by code alone, in the order in which they are served.
import { cupsToTaste, isClosed, sessionOfCup } from "../model/reading.js";
import { Frame } from "../parts/frame.js";
import { html } from "../parts/html.js";
import { _ } from "../parts/i18n.js";
import { to } from "../parts/route.js";
import { store } from "../parts/store.js";

function Cup({ cup, isNext }) {
  const session = sessionOfCup(cup.id);
  const isDone = session && isClosed(session);
  const href = session ? to("tasting", session.id) : to("pot", "cup", cup.id);
  const state = isDone ? _("tasted") : session ? _("on the table") : isNext ? _("next") : "";
  const words = html`<b class="code">${cup.code}</b> <span class="soft">${state}</span>`;
  return html`<li><a class="row" data-next=${isNext} href=${href}>${words}</a></li>`;
}

export function FlightScreen({ id }) {
  const flight = store.flights.value.get(id);
  const cups = flight ? cupsToTaste(flight) : [];
  if (cups.length === 0) return html`<${Frame} title=${flight?.name ?? _("Blind cups")}><p>${_("There are no cups for you in this flight.")}</p></${Frame}>`;
  const next = cups.find((cup) => !sessionOfCup(cup.id));
  const sittings = [...new Set(cups.map((cup) => cup.sitting))];
  return html`<${Frame} title=${flight.name}>
    <p>${_("Taste in this order, and note each cup before the next.")}</p>
    ${sittings.map(
      (sitting) => html`<section key=${sitting}><h2>${_("Sitting %(number)s", { number: sitting })}</h2>
        <ol class="rows">${cups.filter((cup) => cup.sitting === sitting).map((cup) => html`<${Cup} key=${cup.id} cup=${cup} isNext=${cup === next} />`)}</ol></section>`,
    )}
  </${Frame}>`;
}
