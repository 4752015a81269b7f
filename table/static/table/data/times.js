// Moments and ids that the phone makes.

/** @typedef {import("./log.js").Log} Log */

const CLOCK = "clock_offset_ms";

/**
 * A moment as text of fixed width, so that the order of texts is the order of moments.
 *
 * @param {number} moment_us microseconds since 1970
 * @returns {string}
 */
function stampText(moment_us) {
  const text = new Date(Math.floor(moment_us / 1000)).toISOString();
  return `${text.slice(0, -1)}${String(moment_us % 1000).padStart(3, "0")}Z`;
}

/** @param {string} text an RFC 3339 moment in UTC @returns {number} microseconds since 1970 */
export function microseconds(text) {
  const [, whole, fraction = ""] = /** @type {RegExpExecArray} */ (/^(.*?)(?:\.(\d+))?Z$/.exec(text));
  return Date.parse(`${whole}Z`) * 1000 + Number(fraction.padEnd(6, "0").slice(0, 6));
}

/**
 * The stamp of a new edit: later than each of the others, whatever the clock says.
 *
 * @param {number} now_ms milliseconds since 1970
 * @param {string[]} others stamps, or empty texts
 */
export function stampAfter(now_ms, others) {
  let moment_us = now_ms * 1000;
  for (const other of others) if (other) moment_us = Math.max(moment_us, microseconds(other) + 1);
  return stampText(moment_us);
}

/** @param {number} now_ms @returns {string} a UUID of version 7 (RFC 9562, section 5.7) */
export function newId(now_ms) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0; i < 6; i++) bytes[i] = Math.floor(now_ms / 2 ** (8 * (5 - i))) % 256;
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

/** The time of the server, as far as the phone knows it: its clock may be wrong by minutes. @param {Log} log */
export function serverNow(log) {
  return new Date(Date.now() + (log.local.get(CLOCK) ?? 0));
}

/** Learn the server's time from an answer. @param {Log} log @param {string} now @param {number} sent_ms @param {number} came_ms */
export function learnClock(log, now, sent_ms, came_ms) {
  const offset_ms = Date.parse(now) - (sent_ms + came_ms) / 2;
  const known_ms = log.local.get(CLOCK) ?? 0;
  if (Math.abs(offset_ms - known_ms) > 1000 + (came_ms - sent_ms) / 2) log.setLocal(CLOCK, Math.round(offset_ms));
}
