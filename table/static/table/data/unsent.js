// What the server does not have: the refused part as a list from which a person takes it, all of it as a file.
import { SCHEMA } from "./sync.js";

/** @typedef {import("./events.js").State} State */
/** @typedef {{type: string, id: string, fields: import("./events.js").Fields, detail: string}} ShownProblem what it is of, what was written there, why it was refused */
/** @typedef {{shown: ShownProblem, events: import("./events.js").Event[]}} Refused with the events that take it off the list */

/** The records and photos of which something was refused. @param {State} state @returns {Refused[]} */
export function refusedIn(state) {
  /** @type {Map<string, Refused>} */
  const found = new Map();
  for (const { number, change: { type, id, fields }, problems } of state.refused.values()) {
    const { shown, events } = found.get(id) ?? { shown: { fields: {} }, events: [] };
    found.set(id, {
      shown: { type, id, fields: { ...shown.fields, ...fields }, detail: detailOf(problems) },
      events: [...events, { event: "put_away", number }],
    });
  }
  for (const { announced, problems } of state.photos.values()) {
    const { id } = announced;
    const shown = { type: "photo", id, fields: announced, detail: detailOf(problems) };
    if (problems.length) found.set(id, { shown, events: [{ event: "photo_done", id, problems: null }] });
  }
  return [...found.values()];
}

/** @param {import("./events.js").Problem[]} problems */
function detailOf(problems) {
  return problems.map((one) => (one.field ? `${one.field}: ${one.detail}` : one.detail)).join("; ");
}

/**
 * Unsent and refused changes in the form of a sync's body; photos are not in it.
 *
 * @param {State} state
 * @returns {Blob}
 */
export function unsentFile(state) {
  const unsent = [...state.outbox.values(), ...state.refused.values()].sort((a, b) => a.number - b.number);
  const body = { schema: SCHEMA, device: state.meta.get("device"), changes: unsent.map(({ change }) => change) };
  return new Blob([JSON.stringify(body, null, 1)], { type: "application/json" });
}
