// The phone's memory on its disk: how it is stored in IndexedDB, and how it is read in the order in which it is needed.
import { openDB } from "../vendor/idb.js";
import { PARTS } from "./state.js";

/** @typedef {import("./events.js").PulledRecord} PulledRecord */
/** @typedef {import("../vendor/idb.js").IDBPDatabase} IDBPDatabase */

const VERSION = 3;
/** Stores beside the state: bytes of photos, things of this phone alone, answers of the server last seen. */
const OTHERS = ["bytes", "local", "answers"];
/** Types of records that belong to a session; there are many of them. */
export const CHILD_TYPES = ["infusion", "note"];
const SESSIONS_AT_A_TIME = 16;

/**
 * @param {string} name
 * @param {{blocking: () => void, terminated: () => void}} callbacks
 * @returns {Promise<IDBPDatabase>}
 */
export function openDisk(name, callbacks) {
  return openDB(name, VERSION, {
    ...callbacks,
    async upgrade(db, former, _version, tx) {
      if (former < 1) for (const store of [...PARTS, ...OTHERS]) db.createObjectStore(store);
      if (former < 2) {
        const records = tx.objectStore("records");
        records.createIndex("type", "type");
        records.createIndex("session", "fields.session");
      }
      if (former > 0) await takeLists(tx);
    },
  });
}

/** What was stored as lists of the API becomes records, until it is pulled. @param {any} tx of the upgrade */
async function takeLists(tx) {
  const [answers, records] = [tx.objectStore("answers"), tx.objectStore("records")];
  const seen_in = (await tx.objectStore("meta").get("full_pass")) ?? 0;
  for (const type of ["flight", "member", "shop", "photo"]) {
    for (const { id, ...fields } of (await answers.get(`${type}s`)) ?? []) {
      if (fields.left_at) continue;
      if (type === "photo" && ["receiving", "checking"].includes(fields.state)) fields.state = "waiting";
      await records.put({ id, type, fields, revision: 0, by: null, author: null, at: null, seen_in }, id);
    }
    await answers.delete(`${type}s`);
  }
}

/**
 * Read all parts but the infusions and notes, and of these those of a few sessions.
 *
 * @param {IDBPDatabase} db
 * @param {(parts: Map<string, Map<any, any>>) => string[]} choose which sessions, given all parts
 * @returns {Promise<{parts: Map<string, Map<any, any>>, sessions: string[]}>} with `local` as a part
 */
export async function readFirst(db, choose) {
  const names = [...PARTS.filter((name) => name !== "records"), "local"];
  const tx = db.transaction([...names, "records"]);
  const records = tx.objectStore("records");
  const [heads, ...others] = await Promise.all([readHeads(records), ...names.map((name) => entries(tx.objectStore(name)))]);
  const parts = new Map(names.map((name, i) => [name, others[i]]));
  parts.set("records", heads);
  const sessions = choose(parts);
  const children = await Promise.all(sessions.map((session) => records.index("session").getAll(session)));
  for (const record of children.flat()) heads.set(record.id, record);
  return { parts, sessions };
}

/**
 * Read every infusion and note, those of a few sessions at a time.
 *
 * @param {() => Promise<IDBPDatabase>} open
 * @param {string[]} sessions the known ones; children of others are read as well
 * @returns {AsyncGenerator<PulledRecord[]>}
 */
export async function* readChildren(open, sessions) {
  const bounds = sessions.toSorted().filter((_id, i) => i % SESSIONS_AT_A_TIME === 0);
  for (let i = 0; i <= bounds.length; i++) {
    const [low, high] = [bounds[i - 1], bounds[i]];
    let range = high === undefined ? null : IDBKeyRange.upperBound(high, true);
    if (low !== undefined) range = high === undefined ? IDBKeyRange.lowerBound(low) : IDBKeyRange.bound(low, high, false, true);
    yield await (await open()).getAllFromIndex("records", "session", range);
  }
}

/** @param {any} records */
async function readHeads(records) {
  const [infusion, note] = CHILD_TYPES;
  const ranges = [IDBKeyRange.upperBound(infusion, true), IDBKeyRange.bound(infusion, note, true, true), IDBKeyRange.lowerBound(note, true)];
  const found = await Promise.all(ranges.map((range) => records.index("type").getAll(range)));
  return new Map(found.flat().map((record) => [record.id, record]));
}

/** Everything in a store by key. @param {any} store @returns {Promise<Map<any, any>>} */
export async function entries(store) {
  const [keys, values] = await Promise.all([store.getAllKeys(), store.getAll()]);
  return new Map(keys.map((/** @type {any} */ key, /** @type {number} */ i) => [key, values[i]]));
}
