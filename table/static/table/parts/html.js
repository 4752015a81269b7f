// What every screen draws with: markup, components and signals.
import { Component, h, render } from "../vendor/preact.js";
import htm from "../vendor/htm.js";

export const html = htm.bind(h);
export { Component, render };
export { batch, computed, effect, signal, untracked } from "../vendor/signals-core.js";
