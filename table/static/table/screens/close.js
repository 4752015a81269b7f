// The end of a pot: the leaf is spent, or the taster stopped; how many more there would be.
import { onTable, putOnTable, takeOffTable } from "../model/pour.js";
import { cupOf, notesAt, notesOf } from "../model/reading.js";
import { change } from "../model/writing.js";
import { NumberField } from "../parts/fields.js";
import { Component, html } from "../parts/html.js";
import { _, pgettext } from "../parts/i18n.js";
import { PhotoButton } from "../parts/photo.js";
import { go } from "../parts/route.js";
import { did } from "../parts/undo.js";
import { NotedWord, Words } from "../parts/words.js";

const MOST_MORE = 99;

export class CloseStep extends Component {
  state = { stopped: false, more_low: null, more_high: null };

  async close(fields) {
    const { session } = this.props;
    const undoEnding = await change("session", session.id, fields);
    const wasOnTable = onTable().includes(session.id);
    await takeOffTable(session.id);
    did(_("Pot closed"), async () => {
      await undoEnding();
      if (wasOnTable) await putOnTable(session.id);
    });
    const blind = cupOf(session.fields.flight_cup);
    if (blind) go("flight", blind.flight.id);
    else go();
  }

  /** "To" is never less than "from". */
  setLow = (more_low) => {
    const { more_high } = this.state;
    this.setState({ more_low, more_high: more_high === null || more_high < more_low ? more_low : more_high });
  };

  setHigh = (more_high) => {
    const { more_low } = this.state;
    this.setState({ more_high, more_low: more_low !== null && more_low > more_high ? more_high : more_low });
  };

  render({ session }) {
    const notes = notesOf(session.id);
    const { stopped, more_low, more_high } = this.state;
    const noted = notesAt(notes, null, "spent_leaf").filter((row) => row.fields.descriptor);
    return html`<div class="step">
      <h2>${_("Close this pot")}</h2>
      <details class="fold"><summary>${_("What the spent leaf shows")}</summary>
        <${Words} session=${session.id} infusion=${null} moment="spent_leaf" notes=${notes} />
        ${noted.map((row) => html`<${NotedWord} key=${row.id} session=${session.id} infusion=${null} row=${row} last=${null} isPlain />`)}
        <${PhotoButton} session=${session.id} infusion=${null} kind="spent_leaf" label=${pgettext("subject of a photo", "Spent leaf")} />
      </details>
      ${stopped
        ? html`<h3>${_("How many more infusions would it give?")}</h3>
            <${NumberField} id="more_low" label=${_("From")} unit="" low=${0} high=${MOST_MORE} value=${more_low} allowEmpty onSet=${this.setLow} />
            <${NumberField} id="more_high" label=${_("To")} unit="" low=${0} high=${MOST_MORE} value=${more_high} allowEmpty onSet=${this.setHigh} />
            <p class="forward"><button type="button" onClick=${() => this.close({ ending: "stopped", more_low, more_high })}>${_("Done")}</button></p>`
        : html`<div class="big">
            <button type="button" onClick=${() => this.close({ ending: "spent", more_low: null, more_high: null })}><b>${_("Spent")}</b> <span>${_("the leaf gives no more worth drinking")}</span></button>
            <button type="button" class="second" onClick=${() => this.setState({ stopped: true })}><b>${_("Stopped")}</b> <span>${_("there was more in it")}</span></button>
          </div>`}
    </div>`;
  }
}
