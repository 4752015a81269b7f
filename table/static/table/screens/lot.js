// A tea as a record: what a sample was not asked when it was written, to be filled in later.
import { mayChangeLot } from "../model/reading.js";
import { change } from "../model/writing.js";
import { Choice, NumberField, TextField } from "../parts/fields.js";
import { Frame } from "../parts/frame.js";
import { html } from "../parts/html.js";
import { _, language } from "../parts/i18n.js";
import { countries, forms, herbal, kinds, roasts } from "../parts/labels.js";
import { to } from "../parts/route.js";
import { store } from "../parts/store.js";
import { did } from "../parts/undo.js";

const NO_COUNTRY = "";

function Country({ value, onChoose }) {
  const names = new Intl.DisplayNames(language.value, { type: "region" });
  const options = [...new Set([...countries, value].filter(Boolean))].map((code) => [code, names.of(code)]);
  options.sort(([, a], [, b]) => a.localeCompare(b, language.value));
  return html`<label for="country">${_("Country")}</label>
    <select id="country" value=${value ?? NO_COUNTRY} onChange=${(event) => onChoose(event.currentTarget.value || null)}>
      <option value=${NO_COUNTRY}>–</option>
      ${options.map(([code, name]) => html`<option key=${code} value=${code}>${name}</option>`)}
    </select>`;
}

function Form({ id, fields }) {
  const set = (name) => async (value) => did(_("Corrected"), await change("lot", id, { [name]: value }));
  const text = (name, label, others = {}) => html`<label for=${name}>${label}</label>
    <${TextField} id=${name} maxlength="200" autocomplete="off" ...${others} value=${fields[name] ?? ""} onKeep=${(typed) => set(name)(typed || null)} />`;
  const amount = (name, label, unit, limits) =>
    html`<${NumberField} id=${name} label=${label} unit=${unit} value=${fields[name] ?? null} allowEmpty onSet=${set(name)} ...${limits} />`;
  const one = (name, label, options) => html`<${Choice} label=${label} options=${options} value=${fields[name] ?? null} onChoose=${(value) => set(name)(value === fields[name] ? null : value)} />`;
  const { elevation_low_m = null, elevation_high_m = null } = fields;
  return html`
    <label for="name">${_("Name")}</label>
    <${TextField} id="name" maxlength="200" autocomplete="off" value=${fields.name} onKeep=${(typed) => typed && set("name")(typed)} />
    <${Choice} label=${_("Kind")} options=${kinds()} value=${fields.kind} onChoose=${set("kind")} />
    ${fields.kind === "herbal" && html`<p class="hint">${herbal()}</p>`}
    ${text("supplier", _("Supplier"))}
    ${text("producer", _("Producer"))}
    ${text("code", _("Code of your own"), { maxlength: "60" })}
    <h2>${_("Origin")}</h2>
    <${Country} value=${fields.country ?? null} onChoose=${set("country")} />
    ${text("region", _("Region"))}
    ${text("garden", _("Garden"))}
    ${text("cultivar", _("Cultivar"))}
    ${amount("elevation_low_m", _("Elevation from, m"), "m", { low: -430, high: elevation_high_m ?? 9000, step: 50, start: elevation_high_m ?? 800 })}
    ${amount("elevation_high_m", _("Elevation to, m"), "m", { low: elevation_low_m ?? -430, high: 9000, step: 50, start: elevation_low_m ?? 800 })}
    <h2>${_("Harvest and making")}</h2>
    ${amount("harvest_year", _("Year of harvest"), "", { low: 1900, high: 2200, start: store.now().getFullYear() })}
    ${text("harvest_season", _("Season or flush"), { maxlength: "60" })}
    ${text("harvested_on", _("Day of harvest"), { type: "date" })}
    ${text("pick_standard", _("Leaves and buds picked"))}
    ${one("form", _("Form of the leaf"), forms())}
    ${amount("oxidation_pct", _("Oxidation in percent"), "%", { low: 0, high: 100, step: 5, start: 30 })}
    ${one("roast", _("Roast"), roasts())}
    ${text("roast_fuel", _("Fuel of the roast"), { maxlength: "60" })}
    ${text("roasted_on", _("Day of the last roast"), { type: "date" })}
    <label for="remarks">${_("Remarks")}</label>
    <${TextField} tag="textarea" id="remarks" rows="3" maxlength="8000" value=${fields.remarks ?? ""} onKeep=${(typed) => set("remarks")(typed || null)} />`;
}

export function LotScreen({ id }) {
  const lot = store.rows("lot").value.get(id);
  if (!lot) return html`<${Frame} title=${_("This tea is not on the phone yet")}><p>${_("It comes with the next sync.")}</p></${Frame}>`;
  const start = html`<div class="start"><a class="button wide" href=${to("pot", "lot", id)}>${_("Start a tasting")}</a></div>`;
  return html`<${Frame} title=${lot.fields.name} bottom=${start}>
    ${mayChangeLot(lot)
      ? html`<p class="soft">${_("All of it may be filled in later, or never.")}</p><${Form} key=${id} id=${id} fields=${lot.fields} />`
      : html`<p>${_("Buyers and owners can change this lot; a sample also the person who entered it.")}</p>`}
  </${Frame}>`;
}
