// The times of one infusion, to correct them by typing; a forgotten tap is mended here.
import { infusionOf, infusionsOf } from "../model/reading.js";
import { change } from "../model/writing.js";
import { NumberField } from "../parts/fields.js";
import { html } from "../parts/html.js";
import { _ } from "../parts/i18n.js";
import { infusionLabel } from "../parts/labels.js";
import { goInstead, to } from "../parts/route.js";
import { store } from "../parts/store.js";
import { did } from "../parts/undo.js";

async function drop(session, infusion) {
  await store.write([{ type: "infusion", id: infusion.id, deleted: true }]);
  did(_("Infusion taken away"), () => store.write([{ type: "infusion", id: infusion.id, fields: infusion.fields }]));
  goInstead("tasting", session.id, "look");
}

export function TimesStep({ session, infusion: id }) {
  const infusion = infusionOf(session.id, id);
  if (!infusion) return html`<p>${_("This infusion is no longer there.")}</p>`;
  const { steep_s, pour_s = null, rest_s = null, kettle_c = null, water_ml = null, number } = infusion.fields;
  const set = (name) => async (value) => did(_("Corrected"), await change("infusion", id, { [name]: value }));
  const isLast = infusionsOf(session.id).at(-1).id === id;
  return html`<div class="step">
    <h2>${infusionLabel(number)}</h2>
    <${NumberField} id="steep_s" label=${_("Steeped, until the first of it ran out")} unit="s" low=${0} high=${86400} value=${steep_s} onSet=${(value) => value !== null && set("steep_s")(value)} />
    <${NumberField} id="pour_s" label=${_("Poured for")} unit="s" low=${0} high=${3600} value=${pour_s} allowEmpty onSet=${set("pour_s")} />
    <${NumberField} id="rest_s" label=${_("Rested until water went in again")} unit="s" step=${10} low=${0} high=${604800} value=${rest_s} allowEmpty onSet=${set("rest_s")} />
    <${NumberField} id="kettle_c" label=${_("Kettle")} unit="°C" low=${0} high=${100} start=${100} value=${kettle_c} allowEmpty onSet=${set("kettle_c")} />
    <${NumberField} id="water_ml" label=${_("Water poured on")} unit="ml" step=${5} low=${1} high=${10000} start=${session.fields.vessel_ml} value=${water_ml} allowEmpty onSet=${set("water_ml")} />
    <p class="forward"><a class="button" href=${to("tasting", session.id, "look")}>${_("Done")}</a></p>
    ${isLast && html`<p><button type="button" class="quiet" onClick=${() => drop(session, infusion)}>${_("Take this infusion away")}</button></p>`}
  </div>`;
}
