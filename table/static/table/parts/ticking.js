// Running times: each is written into its own element, so that a second that passes draws nothing else.
import { Component, html } from "./html.js";
import { clock } from "./i18n.js";
import { elapsedS, pourOf } from "../model/pour.js";

const EVERY_MS = 200;
const shown = new Set();
let running = 0;

function tick() {
  for (const one of shown) one.write();
}

/** Seconds of the phase that a pot is in. Props: session. */
export class PourTime extends Component {
  setElement = (element) => {
    this.element = element;
    this.write();
  };

  componentDidMount() {
    shown.add(this);
    running ||= setInterval(tick, EVERY_MS);
  }

  componentWillUnmount() {
    shown.delete(this);
  }

  shouldComponentUpdate(next) {
    return next.session !== this.props.session;
  }

  write() {
    if (!this.element) return;
    const text = clock(elapsedS(pourOf(this.props.session)));
    if (this.element.textContent !== text) this.element.textContent = text;
  }

  render() {
    return html`<span class="time" role="timer" ref=${this.setElement}></span>`;
  }
}
