// The pour: one large control that means water in, pouring, empty.
import { elapsedS, empty, fill, isRunning, kettleGuess, pourOf, pourOut, prepare, readKettle, writePour } from "../model/pour.js";
import { infusionsOf, isKnownToServer, mySessions, nextNumber } from "../model/reading.js";
import { allowSound, overdue } from "../parts/alarm.js";
import { NumberField } from "../parts/fields.js";
import { Component, html } from "../parts/html.js";
import { _, clock, number, when } from "../parts/i18n.js";
import { infusionLabel, scalding } from "../parts/labels.js";
import { goInstead } from "../parts/route.js";
import { store } from "../parts/store.js";
import { PourTime } from "../parts/ticking.js";
import { did } from "../parts/undo.js";

const BOILING_C = 100;
const COOLER = ["green", "white", "yellow"]; // usually brewed below the boil; common practice, no source

/** The guide's plan for this pot, with when it was seen, or null. */
export function guideFor(session) {
  const { lot, vessel_ml, leaf_g, vessel_material, vessel_g, pot } = session.fields;
  if (!isKnownToServer(lot)) return null;
  const pour_s = store.rows("pot").value.get(pot)?.fields.pour_s;
  return store.guide(lot, { vessel_ml, leaf_g, vessel_material, vessel_g, pour_s }).value ?? null;
}

function guidedSeconds(guide, n) {
  if (!guide) return null;
  if (n === 0) return guide.answer.rinse_s ?? null;
  return guide.answer.infusions.find((one) => one.number === n)?.steep_s ?? null;
}

const QUICKEST_S = 5; // a shorter steep is more often a slip of the finger

/** Whether a steep is so short, or so far from the guide, that a tap may have been wrong. */
export function isDoubtful(session, { number: n, steep_s }) {
  const guided_s = guidedSeconds(guideFor(session), n) ?? steep_s;
  return n > 0 && (steep_s < QUICKEST_S || steep_s < guided_s / 2 || steep_s > guided_s * 2);
}

/** Whether the taster rinsed the leaf last time. */
function rinsedLast(session) {
  const last = mySessions().find((one) => one.id !== session.id && infusionsOf(one.id).length > 0);
  return last ? infusionsOf(last.id)[0].fields.number === 0 : false;
}

function Kettle({ session }) {
  const { kettle_c } = pourOf(session.id);
  const isRead = typeof kettle_c === "number";
  const guess = kettleGuess(session.id);
  const read = async (value) => {
    const undo = await readKettle(session.id, value);
    did(value === null ? _("Kettle not read") : _("Kettle %(c)s °C", { c: number(value, 1) }), undo);
  };
  const start = kettle_c ?? guess ?? BOILING_C;
  const kind = store.rows("lot").value.get(session.fields.lot)?.fields.kind;
  const offered = [...new Set([guess, ...(COOLER.includes(kind) ? [85, 80, 70] : [BOILING_C, 95, 90])])].filter((c) => c !== null);
  return html`<div class="kettle" role="group" aria-label=${_("Kettle")}>
    <p><b>${_("Kettle")}</b> ${isRead ? html`<output>${number(kettle_c, 1)} °C</output>` : html`<span class="soft">${_("not read")}</span>`}</p>
    <div class="chips">
      ${isRead
        ? html`<button type="button" class="chip" aria-label=${_("One degree less")} onClick=${() => read(start - 1)}>−1</button>
            <button type="button" class="chip" aria-label=${_("One degree more")} disabled=${start >= BOILING_C} onClick=${() => read(Math.min(BOILING_C, start + 1))}>+1</button>
            <button type="button" class="chip" onClick=${() => read(null)}>${_("not read")}</button>`
        : offered.map(
            (c) => html`<button type="button" key=${c} class="chip" data-guess=${c === guess} onClick=${() => read(c)}>${c} °C${c === guess ? html` <small>${_("suggested")}</small>` : ""}</button>`,
          )}
    </div>
  </div>`;
}

class Typed extends Component {
  state = { steep_s: null, pour_s: null };

  write = async () => {
    const { session, withRinse, onWritten } = this.props;
    const undo = await writePour(session.id, { ...this.state, withRinse });
    this.setState({ steep_s: null, pour_s: null });
    onWritten(undo);
  };

  render({ session }) {
    const { steep_s, pour_s } = this.state;
    const { target_s } = pourOf(session.id);
    return html`<details class="fold">
      <summary>${_("Forgot a tap? Type the times")}</summary>
      <${NumberField} id="typed-steep" label=${_("Steeped")} unit="s" low=${0} high=${86400} start=${target_s ?? 10} value=${steep_s} onSet=${(value) => this.setState({ steep_s: value })} />
      <${NumberField} id="typed-pour" label=${_("Poured for")} unit="s" low=${0} high=${3600} start=${8} value=${pour_s} allowEmpty onSet=${(value) => this.setState({ pour_s: value })} />
      <button type="button" disabled=${steep_s === null} onClick=${this.write}>${_("Write this pour down")}</button>
    </details>`;
  }
}

/** Which pour is to come or runs, and when to signal it. */
function plan(session) {
  const pour = pourOf(session.id);
  const infusions = infusionsOf(session.id);
  const withRinse = !session.fields.flight_cup && (pour.withRinse ?? rinsedLast(session));
  const n = isRunning(pour) ? pour.number : nextNumber(infusions, withRinse);
  const guide = guideFor(session);
  const guided_s = guidedSeconds(guide, n);
  const target_s = isRunning(pour) ? pour.target_s : (pour.target_s ?? guided_s);
  return { pour, infusions, withRinse, n, guide, guided_s, target_s };
}

function onward(session, words, undo) {
  did(words, async () => {
    await undo();
    goInstead("tasting", session.id, "pour");
  });
  goInstead("tasting", session.id, "taste");
}

/** What a tap on the control means now: its words, and what it does. */
function action(session, { target_s, withRinse, n }) {
  const { phase } = pourOf(session.id);
  if (phase === "steeping") {
    return [_("Pour now"), async () => did(_("Steeped %(time)s", { time: clock(elapsedS(pourOf(session.id))) }), await pourOut(session.id))];
  }
  if (phase === "pouring") {
    const isRinse = n === 0;
    return [_("Empty"), async () => {
      const undo = await empty(session.id);
      if (isRinse) did(_("Rinsed"), undo);
      else onward(session, _("Poured out, saved on this phone"), undo);
    }];
  }
  return [_("Water in"), async () => {
    allowSound();
    did(_("Water is in"), await fill(session.id, { target_s, withRinse }));
  }];
}

const DROP_S = 0.6; // a second tap this soon after the first is a drop of water on the screen

/** The one large control, within reach of the thumb. */
export function PourControl({ session }) {
  const planned = plan(session);
  const { pour, target_s } = planned;
  const [words, act] = action(session, planned);
  const tap = () => {
    const current = pourOf(session.id);
    if (current.phase === "waiting" || elapsedS(current) > DROP_S) act();
  };
  return html`<div class="start"><button type="button" class="control" data-phase=${pour.phase} data-late=${overdue.value.has(session.id)} aria-label=${words} onClick=${tap}>
    ${isRunning(pour) && html`<span class="control-time"><${PourTime} session=${session.id} />${pour.phase === "steeping" && target_s ? html` <small>${_("of %(time)s", { time: clock(target_s) })}</small>` : ""}</span>`}
    <span class="control-words">${words}</span>
  </button></div>`;
}

export function PourStep({ session }) {
  const { pour, infusions, withRinse, n, guide, guided_s, target_s } = plan(session);
  const isWaiting = !isRunning(pour);
  return html`<div class="step pour">
    <h2>${infusionLabel(n)}</h2>
    ${guided_s !== null && html`<p>${_("Guide for this pot: %(n)s s", { n: number(guided_s) })} <span class="soft">${_("as of %(when)s", { when: when(guide.seenAt, store.now()) })}</span></p>`}
    <${Kettle} session=${session} />
    ${infusions.length === 0 && isWaiting && !session.fields.flight_cup &&
    html`<button type="button" class="chip" aria-pressed=${withRinse} onClick=${() => prepare(session.id, { withRinse: !withRinse })}>${_("First a rinse, thrown away")}</button>`}
    <${Typed} session=${session} withRinse=${withRinse} onWritten=${(undo) => onward(session, _("Written down"), undo)} />
    ${isWaiting &&
    html`<details class="fold"><summary>${target_s ? _("Signal after %(n)s s", { n: number(target_s) }) : _("No signal")}</summary>
      <${NumberField} id="target" label=${_("Signal after")} unit="s" low=${1} high=${3600} start=${10} value=${target_s ?? null} allowEmpty onSet=${(value) => prepare(session.id, { target_s: value })} />
    </details>`}
    <p class="soft care">${scalding()}</p>
  </div>`;
}
