// The phone's memory on its disk: IndexedDB, one transaction for each event, several tabs side by side.
import { openDB } from "../vendor/idb.js";
import { PARTS, applyChanges, changesOf, emptyState } from "./state.js";

/** @typedef {import("./events.js").Event} Event */
/** @typedef {import("./events.js").Part} Part */
/** @typedef {import("./events.js").PartChange} PartChange */
/** @typedef {import("./events.js").State} State */

const VERSION = 1;
/** Stores beside the state: bytes of photos, things of this phone alone, answers of the server last seen. */
const OTHERS = ["bytes", "local", "answers"];
const PATIENCE_MS = 100;

/**
 * Called after each change of the state in memory, with what changed; null when all of it was read again.
 * `touched` is what the first call, before the change, returned.
 *
 * @typedef {object} Listener
 * @property {(changes: PartChange[]) => any} before
 * @property {(changes: ?PartChange[], touched: any) => void} after
 * @property {(key: string, value: any) => void} local
 */

/** The memory of one account on this phone. */
export class Log {
  /** @type {State} */
  state = emptyState();
  /** @type {Map<string, any>} */
  local = new Map();
  /** @type {?Listener} */
  listener = null;

  #name;
  /** @type {?import("../vendor/idb.js").IDBPDatabase} */
  #db = null;
  #version = 0;
  /** @type {Promise<any>} */
  #last = Promise.resolve();
  #channel;

  /** @param {string} name of the database */
  constructor(name) {
    this.#name = name;
    this.#channel = new BroadcastChannel(name);
    this.#channel.onmessage = ({ data }) => this.#receive(data);
  }

  /** Open the database and read it. @param {string} device id for a new phone */
  async open(device) {
    await this.reload();
    if (!this.state.meta.get("device")) await this.append(() => [{ event: "begun", device }]);
    return this;
  }

  close() {
    this.#channel.close();
    this.#db?.close();
    this.#db = null;
  }

  /**
   * Store events; they are safe on the disk once this resolves.
   *
   * @param {(state: State) => Event[]} make called with the present state, again if another tab was quicker; several
   *   events must not build on each other
   * @param {{durability?: "strict"|"relaxed", bytes?: Map<string, Blob>}} [options] `relaxed` for what the server has
   *   anyway; `bytes` of photos go into the same transaction
   * @returns {Promise<Event[]>}
   */
  append(make, { durability = "strict", bytes = new Map() } = {}) {
    return this.#inTurn(async () => {
      for (;;) {
        const seen = this.#version;
        const events = make(this.state);
        if (events.length === 0) return events;
        const changes = events.flatMap((event) => changesOf(this.state, event));
        const ahead = await this.#store(seen, changes, bytes, durability);
        if (ahead === null) return events;
        await this.#catchUp(ahead);
      }
    });
  }

  /** @param {string} key @param {any} value undefined removes it */
  async setLocal(key, value) {
    await this.#inTurn(async () => {
      const tx = (await this.#open()).transaction("local", "readwrite", { durability: "strict" });
      await finish(tx, [value === undefined ? tx.store.delete(key) : tx.store.put(value, key)]);
      this.#channel.postMessage({ key, value });
    });
    this.#setLocal(key, value);
  }

  /** @param {string} key @returns {Promise<any>} an answer of the server as last seen */
  async answer(key) {
    return (await this.#open()).get("answers", key);
  }

  /** @param {string} key @param {any} value */
  async setAnswer(key, value) {
    await (await this.#open()).put("answers", value, key);
  }

  /** @param {string} id of a photo @returns {Promise<Blob|undefined>} */
  async bytes(id) {
    return (await this.#open()).get("bytes", id);
  }

  /** Remove the bytes of photos that the server has. @param {string} id */
  async dropBytes(id) {
    await (await this.#open()).delete("bytes", id);
  }

  /** Remove what the server has; what was not sent stays. */
  async clearPulled() {
    await this.append(() => [{ event: "cleared" }]);
    await (await this.#open()).clear("answers");
  }

  /** Remove the things of this phone alone. */
  async clearLocal() {
    await (await this.#open()).clear("local");
    for (const key of [...this.local.keys()]) this.#setLocal(key, undefined);
  }

  /** Read everything from the disk. */
  async reload() {
    const tx = (await this.#open()).transaction([...PARTS, "local"]);
    const [version, ...parts] = await Promise.all([
      tx.objectStore("meta").get("version"),
      ...[...PARTS, "local"].map((part) => entries(tx.objectStore(part))),
    ]);
    const local = /** @type {Map<string, any>} */ (parts.pop());
    const fresh = /** @type {any} */ (emptyState());
    PARTS.forEach((part, i) => {
      fresh[part] = part === "meta" ? new Map([...fresh.meta, ...parts[i]]) : parts[i];
    });
    this.state = fresh;
    this.state.meta.delete("version");
    this.#version = version ?? 0;
    for (const key of new Set([...this.local.keys(), ...local.keys()])) this.#setLocal(key, local.get(key));
    this.listener?.after(null, null);
  }

  /** @template T @param {() => Promise<T>} task @returns {Promise<T>} */
  #inTurn(task) {
    const done = this.#last.then(task);
    this.#last = done.catch(() => {});
    return done;
  }

  /**
   * @param {number} seen version that the changes were made for; the state may move on while the disk is waited for
   * @param {PartChange[]} changes
   * @param {Map<string, Blob>} bytes
   * @param {"strict"|"relaxed"} durability
   * @returns {Promise<?number>} null, or the version on the disk when another tab has written meanwhile
   */
  async #store(seen, changes, bytes, durability) {
    const tx = await this.#transaction(durability);
    const meta = tx.objectStore("meta");
    const version = (await meta.get("version")) ?? 0;
    if (version !== seen) {
      tx.abort();
      await tx.done.catch(() => {});
      return version;
    }
    const requests = changes.map(({ part, key, value }) =>
      value === undefined ? tx.objectStore(part).delete(key) : tx.objectStore(part).put(value, key),
    );
    for (const [id, blob] of bytes) requests.push(tx.objectStore("bytes").put(blob, id));
    requests.push(meta.put(version + 1, "version"));
    await finish(tx, requests);
    this.#commit(version + 1, changes);
    this.#channel.postMessage({ version: version + 1, changes });
    return null;
  }

  /** @param {"strict"|"relaxed"} durability */
  async #transaction(durability) {
    const stores = [...PARTS, "bytes"];
    try {
      return (await this.#open()).transaction(stores, "readwrite", { durability });
    } catch (error) {
      if (/** @type {Error} */ (error).name !== "InvalidStateError") throw error;
      this.#db = null; // the browser closed it
      return (await this.#open()).transaction(stores, "readwrite", { durability });
    }
  }

  /** @param {number} version @param {PartChange[]} changes */
  #commit(version, changes) {
    const touched = this.listener?.before(changes);
    applyChanges(this.state, changes);
    this.#version = version;
    this.listener?.after(changes, touched);
  }

  /** What another tab has stored. @param {{version: number, changes: PartChange[], key?: string, value?: any}} message */
  #receive({ version, changes, key, value }) {
    if (key !== undefined) this.#setLocal(key, value);
    else if (version === this.#version + 1) this.#commit(version, changes);
    else if (version > this.#version) this.#inTurn(() => this.#catchUp(version)).catch(() => {});
  }

  /** @param {number} version that is on the disk */
  async #catchUp(version) {
    const deadline = performance.now() + PATIENCE_MS;
    while (this.#version < version && performance.now() < deadline) await new Promise((resume) => setTimeout(resume, 5));
    if (this.#version < version) await this.reload();
  }

  /** @param {string} key @param {any} value */
  #setLocal(key, value) {
    if (value === undefined) this.local.delete(key);
    else this.local.set(key, value);
    this.listener?.local(key, value);
  }

  async #open() {
    this.#db ??= await openDB(this.#name, VERSION, {
      upgrade: (db) => {
        for (const name of [...PARTS, ...OTHERS]) db.createObjectStore(name);
      },
      blocking: () => {
        this.#db?.close();
        this.#db = null;
      },
      terminated: () => {
        this.#db = null;
      },
    });
    return this.#db;
  }
}

/**
 * Wait for a transaction; its own reason is thrown, such as QuotaExceededError.
 *
 * @param {any} tx
 * @param {Promise<any>[]} requests
 */
async function finish(tx, requests) {
  const outcomes = await Promise.allSettled([...requests, tx.done]);
  const failed = /** @type {PromiseRejectedResult|undefined} */ (outcomes.find(({ status }) => status === "rejected"));
  if (failed) throw tx.error ?? failed.reason;
}

/** @param {any} store @returns {Promise<Map<any, any>>} */
async function entries(store) {
  const [keys, values] = await Promise.all([store.getAllKeys(), store.getAll()]);
  return new Map(keys.map((/** @type {any} */ key, /** @type {number} */ i) => [key, values[i]]));
}
