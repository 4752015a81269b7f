// The phone's state as a function of its events; the twin of table/phone/phone_state.py. No clock, disk or network.

/** @typedef {import("./events.js").Event} Event */
/** @typedef {import("./events.js").Page} Page */
/** @typedef {import("./events.js").Part} Part */
/** @typedef {import("./events.js").PartChange} PartChange */
/** @typedef {import("./events.js").PulledRecord} PulledRecord */
/** @typedef {import("./events.js").State} State */
/** @typedef {import("./events.js").UnsentChange} UnsentChange */

/** @type {Part[]} */
export const PARTS = ["meta", "records", "outbox", "refused", "confirmed", "photos"];

const META = {
  device: "", token: "", cursor: 0, last_at: "", number: 0, full_pass: 0, in_full_pass: false,
  scope: null, scope_token: "", here: null,
};

/** @returns {State} the state of a phone on which nothing happened yet */
export function emptyState() {
  return {
    meta: new Map(Object.entries(META)),
    records: new Map(),
    outbox: new Map(),
    refused: new Map(),
    confirmed: new Map(),
    photos: new Map(),
  };
}

/**
 * What an event changes, without changing it yet: the same changes go to the disk first, then into memory.
 *
 * @param {State} state
 * @param {Event} event
 * @returns {PartChange[]} in the order in which they apply
 */
export function changesOf(state, event) {
  switch (event.event) {
    case "begun":
      return [meta("device", event.device)];
    case "signed":
      return [meta("token", event.token)];
    case "written":
      return written(state, event);
    case "answered":
      return answered(state, event);
    case "start_again":
      return [meta("cursor", 0), meta("in_full_pass", true), meta("full_pass", state.meta.get("full_pass") + 1), meta("scope_token", "")];
    case "scoped":
      return [meta("scope", event.scope)];
    case "put_away":
      return [{ part: "refused", key: event.number }];
    case "photographed":
      return [{ part: "photos", key: event.photo.id, value: { announced: event.photo, problems: [] } }];
    case "photo_done":
      return photoDone(state, event);
    case "cleared":
      return cleared(state);
    default:
      throw new RangeError(`an event called ${event.event} is not known`);
  }
}

/**
 * Change the state in memory.
 *
 * @param {State} state
 * @param {PartChange[]} changes
 */
export function applyChanges(state, changes) {
  for (const { part, key, value } of changes) {
    const values = /** @type {Map<any, any>} */ (state[part]);
    if (value === undefined) values.delete(key);
    else values.set(key, value);
  }
}

/**
 * @param {string} key
 * @param {any} value
 * @returns {PartChange}
 */
function meta(key, value) {
  return { part: "meta", key, value };
}

/** @param {string} a @param {string} b */
const later = (a, b) => (a > b ? a : b);

/** @param {State} state @param {Event} event @returns {PartChange[]} */
function written(state, event) {
  const { number, change, begins } = event;
  return [
    { part: "outbox", key: number, value: { number, change, begins, problems: [] } },
    meta("number", Math.max(state.meta.get("number"), number)),
    meta("last_at", later(state.meta.get("last_at"), event.clock_at ?? "")),
  ];
}

/** @param {State} state @param {Event} event @returns {PartChange[]} */
function photoDone(state, event) {
  const photo = state.photos.get(event.id);
  if (!photo) return [];
  const refused = event.problems && event.problems.length > 0;
  return [{ part: "photos", key: event.id, value: refused ? { ...photo, problems: event.problems } : undefined }];
}

/** Verdicts and page of one answer. @param {State} state @param {Event} event @returns {PartChange[]} */
function answered(state, event) {
  /** @type {PartChange[]} */
  const changes = [];
  const cursor = event.page ? event.page.cursor : -1;
  for (const [number, verdict, revision, problems] of event.verdicts) {
    const unsent = state.outbox.get(number);
    if (!unsent) continue;
    const judged = { ...unsent, problems };
    if (verdict === "waits") {
      changes.push({ part: "outbox", key: number, value: judged });
      continue;
    }
    changes.push({ part: "outbox", key: number });
    if (verdict === "refused") changes.push({ part: "refused", key: number, value: judged });
    else if (revision !== null && revision > cursor)
      changes.push({ part: "confirmed", key: number, value: { ...judged, revision } });
  }
  if (event.page) changes.push(...pulledPage(state, event.page));
  return changes;
}

/** @param {State} state @param {Page} page @returns {PartChange[]} */
function pulledPage(state, page) {
  /** @type {PartChange[]} */
  const changes = [];
  const fullPass = state.meta.get("full_pass");
  const inPage = new Set();
  for (const change of page.changes) {
    inPage.add(change.id);
    changes.push({ part: "records", key: change.id, value: pulledRecord(change, fullPass) });
  }
  changes.push(meta("cursor", page.cursor), meta("scope_token", page.scope_token ?? ""));
  if (page.here !== undefined) changes.push(meta("here", page.here));
  for (const [number, unsent] of state.confirmed)
    if (/** @type {number} */ (unsent.revision) <= page.cursor) changes.push({ part: "confirmed", key: number });
  if (state.meta.get("in_full_pass") && !page.more) {
    for (const [id, record] of state.records)
      if (record.seen_in !== fullPass && !inPage.has(id)) changes.push({ part: "records", key: id });
    changes.push(meta("in_full_pass", false));
  }
  return changes;
}

/**
 * @param {import("./events.js").PulledChange} change
 * @param {number} fullPass
 * @returns {PulledRecord|undefined} undefined for what the phone no longer has
 */
function pulledRecord(change, fullPass) {
  if (change.deleted || change.out_of_scope) return undefined;
  const { id, type, fields = {}, revision, by = null, author = null, at = null } = change;
  return { id, type, fields, revision, by, author, at, seen_in: fullPass };
}

/** What signing out removes: all that the server has. @param {State} state @returns {PartChange[]} */
function cleared(state) {
  /** @type {PartChange[]} */
  const changes = [meta("token", ""), meta("cursor", 0), meta("in_full_pass", false), meta("scope", null), meta("scope_token", ""), meta("here", null)];
  for (const key of state.records.keys()) changes.push({ part: "records", key });
  for (const key of state.confirmed.keys()) changes.push({ part: "confirmed", key });
  return changes;
}
