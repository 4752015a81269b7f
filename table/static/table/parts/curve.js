// A small drawing of what was rated in this tasting, and of the lot's computed strength beside it.
import { html } from "./html.js";
import { _ } from "./i18n.js";

const WIDTH = 320;
const HEIGHT = 110;
const EDGE = 14;
const LEAST_INFUSIONS = 6; // so that the first two marks are not a cliff

function path(points, x, y) {
  return points.map(([number, value], i) => `${i ? "L" : "M"}${x(number).toFixed(1)} ${y(value).toFixed(1)}`).join("");
}

/** Props: rated {strength: [[number, points]], liking: …}, computed (curve of the lot's strength, or null), label, isSmall. */
export function Curve({ rated, computed = null, label, isSmall = false }) {
  const numbers = [...rated.strength, ...rated.liking].map(([number]) => number);
  const most = Math.max(LEAST_INFUSIONS, ...numbers);
  const x = (number) => EDGE + ((number - 1) / (most - 1)) * (WIDTH - 2 * EDGE);
  const y = (value) => HEIGHT - EDGE - (value / 10) * (HEIGHT - 2 * EDGE);
  const points = (computed?.points ?? []).filter((one) => one.infusion <= most);
  const band = [...points.map((one) => [one.infusion, one.high]), ...points.map((one) => [one.infusion, one.low]).reverse()];
  return html`<svg class=${isSmall ? "curve small" : "curve"} viewBox=${`0 0 ${WIDTH} ${HEIGHT}`} role="img" aria-label=${label}>
    <path class="axis" d=${`M${EDGE} ${y(0)}H${WIDTH - EDGE}`} />
    ${band.length > 0 && html`<path class="band" d=${`${path(band, x, y)}Z`} />`}
    ${points.length > 0 && html`<path class="computed" d=${path(points.map((one) => [one.infusion, one.mean]), x, y)} />`}
    <path class="liking" d=${path(rated.liking, x, y)} />
    ${rated.liking.map(([number, value]) => html`<rect class="liking" x=${x(number) - 4} y=${y(value) - 4} width="8" height="8" />`)}
    <path class="strength" d=${path(rated.strength, x, y)} />
    ${rated.strength.map(([number, value]) => html`<circle class="strength" cx=${x(number)} cy=${y(value)} r="5" />`)}
  </svg>`;
}

/** What the drawing shows, for its label. */
export function curveLabel({ strength, liking }) {
  return _("Rated so far: strength %(strength)s; liking %(liking)s", {
    strength: strength.map(([, value]) => value).join(", ") || "–",
    liking: liking.map(([, value]) => value).join(", ") || "–",
  });
}
