// Of which sessions the phone has infusions and notes: those of the last days, and those of the lots looked at.

/** @typedef {import("./events.js").Scope} Scope */
/** @typedef {import("./events.js").ScopeHere} ScopeHere */
/** @typedef {import("./events.js").State} State */

const DAYS = 120;
const MOST_LOTS = 50;
const DAY_MS = 86_400_000;
const LATEST = 30;

/** @type {Scope} what a phone asks for at first */
export const FIRST_SCOPE = { days: DAYS, lots: [] };

/** The scope with one more lot; beyond the most, the lot that was looked at first goes. @param {Scope} scope @param {string} lot @returns {Scope} */
export function withLot(scope, lot) {
  return scope.lots.includes(lot) ? scope : { ...scope, lots: [...scope.lots, lot].slice(-MOST_LOTS) };
}

/** What a phone has once a scope has been pulled to its end: the server counts days from midnight UTC. @param {Scope} scope @param {number} now_ms @returns {ScopeHere} */
export function scopeHere({ days, lots }, now_ms) {
  return { since: new Date(now_ms - days * DAY_MS).toISOString().slice(0, 10), lots };
}

/**
 * Whether infusions and notes of a session are on this phone: not while they are being pulled, nor of old ones.
 *
 * @param {State} state
 * @param {string} session
 */
export function isHere(state, session) {
  const pulled = state.records.get(session);
  if (!pulled) return true; // begun on this phone
  /** @type {?ScopeHere} */
  const here = state.meta.get("here");
  if (!here) return !state.meta.get("scope");
  return pulled.fields.started_at >= here.since || here.lots.includes(pulled.fields.lot);
}

/**
 * The sessions whose infusions and notes the first screen shows: those on the table, that of the address, the user's latest.
 *
 * @param {Map<string, Map<any, any>>} parts
 * @param {?{user: string}} account
 * @returns {string[]}
 */
export function shownFirst(parts, account) {
  const records = parts.get("records") ?? new Map();
  const mine = [...records.values()].filter(({ type, author }) => type === "session" && (!author || author === account?.user));
  const latest = mine.sort((a, b) => b.fields.started_at.localeCompare(a.fields.started_at)).slice(0, LATEST);
  const wanted = new Set([...(parts.get("local")?.get("table") ?? []), ...location.hash.split("/"), ...latest.map(({ id }) => id)]);
  return [...wanted].filter((id) => records.get(id)?.type === "session");
}
