// Which pot: a tap starts the tasting, with leaf and water of last time.
import { COVERED_BOWL, brewOf, potsByUse, shopElsewhere, startTasting } from "../model/starting.js";
import { create } from "../model/writing.js";
import { Choice, NumberField } from "../parts/fields.js";
import { Frame } from "../parts/frame.js";
import { Component, html } from "../parts/html.js";
import { _, number } from "../parts/i18n.js";
import { herbal, materialLabel, materials } from "../parts/labels.js";
import { goInstead, to } from "../parts/route.js";
import { store } from "../parts/store.js";

/** A bowl like that which everybody can have stands among the team's pots, so it is not offered twice. */
const isCoveredBowl = ({ fields }) => fields.vessel_ml === COVERED_BOWL.vessel_ml && fields.vessel_material === COVERED_BOWL.vessel_material;

function brewWords({ leaf_g, vessel_ml, vessel_material, warmed }) {
  return [`${number(vessel_ml, 1)} ml`, vessel_material && materialLabel(vessel_material), `${number(leaf_g, 1)} g`, warmed && _("warmed")].filter(Boolean).join(" · ");
}

class NewPot extends Component {
  state = { name: "", ...COVERED_BOWL };

  keep = async () => {
    const { name, vessel_ml, vessel_material, leaf_g } = this.state;
    const { id } = await create("pot", { name: name.trim(), vessel_ml, vessel_material, leaf_g });
    await this.props.onKept(store.rows("pot").peek().get(id));
  };

  render() {
    const { name, vessel_ml, vessel_material, leaf_g } = this.state;
    const set = (field) => (value) => value !== null && this.setState({ [field]: value });
    return html`<details class="fold"><summary>${_("Another pot or bowl")}</summary>
      <label for="pot-name">${_("Name")}</label>
      <input id="pot-name" autocomplete="off" maxlength="200" value=${name} onInput=${(event) => this.setState({ name: event.currentTarget.value })} />
      <${NumberField} id="pot-ml" label=${_("Holds, to the brim")} unit="ml" step=${10} low=${10} high=${10000} value=${vessel_ml} onSet=${set("vessel_ml")} />
      <${Choice} label=${_("Made of")} options=${materials()} value=${vessel_material} onChoose=${set("vessel_material")} />
      <${NumberField} id="pot-leaf" label=${_("Leaf")} unit="g" step=${0.5} low=${0.1} high=${1000} value=${leaf_g} onSet=${set("leaf_g")} />
      <button type="button" disabled=${!name.trim()} onClick=${this.keep}>${_("Keep this pot and start")}</button>
    </details>`;
  }
}

/** `id` is that of the lot, `purpose` "arrival" or nothing. */
export function PotsScreen({ id, purpose }) {
  const lot = store.rows("lot").value.get(id);
  if (!lot) return html`<${Frame} title=${_("This tea is not on the phone yet")}><p>${_("It comes with the next sync.")}</p></${Frame}>`;
  const start = async (pot) => goInstead("tasting", await startTasting({ lot: id, ...(purpose === "arrival" && { purpose }) }, pot), "leaf");
  const pots = potsByUse();
  const choices = pots.some(isCoveredBowl) ? pots : [...pots, null];
  return html`<${Frame} title=${_("%(tea)s: which pot?", { tea: lot.fields.name })}>
    ${lot.fields.kind === "herbal" && html`<p class="hint">${herbal()}</p>`}
    <ul class="rows big">
      ${choices.map(
        (pot) => html`<li key=${pot?.id}><button type="button" class="row" onClick=${() => start(pot)}><b><bdi>${pot ? pot.fields.name : _("Covered bowl")}</bdi></b> <span>${brewWords(brewOf(pot))}${pot && shopElsewhere(pot) ? ` · ${shopElsewhere(pot).name}` : ""}</span></button></li>`,
      )}
    </ul>
    <${NewPot} onKept=${start} />
    <p><a class="button second wide" href=${to("lot", id)}>${_("About this tea")}</a></p>
  </${Frame}>`;
}
