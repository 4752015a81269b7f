// What was rated in this pot, each infusion with a way to correct it, and what is computed for the lot.
import { onTable, putOnTable } from "../model/pour.js";
import { infusionsOf, isClosed, isKnownToServer, isOver, notesOf, ratedIn, wordLabel } from "../model/reading.js";
import { change } from "../model/writing.js";
import { Curve, curveLabel } from "../parts/curve.js";
import { html } from "../parts/html.js";
import { _, number, when } from "../parts/i18n.js";
import { infusionLabel } from "../parts/labels.js";
import { to } from "../parts/route.js";
import { store } from "../parts/store.js";
import { did } from "../parts/undo.js";
import { guideFor } from "./pour.js";

function timesOf({ steep_s, pour_s, kettle_c }) {
  return [
    _("steeped %(n)s s", { n: number(steep_s, 1) }),
    typeof pour_s === "number" && _("poured %(n)s s", { n: number(pour_s, 1) }),
    typeof kettle_c === "number" ? `${number(kettle_c, 1)} °C` : _("kettle not read"),
  ].filter(Boolean).join(" · ");
}

/** Words with their points, and what was written freely. */
function Noted({ notes }) {
  const words = notes.filter((row) => row.fields.descriptor).map(({ fields }) => (typeof fields.intensity === "number" ? `${wordLabel(fields.descriptor)} ${number(fields.intensity, 1)}` : wordLabel(fields.descriptor)));
  const texts = notes.map((row) => row.fields.text).filter(Boolean);
  return html`${words.length > 0 && html`<p>${words.join(", ")}</p>`}
    ${texts.map((text) => html`<p><q>${text}</q></p>`)}
    ${notes.length === 0 && html`<p>${_("nothing noted")}</p>`}`;
}

function Infusion({ session, infusion, notes }) {
  const label = infusionLabel(infusion.fields.number);
  return html`<li>
    <h3>${label}</h3>
    <p class="soft">${timesOf(infusion.fields)}</p>
    <${Noted} notes=${notes.filter((row) => row.fields.infusion === infusion.id)} />
    <p class="links"><a href=${to("tasting", session.id, "taste", infusion.id)}>${_("Correct notes")}<span class="unseen"> ${label}</span></a>
      <a href=${to("tasting", session.id, "times", infusion.id)}>${_("Correct times")}<span class="unseen"> ${label}</span></a></p>
  </li>`;
}

/** The lot's figures, and the guide; the last ones seen when there is no network. */
function Computed({ session, seen }) {
  const { steeps, sentence, departures, next } = seen.answer;
  const here = (departures ?? []).filter((one) => one.session === session.id);
  const guide = guideFor(session);
  return html`<section class="computed" aria-labelledby="computed">
    <h2 id="computed">${_("Computed for this lot")}</h2>
    <p class="soft">${_("as of %(when)s", { when: when(seen.seenAt, store.now()) })}</p>
    ${typeof steeps?.recommended === "number" && html`<p>${_("Worth about %(n)s infusions (%(low)s to %(high)s).", { n: steeps.recommended, low: steeps.low, high: steeps.high })}</p>`}
    ${sentence && html`<p>${sentence}</p>`}
    ${here.map((one) => html`<p key=${`${one.infusion} ${one.kind}`}>${one.detail}</p>`)}
    ${guide?.answer.infusions.length > 0 && html`<p>${_("Guide for this pot")}: ${guide.answer.infusions.map((one) => `${number(one.steep_s)} s`).join(", ")}</p>`}
    ${next && html`<p>${next}</p>`}
  </section>`;
}

async function reopen(session) {
  const undo = await change("session", session.id, { ending: null, more_low: null, more_high: null });
  await putOnTable(session.id);
  did(_("Open again"), undo);
}

export function LookBackStep({ session }) {
  const infusions = infusionsOf(session.id);
  const notes = notesOf(session.id);
  const seen = isKnownToServer(session.fields.lot) ? store.development(session.fields.lot).value : null;
  const whole = session.fields.flight_cup ? notes.filter((row) => !row.fields.infusion) : [];
  const rated = ratedIn(infusions, notes);
  const computed = seen?.answer.curves?.find((one) => one.descriptor === "strength") ?? null;
  return html`<div class="step">
    <figure>
      <${Curve} rated=${rated} computed=${computed} label=${curveLabel(rated)} />
      <figcaption><span class="key strength">● ${wordLabel("strength")}</span> <span class="key liking">■ ${wordLabel("liking")}</span>
        ${computed && html` <span class="key band">▬ ${_("computed strength of the lot")}</span>`}</figcaption>
    </figure>
    <p>${isOver(session) ? null : isClosed(session) && !onTable().includes(session.id)
      ? html`<button type="button" class="second wide" onClick=${() => reopen(session)}>${_("Taste on")}</button>`
      : html`<a class="button second wide" href=${to("tasting", session.id, "close")}>${_("Close this pot")}</a>`}</p>
    ${session.fields.lot && html`<p><a class="button second wide" href=${to("lot", session.fields.lot)}>${_("About this tea")}</a></p>`}
    <h2>${_("Infusions")}</h2>
    ${infusions.length === 0 && whole.length === 0 && html`<p>${_("No infusion yet.")}</p>`}
    <ol class="infusions">${whole.length > 0 && html`<li><h3>${_("The cup as a whole")}</h3><${Noted} notes=${whole} /></li>`}${infusions.map((one) => html`<${Infusion} key=${one.id} session=${session} infusion=${one} notes=${notes} />`)}</ol>
    ${seen && html`<${Computed} session=${session} seen=${seen} />`}
  </div>`;
}
