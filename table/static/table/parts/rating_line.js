// A line to rate on: empty at first, no ticks and no numbers along it, last time's mark in sight.
// Underneath it is the browser's own range input: tap or drag for halves, − and + (or arrow keys) for tenths.
import { Component, html } from "./html.js";
import { _, number } from "./i18n.js";

const HIGHEST = 10;
const EDGE_PX = 16; // between the edge and the ends of the line, as in the style sheet
const halves = (value) => Math.round(value * 2) / 2;
const tenths = (value) => Math.min(HIGHEST, Math.max(0, Math.round(value * 10) / 10));

/**
 * Props: label, low and high (words at the ends), value and last (points or null), onRate(points), onClear().
 * `last` is where the infusion before stood.
 */
export class RatingLine extends Component {
  state = { shown: null }; // while a finger is on the line

  onInput = (event) => {
    const value = Number(event.currentTarget.value);
    const shown = this.byKey ? tenths(this.atKey(value)) : halves(value);
    event.currentTarget.value = shown;
    if (this.byKey) this.rate(shown);
    else this.setState({ shown });
  };

  /** The first arrow key starts where the line stood last, not at the input's own start. */
  atKey(value) {
    return this.props.value === null && this.rating === undefined ? (this.props.last ?? HIGHEST / 2) : value;
  }

  onKeyDown = (event) => {
    this.byKey = true;
    if (/^\d$/.test(event.key)) {
      event.currentTarget.value = event.key; // for an arrow key that follows at once
      this.rate(Number(event.key));
    }
    if (event.key === "Delete" || event.key === "Backspace") this.clear();
  };

  onPointerDown = () => {
    this.byKey = false;
  };

  /** The end of a drag. */
  onChange = (event) => {
    if (!this.byKey) this.rate(halves(Number(event.currentTarget.value)));
  };

  /** A tap, by its place: one where the input stands already changes nothing there, and a finger makes no click of it. */
  onPointerUp = (event) => {
    const { left, width } = event.currentTarget.getBoundingClientRect();
    this.rate(halves(tenths(((event.clientX - left - EDGE_PX) / (width - 2 * EDGE_PX)) * HIGHEST)));
  };

  /** A finger that went on to scroll the page rated nothing. */
  onPointerCancel = (event) => {
    event.currentTarget.value = this.standing();
    this.setState({ shown: null });
  };

  standing = () => this.rating ?? this.props.value ?? this.props.last ?? HIGHEST / 2;

  /** A tap has a change and the end of a touch: the second says nothing new, also while the first is being kept. */
  async rate(value) {
    if (value === (this.rating ?? this.props.value)) return;
    this.rating = value;
    this.setState({ shown: value });
    try {
      await this.props.onRate(value);
    } finally {
      if (this.rating === value) {
        this.rating = undefined;
        this.setState({ shown: null });
      }
    }
  }

  clear() {
    if (this.props.value !== null) this.props.onClear();
  }

  nudge(by) {
    this.rate(tenths(this.standing() + by));
  }

  render({ label, low, high, value, last, id }) {
    const shown = this.state.shown ?? value;
    const words = shown === null ? _("not rated") : _("%(points)s of 10", { points: number(shown, 1) });
    return html`<div class="rating" data-empty=${shown === null}>
      <div class="rating-head">
        <label for=${id}>${label}</label>
        ${value !== null &&
        html`<span class="nudges" role="group" aria-label=${label}>
          <button type="button" class="second" aria-label=${_("%(label)s: a tenth less", { label })} onClick=${() => this.nudge(-0.1)}>−</button>
          <output for=${id}>${number(value, 1)}</output>
          <button type="button" class="second" aria-label=${_("%(label)s: a tenth more", { label })} onClick=${() => this.nudge(0.1)}>+</button>
          <button type="button" class="quiet" aria-label=${_("%(label)s: not rated", { label })} onClick=${() => this.clear()}>×</button>
        </span>`}
      </div>
      <div class="rating-line" onPointerUp=${this.onPointerUp}>
        <svg class="rating-marks" aria-hidden="true" focusable="false">
          <line x1="0" x2="100%" y1="50%" y2="50%" />
          ${last !== null && html`<circle class="last" cx=${`${last * HIGHEST}%`} cy="50%" r="9" />`}
          ${shown !== null && html`<circle class="now" cx=${`${shown * HIGHEST}%`} cy="50%" r="13" />`}
        </svg>
        <input id=${id} type="range" min="0" max=${HIGHEST} step="0.1" value=${shown ?? this.standing()}
          aria-valuetext=${words} onInput=${this.onInput} onKeyDown=${this.onKeyDown} onPointerDown=${this.onPointerDown}
          onChange=${this.onChange} onPointerCancel=${this.onPointerCancel} />
      </div>
      <div class="rating-foot soft">
        <span>${low}</span>
        ${last !== null && html`<span>${_("○ last time %(points)s", { points: number(last, 1) })}</span>`}
        <span>${high}</span>
      </div>
    </div>`;
  }
}
