// What a person changes, as events with stamps.
import { stampAfter } from "./times.js";

/** @typedef {import("./events.js").Event} Event */
/** @typedef {{type: string, id: string, fields?: Record<string, any>, deleted?: true}} Write */

/**
 * The events of changes that are made together. Each stamp is later than the phone's last one and than the latest edit
 * that it has seen of the record: whoever corrects what they see must win, even with a slow clock.
 *
 * @param {import("./events.js").State} state
 * @param {import("./rows.js").Rows} rows
 * @param {Write[]} writes
 * @param {number} now_ms
 * @returns {Event[]}
 */
export function writtenEvents(state, rows, writes, now_ms) {
  let number = state.meta.get("number");
  let last = state.meta.get("last_at");
  const begun = new Set();
  return writes.map(({ type, id, fields, deleted }) => {
    number += 1;
    last = stampAfter(now_ms, [last, state.records.get(id)?.at ?? ""]);
    const begins = !deleted && !begun.has(id) && !rows.isKnown(id);
    begun.add(id);
    const change = { type, id, at: last, seq: number, ...(deleted ? { deleted } : { fields }) };
    return { event: "written", number, begins, change, clock_at: last };
  });
}
