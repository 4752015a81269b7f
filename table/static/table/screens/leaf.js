// The leaf before water: how much of it, in what; what it smells of dry, warmed and wet.
import { infusionsOf, notesAt, notesOf, servedCup } from "../model/reading.js";
import { change } from "../model/writing.js";
import { Choice, NumberField, TextField } from "../parts/fields.js";
import { Component, html } from "../parts/html.js";
import { _, number, pgettext } from "../parts/i18n.js";
import { leafMoments, materialLabel } from "../parts/labels.js";
import { PhotoButton } from "../parts/photo.js";
import { to } from "../parts/route.js";
import { did } from "../parts/undo.js";
import { NotedWord, Words } from "../parts/words.js";

function Brew({ session }) {
  const { leaf_g, vessel_ml, vessel_material, warmed, water } = session.fields;
  const set = async (fields) => did(_("Changed for this pot"), await change("session", session.id, fields));
  const vessel = [`${number(vessel_ml, 1)} ml`, vessel_material && materialLabel(vessel_material)].filter(Boolean).join(", ");
  const summary = [`${number(leaf_g, 1)} g`, vessel, warmed ? _("warmed") : _("not warmed"), water].filter(Boolean).join(" · ");
  return html`<details class="fold">
    <summary>${summary}</summary>
    <${NumberField} id="leaf_g" label=${_("Leaf")} unit="g" step=${0.5} low=${0.1} high=${1000} value=${leaf_g} onSet=${(value) => value && set({ leaf_g: value })} />
    <${Choice} label=${_("Pot or bowl warmed before the leaf went in")} options=${[[true, _("warmed")], [false, _("not warmed")]]} value=${warmed ?? null} onChoose=${(value) => set({ warmed: value })} />
    <label for="water">${_("Water")}</label>
    <${TextField} id="water" maxlength="200" value=${water ?? ""} onKeep=${(text) => set({ water: text || null })} />
  </details>`;
}

export class LeafStep extends Component {
  state = { moment: infusionsOf(this.props.session.id).length ? "wet_leaf" : "dry_leaf" };

  render({ session }) {
    const { moment } = this.state;
    const notes = notesOf(session.id);
    const noted = notesAt(notes, null, moment).filter((row) => row.fields.descriptor);
    const kind = moment === "dry_leaf" ? "dry_leaf" : "wet_leaf";
    return html`<div class="step">
      ${!servedCup(session) && html`<${Brew} session=${session} />`}
      <h2>${_("What do you see and smell?")}</h2>
      <${Choice} label=${_("Leaf")} quietLabel options=${leafMoments()} value=${moment} onChoose=${(value) => this.setState({ moment: value })} />
      <${Words} key=${moment} session=${session.id} infusion=${null} moment=${moment} notes=${notes} />
      ${noted.map((row) => html`<${NotedWord} key=${row.id} session=${session.id} infusion=${null} row=${row} last=${null} isPlain />`)}
      <${PhotoButton} session=${session.id} infusion=${null} kind=${kind} label=${_("Photo of the leaf")} />
      <p class="forward">${servedCup(session)
        ? html`<a class="button" href=${to("tasting", session.id, "taste")}>${pgettext("step of a tasting", "Taste")}</a>`
        : html`<a class="button" href=${to("tasting", session.id, "pour")}>${_("Pour")}</a>`}</p>
    </div>`;
  }
}
