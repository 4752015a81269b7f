// What the server does not have yet, as a file that a person can keep and the server can take.
import { SCHEMA } from "./sync.js";

/**
 * Unsent and refused changes in the form of a sync's body; photos are not in it.
 *
 * @param {import("./events.js").State} state
 * @returns {Blob}
 */
export function unsentFile(state) {
  const unsent = [...state.outbox.values(), ...state.refused.values()].sort((a, b) => a.number - b.number);
  const body = { schema: SCHEMA, device: state.meta.get("device"), changes: unsent.map(({ change }) => change) };
  return new Blob([JSON.stringify(body, null, 1)], { type: "application/json" });
}
