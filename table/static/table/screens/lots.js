// Which tea: those used last first, all by search, or a new sample.
import { lotsByUse, matches } from "../model/reading.js";
import { Frame } from "../parts/frame.js";
import { Component, html } from "../parts/html.js";
import { _, pgettext, when } from "../parts/i18n.js";
import { kindLabel } from "../parts/labels.js";
import { to } from "../parts/route.js";
import { store } from "../parts/store.js";

const SHOWN = 40;

/** What tells a lot that was bought from its sample, which has the same name. */
function standing({ at, fields: { status, arrived_on } }) {
  const words = { sample: pgettext("status of a lot", "Sample"), bought: pgettext("status of a lot", "Bought") }[status];
  const day = status === "bought" && arrived_on ? `${arrived_on}T00:00` : at;
  return [words, day && when(day, store.now())].filter(Boolean).join(" ");
}

export class LotsScreen extends Component {
  state = { typed: "" };

  render() {
    const { typed } = this.state;
    const found = lotsByUse().filter(({ fields: { name, code, region, garden, kind } }) => matches(typed, name, code, region, garden, kindLabel(kind)));
    const sample = html`<a class="button wide" href=${to("sample")}>${_("New sample")}</a>`;
    return html`<${Frame} title=${_("Which tea?")} bottom=${html`<div class="start">${sample}</div>`}>
      <label class="unseen" for="find">${_("Find a lot by name, code or origin")}</label>
      <input id="find" type="search" autocomplete="off" placeholder=${_("Find a lot by name, code or origin")} value=${typed}
        onInput=${(event) => this.setState({ typed: event.currentTarget.value })} />
      ${found.length === 0 && html`<p>${_("No lot matches.")}</p>`}
      <ul class="rows">
        ${found.slice(0, SHOWN).map(
          ({ id, at, fields }) => html`<li key=${id}><a class="row" href=${to("pot", "lot", id)}><b><bdi>${fields.name}</bdi></b>
            <span class="soft">${[fields.code, kindLabel(fields.kind), fields.region, fields.harvest_year, standing({ at, fields })].filter(Boolean).join(" · ")}</span></a></li>`,
        )}
      </ul>
      ${found.length > SHOWN && html`<p class="soft">${_("Type more of the name to see the others.")}</p>`}
    </${Frame}>`;
  }
}
