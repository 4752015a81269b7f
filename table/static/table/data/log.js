// The phone's memory on its disk: IndexedDB, one transaction for each event, several tabs side by side.
import { openDisk, readChildren, readFirst } from "./disk.js";
import { PARTS, applyChanges, changesOf, emptyState } from "./state.js";

/** @typedef {import("./events.js").Event} Event */
/** @typedef {import("./events.js").Part} Part */
/** @typedef {import("./events.js").PartChange} PartChange */
/** @typedef {import("./events.js").State} State */

const PATIENCE_MS = 100;
/** Events that concern every record. */
const CONCERN_ALL = ["answered", "cleared"];

/**
 * Called after each change of the state in memory, with what changed; null when all of it was read again.
 * `touched` is what the first call, before the change, returned.
 *
 * @typedef {object} Listener
 * @property {(changes: PartChange[]) => any} before
 * @property {(changes: ?PartChange[], touched: any) => void} after
 * @property {(key: string, value: any) => void} local
 * @property {() => void} [whole] called when everything has been read
 */

/** @typedef {(parts: Map<string, Map<any, any>>) => string[]} Choose the sessions whose infusions and notes are read first */

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
  #choose;
  /** Sessions whose infusions and notes are in memory; null for all. @type {?Set<string>} */
  #sessions = new Set();
  /** @type {(read: Promise<void>|void) => void} */
  #begin = () => {};
  /** Ends when everything is in memory; another tab's message may come before the first reading begins. @type {Promise<void>} */
  #reading = new Promise((resolve) => (this.#begin = resolve));
  #isClosed = false;

  /** @param {string} name of the database @param {Choose} [choose] */
  constructor(name, choose = () => []) {
    this.#name = name;
    this.#choose = choose;
    this.#channel = new BroadcastChannel(name);
    this.#channel.onmessage = ({ data }) => this.#receive(data);
  }

  /** Open the database and read what comes first; the rest is read afterwards. @param {string} device id for a new phone */
  async open(device) {
    await this.reload();
    if (!this.state.meta.get("device")) await this.append(() => [{ event: "begun", device }]);
    return this;
  }

  /** Let go of the disk once what was begun is stored; whatever is stored later fails. */
  close() {
    this.#last = this.#last.then(() => {
      this.#isClosed = true;
      this.state = emptyState();
      this.#sessions = null;
      this.#begin();
      this.#channel.close();
      this.#db?.close();
      this.#db = null;
    });
    return this.#last;
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
        if (this.#sessions && events.some(({ event }) => CONCERN_ALL.includes(event))) {
          await this.whole();
          continue;
        }
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
      await finish(tx, () => [value === undefined ? tx.store.delete(key) : tx.store.put(value, key)]);
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

  /** Read from the disk again: what comes first, and the rest afterwards. */
  async reload() {
    const { parts, sessions } = await readFirst(await this.#open(), this.#choose);
    const fresh = /** @type {any} */ (emptyState());
    for (const part of PARTS) fresh[part] = new Map([...fresh[part], ...(parts.get(part) ?? [])]);
    this.#version = fresh.meta.get("version") ?? 0;
    fresh.meta.delete("version");
    this.state = fresh;
    this.#sessions = new Set(sessions);
    const local = /** @type {Map<string, any>} */ (parts.get("local"));
    for (const key of new Set([...this.local.keys(), ...local.keys()])) this.#setLocal(key, local.get(key));
    this.#reading = this.#readRest(fresh);
    this.#reading.catch(() => {}); // whoever waits for `whole` learns of it
    this.#begin(this.#reading);
    this.listener?.after(null, null);
  }

  /** Whether everything is in memory. */
  get isWhole() {
    return this.#sessions === null;
  }

  /** Whether the infusions and notes of a session are in memory. @param {string} session */
  has(session) {
    return this.#sessions?.has(session) ?? true;
  }

  /** Wait until everything is in memory. */
  async whole() {
    while (this.#sessions) await this.#reading;
  }

  /** @param {State} state which a later reading replaces */
  async #readRest(state) {
    const ids = [...state.records.values()].filter(({ type }) => type === "session").map(({ id }) => id);
    for await (const records of readChildren(() => this.#open(), ids)) {
      if (state !== this.state) return;
      const changes = records.filter(({ id }) => !state.records.has(id)).map((value) => ({ part: /** @type {const} */ ("records"), key: value.id, value }));
      this.#apply(changes);
      for (const { fields } of records) this.#sessions?.add(fields.session);
      await new Promise((resume) => setTimeout(resume)); // taps and frames go first
    }
    if (state !== this.state) return;
    this.#sessions = null;
    this.listener?.whole?.();
  }

  /** @template T @param {() => Promise<T>} task @returns {Promise<T>} */
  #inTurn(task) {
    const done = this.#last.then(() => {
      if (this.#isClosed) throw new DOMException("this account is not open any more", "InvalidStateError");
      return task();
    });
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
    const write = () => [
      ...changes.map(({ part, key, value }) =>
        value === undefined ? tx.objectStore(part).delete(key) : tx.objectStore(part).put(value, key),
      ),
      ...[...bytes].map(([id, blob]) => tx.objectStore("bytes").put(blob, id)),
      meta.put(version + 1, "version"),
    ];
    await finish(tx, write);
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
    this.#version = version;
    this.#apply(changes);
  }

  /** @param {PartChange[]} changes */
  #apply(changes) {
    const touched = this.listener?.before(changes);
    applyChanges(this.state, changes);
    this.listener?.after(changes, touched);
  }

  /** What another tab has stored. @param {{version: number, changes: PartChange[], key?: string, value?: any}} message */
  #receive(message) {
    const { version, changes, key, value } = message;
    if (key !== undefined) this.#setLocal(key, value);
    else if (this.#sessions) this.whole().then(() => this.#receive(message), () => {}); // what is being read may be older
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
    this.#db ??= await openDisk(this.#name, {
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
 * Write in a transaction, all or nothing; its own reason is thrown, such as QuotaExceededError.
 *
 * @param {any} tx
 * @param {() => Promise<any>[]} write
 */
async function finish(tx, write) {
  /** @type {Promise<any>[]} */
  let requests;
  try {
    requests = write();
  } catch (error) {
    tx.abort();
    await tx.done.catch(() => {});
    throw error;
  }
  const outcomes = await Promise.allSettled([...requests, tx.done]);
  const failed = /** @type {PromiseRejectedResult|undefined} */ (outcomes.find(({ status }) => status === "rejected"));
  if (failed) throw tx.error ?? failed.reason;
}
