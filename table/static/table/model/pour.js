// The pour of each pot on the table, from the moments at which it began; nothing counts ticks, so a phone may sleep.
import { local, store } from "../parts/store.js";
import { infusionOf, infusionsOf, isOver, nextNumber, sessionOf } from "./reading.js";
import { change } from "./writing.js";

export const MOST_POTS = 6;
const tenths = (ms) => Math.round(ms / 100) / 10;

/** Sessions on the table, in the order in which they were put there; those of a flight until it is revealed. */
export const onTable = () => local("table", []).filter((id) => !sessionOf(id) || !isOver(sessionOf(id)));

export async function putOnTable(session) {
  if (!onTable().includes(session)) await store.setLocal("table", [...onTable(), session]);
}

export async function takeOffTable(session) {
  const left = onTable().filter((one) => one !== session);
  const { [session]: _gone, ...pours } = local("pours", {});
  await store.setLocal("table", left);
  await store.setLocal("pours", pours);
}

/**
 * The pour of a session. Where the browser died between a record and the phase of its pour, the record counts.
 * @returns {{phase: "waiting"|"steeping"|"pouring"|"resting", filled?: number, pouring?: number, emptied?: number,
 *   infusion?: string, number?: number, target_s?: ?number, kettle_c?: ?number}} moments in ms of this phone's clock;
 *   the kettle is that of the pour to come or running
 */
export function pourOf(session) {
  const pour = local("pours", {})[session] ?? { phase: "waiting" };
  const stored = isRunning(pour) ? infusionOf(session, pour.infusion)?.fields : null;
  if (!stored) return pour;
  const pouring = pour.pouring ?? pour.filled + stored.steep_s * 1000;
  const isEmpty = typeof stored.pour_s === "number";
  if (isEmpty) return { ...pour, phase: "resting", pouring, emptied: pouring + stored.pour_s * 1000, kettle_c: null, target_s: null };
  return { ...pour, phase: "pouring", pouring };
}

async function setPour(session, pour) {
  await store.setLocal("pours", { ...local("pours", {}), [session]: pour });
}

/** Seconds since the phase began. */
export function elapsedS(pour, now = Date.now()) {
  const since = { steeping: pour.filled, pouring: pour.pouring, resting: pour.emptied }[pour.phase];
  return since === undefined ? 0 : (now - since) / 1000;
}

export const isRunning = (pour) => pour.phase === "steeping" || pour.phase === "pouring";

/** Water went in. The rest of the infusion before ends here. */
export async function fill(session, { target_s, withRinse }) {
  const before = pourOf(session);
  const filled = Date.now();
  const number = nextNumber(infusionsOf(session), withRinse);
  let undoRest = null;
  const kettle_c = before.kettle_c ?? null;
  await setPour(session, { phase: "steeping", infusion: store.newId(), number, filled, target_s, kettle_c });
  if (before.phase === "resting" && before.infusion) {
    undoRest = await change("infusion", before.infusion, { rest_s: tenths(filled - before.emptied) });
  }
  return async () => {
    await setPour(session, before);
    await undoRest?.();
  };
}

/** The first of it runs out: from here on the infusion is a record. */
export async function pourOut(session) {
  const before = pourOf(session);
  const pouring = Date.now();
  const fields = {
    session,
    number: before.number,
    steep_s: tenths(pouring - before.filled),
    kettle_c: before.kettle_c ?? null,
    poured_at: store.now().toISOString(),
  };
  await store.write([{ type: "infusion", id: before.infusion, fields }]);
  await setPour(session, { ...before, phase: "pouring", pouring });
  return async () => {
    await setPour(session, before);
    await store.write([{ type: "infusion", id: before.infusion, deleted: true }]);
  };
}

/** The pot is empty. */
export async function empty(session) {
  const before = pourOf(session);
  const emptied = Date.now();
  const undo = await change("infusion", before.infusion, { pour_s: tenths(emptied - before.pouring) });
  await setPour(session, { ...before, phase: "resting", emptied, kettle_c: null, target_s: null });
  return async () => {
    await setPour(session, before);
    await undo();
  };
}

/** Write an infusion whose timer was forgotten. */
export async function writePour(session, { steep_s, pour_s, withRinse }) {
  const before = pourOf(session);
  const id = isRunning(before) ? before.infusion : store.newId();
  const number = isRunning(before) ? before.number : nextNumber(infusionsOf(session), withRinse);
  const kettle_c = before.kettle_c ?? null;
  const poured_at = store.now().toISOString();
  await store.write([{ type: "infusion", id, fields: { session, number, steep_s, pour_s, kettle_c, poured_at } }]);
  await setPour(session, { phase: "resting", infusion: id, number, emptied: Date.now() });
  return async () => {
    await store.write([{ type: "infusion", id, deleted: true }]);
    await setPour(session, before);
  };
}

/** The kettle as read for the pour that is to come or runs; null takes the reading away. */
export async function readKettle(session, kettle_c) {
  const pour = pourOf(session);
  const before = local("kettle", null);
  const undos = [() => setPour(session, pour)];
  await setPour(session, { ...pour, kettle_c });
  if (pour.phase === "pouring") undos.push(await change("infusion", pour.infusion, { kettle_c }));
  if (kettle_c !== null) {
    await store.setLocal("kettle", { c: kettle_c, at: Date.now() });
    undos.push(() => store.setLocal("kettle", before));
  }
  return async () => {
    for (const undo of undos) await undo();
  };
}

const COOLING_PER_MIN = 0.013; // of the difference to the room: a closed kettle off the heat; common practice, no source
const ROOM_C = 22; // while nobody has read the room

/** What the kettle may have cooled to since it was read last, in whole °C, or null. A guess, never stored as read. */
export function kettleGuess(session, now = Date.now()) {
  const last = local("kettle", null);
  if (!last) return null;
  const room = sessionOf(session)?.fields.room_c ?? ROOM_C;
  return Math.round(room + (last.c - room) * Math.exp((-COOLING_PER_MIN * (now - last.at)) / 60_000));
}

/** What is set for the pour to come: `target_s`, after which to signal in place of the guide, or `withRinse`. */
export async function prepare(session, settings) {
  await setPour(session, { ...pourOf(session), ...settings });
}
