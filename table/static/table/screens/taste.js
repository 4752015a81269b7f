// One cup: strength and liking, what is still there of the cup before, new words, a photo, free text.
import { takeOffTable } from "../model/pour.js";
import { LEADING, descriptors, infusionBefore, infusionsOf, isRatedWord, noteOf, notesAt, notesOf, ratedIn, servedCup, wordLabel } from "../model/reading.js";
import { protocolOf, serveNext } from "../model/starting.js";
import { note, sayInWords, unnote } from "../model/writing.js";
import { Curve, curveLabel } from "../parts/curve.js";
import { Choice, TextField, once } from "../parts/fields.js";
import { Component, html } from "../parts/html.js";
import { _, ngettext, number } from "../parts/i18n.js";
import { cupMoments, hotDrink, infusionLabel } from "../parts/labels.js";
import { PhotoButton } from "../parts/photo.js";
import { RatingLine } from "../parts/rating_line.js";
import { go, goInstead, to } from "../parts/route.js";
import { did } from "../parts/undo.js";
import { NotedWord, Words } from "../parts/words.js";
import { isDoubtful } from "./pour.js";

/** Words at the two ends of a line. */
function ends(key) {
  if (key === "liking") return [_("not at all"), _("very much")];
  return [_("none"), _("very strong")];
}

const points = (row) => row?.fields.intensity ?? null;

/** Lines to rate on: those that lead, those of this cup and of the cup before, and what was asked for. */
function Lines({ session, infusion, before, notes, asked, onAsk }) {
  const rated = (of) => notesAt(notes, of, "mouth").map((row) => row.fields.descriptor).filter(isRatedWord);
  const wanted = new Set([...(before ? rated(before.id) : []), ...rated(infusion.id), ...asked]);
  const keys = [...new Set([...LEADING, ...[...descriptors.value.keys()].filter((key) => wanted.has(key))])]; // always in one order
  const more = [...descriptors.value.keys()].filter((key) => isRatedWord(key) && !keys.includes(key));
  const rate = async (key, value) => {
    const undo = await note(session.id, infusion.id, "mouth", key, value);
    did(_("%(word)s rated", { word: wordLabel(key) }), undo);
  };
  const clear = async (key) => {
    const undo = await unnote(noteOf(notes, infusion.id, "mouth", key));
    did(_("%(word)s: rating taken away", { word: wordLabel(key) }), undo);
  };
  return html`<div class="lines">
    ${keys.map((key) => {
      const [low, high] = ends(key);
      return html`<${RatingLine} key=${key} id=${`rate-${key}`} label=${wordLabel(key)} low=${low} high=${high}
        value=${points(noteOf(notes, infusion.id, "mouth", key))} last=${before ? points(noteOf(notes, before.id, "mouth", key)) : null}
        onRate=${(value) => rate(key, value)} onClear=${() => clear(key)} />`;
    })}
    ${more.length > 0 && html`<details class="fold"><summary>${_("Rate more")}</summary>
      <div class="chips">${more.map((key) => html`<button type="button" key=${key} class="chip" onClick=${() => onAsk(key)}>${wordLabel(key)}</button>`)}</div>
    </details>`}
  </div>`;
}

const wordsOf = (notes, infusion) =>
  notes.filter(({ fields: { infusion: of = null, descriptor, moment } }) => of === infusion.id && descriptor && !isRatedWord(descriptor) && cupMoments().some(([code]) => code === moment));

/** Words of the cup before, faint until they are noted again; each stays in its place. */
function StillThere({ session, infusion, before, notes }) {
  const last = before ? wordsOf(notes, before) : [];
  if (last.length === 0) return null;
  const toggle = async ({ fields: { moment, descriptor } }) => {
    const word = wordLabel(descriptor);
    const found = noteOf(notes, infusion.id, moment, descriptor);
    if (found) did(_("%(word)s taken away", { word }), await unnote(found));
    else did(_("%(word)s is still there", { word }), await note(session.id, infusion.id, moment, descriptor));
  };
  return html`<section aria-labelledby="still">
    <h3 id="still">${_("Still there?")}</h3>
    <div class="chips">${last.map((row) => {
      const isNoted = Boolean(noteOf(notes, infusion.id, row.fields.moment, row.fields.descriptor));
      return html`<button type="button" key=${row.id} class="chip faint" aria-pressed=${isNoted} onClick=${once(() => toggle(row))}>${wordLabel(row.fields.descriptor)}</button>`;
    })}</div>
  </section>`;
}

function FreeText({ session, infusion, moment, notes }) {
  const row = notesAt(notes, infusion.id, moment).find((one) => !one.fields.descriptor) ?? null;
  const keep = async (text) => {
    const undo = await sayInWords(session.id, infusion.id, moment, row, text);
    if (undo) did(_("Text saved"), undo);
  };
  return html`<label for="free">${_("In your own words")}</label>
    <${TextField} tag="textarea" id="free" rows="3" maxlength="8000" value=${row?.fields.text ?? ""} onKeep=${keep} />`;
}

function Numbers({ session, infusions, current }) {
  return html`<nav aria-label=${_("Infusions")}><ul class="chips numbers">
    ${infusions.map(
      (one) => html`<li key=${one.id}><a class="chip" href=${to("tasting", session.id, "taste", one.id)} aria-label=${infusionLabel(one.fields.number)}
        aria-current=${one.id === current.id ? "true" : undefined}>${one.fields.number}</a></li>`,
    )}
  </ul></nav>`;
}

/** In place of an infusion, for a served cup whose infusions nobody timed: its notes are of the cup as a whole. */
const WHOLE = { id: null, fields: {} };

/** From a served cup to its next infusion, or back to the flight. */
function Served({ session, infusions, blind: { flight } }) {
  const isMore = infusions.length > 0 && infusions.length < protocolOf(flight).steeps_s.length;
  const next = async () => {
    did(infusionLabel(infusions.length + 1), await serveNext(session.id, flight));
    goInstead("tasting", session.id, "taste");
    scrollTo(0, 0);
  };
  const done = async () => {
    await takeOffTable(session.id);
    go("flight", flight.id);
  };
  return html`${isMore && html`<p><button type="button" class="second wide" onClick=${once(next)}>${_("Next infusion")}</button></p>`}
    <p><button type="button" class="wide" onClick=${done}>${_("Done with this cup")}</button></p>`;
}

export class TasteStep extends Component {
  state = { moment: "mouth", asked: [] };

  /** Show the line of a rated word, wherever the word was asked for. */
  ask = (key) =>
    this.setState({ asked: [...this.state.asked, key] }, () => {
      const line = document.getElementById(`rate-${key}`);
      line.scrollIntoView({ block: "center" });
      line.focus({ preventScroll: true });
    });

  render({ session, infusion: chosen }) {
    const infusions = infusionsOf(session.id);
    const infusion = infusions.find((one) => one.id === chosen) ?? infusions.at(-1) ?? (session.fields.flight_cup ? WHOLE : null);
    if (!infusion) {
      return html`<div class="step"><p>${_("There is no cup yet: pour one first.")}</p>
        <p class="forward"><a class="button" href=${to("tasting", session.id, "pour")}>${_("Pour")}</a></p></div>`;
    }
    const before = infusionBefore(infusions, infusion);
    const notes = notesOf(session.id);
    const { moment, asked } = this.state;
    const noted = wordsOf(notes, infusion);
    const last = ({ fields }) => (before ? points(noteOf(notes, before.id, fields.moment, fields.descriptor)) : null);
    const counted = cupMoments().map(([code, words]) => {
      const n = noted.filter((row) => row.fields.moment === code).length;
      return [code, words, n > 0 && ngettext("%(n)s word noted", "%(n)s words noted", n)];
    });
    const rated = ratedIn(infusions, notes);
    const blind = servedCup(session);
    return html`<div class="step">
      <div class="which"><h2>${infusion.id ? infusionLabel(infusion.fields.number) : _("The cup as a whole")}</h2>
        ${rated.strength.length + rated.liking.length > 2 && html`<${Curve} isSmall rated=${rated} label=${curveLabel(rated)} />`}
        <${Numbers} session=${session} infusions=${infusions} current=${infusion} /></div>
      ${infusion.id && infusion === infusions.at(-1) && notes.every((row) => row.fields.infusion !== infusion.id) && isDoubtful(session, infusion.fields) &&
      html`<p class="hint">${_("Steeped %(n)s s, right?", { n: number(infusion.fields.steep_s, 1) })} <a href=${to("tasting", session.id, "times", infusion.id)}>${_("Correct times")}</a></p>`}
      <${Lines} session=${session} infusion=${infusion} before=${before} notes=${notes} asked=${asked}
        onAsk=${this.ask} />
      <${StillThere} session=${session} infusion=${infusion} before=${before} notes=${notes} />
      <section aria-labelledby="words">
        <h3 id="words">${_("Words")}</h3>
        <${Choice} label=${_("Where")} quietLabel options=${counted} value=${moment} onChoose=${(value) => this.setState({ moment: value })} />
        <${Words} key=${`${infusion.id} ${moment}`} session=${session.id} infusion=${infusion.id} moment=${moment} notes=${notes} onAsk=${this.ask} />
        ${noted.map((row) => html`<${NotedWord} key=${row.id} session=${session.id} infusion=${infusion.id} row=${row} last=${last(row)} />`)}
      </section>
      <${FreeText} key=${`text ${infusion.id} ${moment}`} session=${session} infusion=${infusion} moment=${moment} notes=${notes} />
      <${PhotoButton} session=${session.id} infusion=${infusion.id} kind="liquor" label=${_("Photo of the cup")} />
      <p class="soft care">${hotDrink()}</p>
      ${blind
        ? html`<${Served} session=${session} infusions=${infusions} blind=${blind} />`
        : html`<p class="forward"><a class="button" href=${to("tasting", session.id, "pour")}>${_("Next infusion")}</a></p>`}
    </div>`;
  }
}
