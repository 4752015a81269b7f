// One pot: leaf, pour, taste, look back; the step is in the address.
import { isRunning, pourOf } from "../model/pour.js";
import { infusionsOf, servedCup, sessionOf, titleOf } from "../model/reading.js";
import { protocolOf } from "../model/starting.js";
import { Frame } from "../parts/frame.js";
import { Component, html } from "../parts/html.js";
import { _, pgettext } from "../parts/i18n.js";
import { to } from "../parts/route.js";
import { store } from "../parts/store.js";
import { CloseStep } from "./close.js";
import { protocolWords } from "./flight.js";
import { LeafStep } from "./leaf.js";
import { LookBackStep } from "./look_back.js";
import { PourControl, PourStep } from "./pour.js";
import { TasteStep } from "./taste.js";
import { TimesStep } from "./times.js";

const STEPS = { leaf: LeafStep, pour: PourStep, taste: TasteStep, look: LookBackStep, times: TimesStep, close: CloseStep };

const steps = () => [
  ["leaf", pgettext("step of a tasting", "Leaf")],
  ["pour", pgettext("step of a tasting", "Pour")],
  ["taste", pgettext("step of a tasting", "Taste")],
  ["look", pgettext("step of a tasting", "So far")],
];

/** Where a tap on the pot leads: to what it waits for. */
function firstStep(session) {
  if (isRunning(pourOf(session))) return "pour";
  if (servedCup(sessionOf(session))) return "taste";
  const last = infusionsOf(session).at(-1);
  if (!last) return "leaf";
  return last.fields.number === 0 ? "pour" : "taste"; // a rinse is not tasted
}

function Steps({ session, blind, current }) {
  const isPoured = blind && protocolOf(blind.flight).steeps_s.length > 0; // by somebody else
  const here = { times: "look", close: "look" }[current] ?? current;
  return html`<nav class="steps" aria-label=${_("Steps of this pot")}>
    <ul>
      ${steps().filter(([step]) => step !== "pour" || !isPoured).map(([step, words]) => html`<li key=${step}><a href=${to("tasting", session, step)} aria-current=${step === here ? "step" : undefined}>${words}</a></li>`)}
    </ul>
  </nav>`;
}

/** An older tasting, whose infusions and notes come when it is opened. */
class Older extends Component {
  componentDidMount() {
    store.needLot(this.props.session.fields.lot);
  }

  render({ session }) {
    return html`<${Frame} title=${titleOf(session)}>
      <p role="status">${store.link.value.online
        ? _("Its infusions and notes are being fetched …")
        : _("This tasting is older than what the phone keeps. Its infusions and notes come once there is a network.")}</p>
    </${Frame}>`;
  }
}

export function TastingScreen({ id, step, infusion }) {
  const session = sessionOf(id);
  if (!session) {
    return html`<${Frame} title=${_("This tasting is not on the phone")}>
      <p>${_("It may have been deleted elsewhere, or it is older than what this phone keeps.")}</p>
      <p><a class="button" href=${to()}>${_("Today")}</a></p>
    </${Frame}>`;
  }
  if (!store.isHere(id)) return html`<${Older} key=${id} session=${session} />`;
  if (!store.isRead(id)) return html`<${Frame} title=${titleOf(session)}><p>${_("Being read …")}</p></${Frame}>`;
  const current = step in STEPS ? step : firstStep(id);
  const Step = STEPS[current];
  const blind = servedCup(session);
  const bottom = html`${current === "pour" && html`<${PourControl} session=${session} />`}<${Steps} session=${id} blind=${blind} current=${current} />`;
  return html`<${Frame} title=${titleOf(session)} bottom=${bottom}>
    ${blind && html`<p class="soft">${protocolWords(blind.flight)}</p>`}
    <${Step} key=${`${id} ${current} ${infusion}`} session=${session} infusion=${infusion} />
  </${Frame}>`;
}
