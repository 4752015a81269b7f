// Small controls that several screens share: choices by one tap, numbers by − and + or by typing.
import { Component, html } from "./html.js";
import { _, number, plainNumber } from "./i18n.js";

const AGAIN_MS = 350;
let lastTap = 0;

/** Take a second tap right after the first for a drop of water on the screen. */
export function once(act) {
  return (event) => {
    if (event.timeStamp - lastTap < AGAIN_MS) return undefined;
    lastTap = event.timeStamp;
    return act(event);
  };
}

/** One of a few. Props: label, options [[value, words, a mark in words]], value, onChoose(value). */
export function Choice({ label, options, value, onChoose, quietLabel = false }) {
  return html`<div class="choice" role="group" aria-label=${label}>
    ${!quietLabel && html`<p class="choice-label" aria-hidden="true">${label}</p>`}
    <div class="chips">
      ${options.map(
        ([key, words, mark]) =>
          html`<button type="button" key=${key} class="chip" data-marked=${Boolean(mark)} aria-pressed=${key === value} onClick=${() => onChoose(key)}>${words}${mark && html`<span class="unseen">, ${mark}</span>`}</button>`,
      )}
    </div>
  </div>`;
}

/** What was typed as a number, with comma or point; null for an empty text or one that is no number. */
function typedNumber(text) {
  const plain = text.trim().replace(",", ".");
  return /^-?\d*\.?\d+$/.test(plain) ? Number(plain) : null;
}

/** A field of text. What is typed stays while the screen is drawn anew. Props: id, value, tag, onKeep(text), others as in HTML. */
export class TextField extends Component {
  state = { typed: null };

  keep = async (event) => {
    const text = event.currentTarget.value.trim();
    await this.props.onKeep(text);
    this.setState({ typed: null });
  };

  render({ tag = "input", value, onKeep: _onKeep, ...others }) {
    return html`<${tag} ...${others} value=${this.state.typed ?? value}
      onInput=${(event) => this.setState({ typed: event.currentTarget.value })} onChange=${this.keep} />`;
  }
}

/** Props: id, label, unit, value (number or null), step, low, high, onSet(number or null). */
export class NumberField extends Component {
  state = { wrong: false, typed: null };

  set(value) {
    const { low, high } = this.props;
    const isWrong = value !== null && (value < low || value > high);
    this.setState({ wrong: isWrong, ...(isWrong ? {} : { typed: null }) });
    if (!isWrong && value !== this.props.value) this.props.onSet(value);
  }

  type = (event) => {
    const text = event.currentTarget.value;
    const value = typedNumber(text);
    if (text.trim() && value === null) this.setState({ wrong: true });
    else this.set(value);
  };

  nudge(by) {
    const { value, low, high, start = 0 } = this.props;
    const next = Math.round(((value ?? start) + (value === null ? 0 : by)) * 10) / 10;
    this.set(Math.min(high, Math.max(low, next)));
  }

  render({ id, label, unit, value, step = 1, low, high, allowEmpty = false }) {
    return html`<div class="number">
      <label for=${id}>${label}</label>
      <div class="number-row">
        <button type="button" class="second" aria-label=${_("%(label)s: less", { label })} onClick=${() => this.nudge(-step)}>−</button>
        <input id=${id} inputmode="decimal" autocomplete="off" value=${this.state.typed ?? (value === null ? "" : plainNumber(value))}
          onInput=${(event) => this.setState({ typed: event.currentTarget.value })} onChange=${this.type}
          aria-invalid=${this.state.wrong} aria-describedby=${this.state.wrong ? `${id}-wrong` : undefined}
          placeholder=${allowEmpty ? "–" : ""} />
        <span class="unit">${unit}</span>
        <button type="button" class="second" aria-label=${_("%(label)s: more", { label })} onClick=${() => this.nudge(step)}>+</button>
      </div>
      ${this.state.wrong &&
      html`<p class="wrong" id=${`${id}-wrong`} role="alert">${_("A number from %(low)s to %(high)s, please.", { low: number(low), high: number(high) })}</p>`}
    </div>`;
  }
}
