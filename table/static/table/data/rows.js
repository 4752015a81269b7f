// Records as screens show them: what was pulled, with the changes that are not confirmed on top.
import { batch, signal } from "../vendor/signals-core.js";
import { CHILD_TYPES } from "./disk.js";

/** @typedef {import("./events.js").PartChange} PartChange */
/** @typedef {import("./events.js").Row} Row */
/** @typedef {import("./events.js").State} State */
/** @typedef {import("./events.js").UnsentChange} UnsentChange */
/** @typedef {{ids: Set<string>, sessions: Set<string>}} Touched ids of records, and of the sessions to which they belong */
/** @typedef {"infusion"|"note"} ChildType */
/** @typedef {Record<ChildType, Row[]>} Children */
/** @template T @typedef {import("../vendor/signals-core.js").Signal<T>} Signal */

/**
 * The rows of every record type, brought up to date change by change. Infusions and notes are many: their rows are made
 * for a session when a screen asks for it.
 */
export class Rows {
  /** @type {Map<string, Signal<Map<string, Row>>>} */
  #signals = new Map();
  /** Infusions and notes by session, for the sessions that were asked for. @type {Map<string, Signal<Children>>} */
  #children = new Map();
  /** Ids of infusions and notes by session; some may have gone since. @type {Map<string, Set<string>>} */
  #childIds = new Map();
  /** Unconfirmed changes by record and number. @type {Map<string, Map<number, UnsentChange>>} */
  #unconfirmed = new Map();
  /** @type {State} */
  #state;
  /** Who uses the phone: author of what the server does not have yet. @type {?string} */
  user = null;

  /** @param {State} state which the caller changes before each `update` */
  constructor(state) {
    this.#state = state;
    this.rebuild(state);
  }

  /** Rows by id. @param {string} type but infusion and note @returns {Signal<Map<string, Row>>} */
  of(type) {
    return getOrMake(this.#signals, type, () => signal(new Map()));
  }

  /** @param {ChildType} type @param {string} session @returns {Row[]} */
  ofSession(type, session) {
    return getOrMake(this.#children, session, () => signal(this.#childrenOf(session))).value[type];
  }

  /** Every infusion or note that has been read from the disk, without following later changes. @param {ChildType} type @returns {Row[]} */
  all(type) {
    return [...this.#childIds.keys()].flatMap((session) => this.#childrenOf(session)[type]);
  }

  /** Sessions of which anything is on this phone alone. @returns {Set<string>} */
  unsentSessions() {
    const ids = new Set();
    for (const id of this.#unconfirmed.keys()) ids.add(this.#typeOf(id) === "session" ? id : this.#sessionOf(id));
    return ids;
  }

  /** Whether the phone has a record, or is about to create it. @param {string} id */
  isKnown(id) {
    if (this.#state.records.has(id)) return true;
    return [...(this.#unconfirmed.get(id)?.values() ?? [])].some((one) => one.begins);
  }

  /** Take a whole state. @param {State} state */
  rebuild(state) {
    this.#state = state;
    this.#unconfirmed.clear();
    this.#childIds.clear();
    for (const part of [state.confirmed, state.outbox])
      for (const [number, unsent] of part) this.#changesTo(unsent.change.id).set(number, unsent);
    /** @type {Map<string, Map<string, Row>>} */
    const byType = new Map();
    for (const id of new Set([...state.records.keys(), ...this.#unconfirmed.keys()])) {
      if (this.#noteChild(id)) continue;
      const row = this.one(id);
      if (row) getOrMake(byType, this.#typeOf(id), () => new Map()).set(id, row);
    }
    batch(() => {
      for (const type of new Set([...this.#signals.keys(), ...byType.keys()]))
        this.of(type).value = byType.get(type) ?? new Map();
      for (const [session, rows] of this.#children) rows.value = this.#childrenOf(session);
    });
  }

  /**
   * Follow changes that have been made to the state.
   *
   * @param {PartChange[]} changes
   * @param {Touched} touched from `touchedBy`
   */
  update(changes, { ids, sessions }) {
    for (const { part, key, value } of changes) {
      if (part !== "outbox" && part !== "confirmed") continue;
      const number = /** @type {number} */ (key);
      if (value) this.#changesTo(value.change.id).set(number, value);
    }
    for (const id of ids) {
      this.#dropConfirmed(id);
      if (this.#noteChild(id)) sessions.add(this.#sessionOf(id));
      else if (this.#typeOf(id) === "session") sessions.add(id);
    }
    batch(() => {
      this.#replace(ids);
      for (const session of sessions) {
        const rows = this.#children.get(session);
        if (rows) rows.value = this.#childrenOf(session);
      }
    });
  }

  /**
   * What changes concern, before they are made to the state.
   *
   * @param {PartChange[]} changes
   * @returns {Touched}
   */
  touchedBy(changes) {
    /** @type {Set<string>} */
    const ids = new Set();
    for (const { part, key, value } of changes) {
      if (part === "records") ids.add(/** @type {string} */ (key));
      else if (part === "outbox" || part === "confirmed") {
        const former = this.#state[part].get(/** @type {number} */ (key));
        if (former) ids.add(former.change.id);
        if (value) ids.add(value.change.id);
      }
    }
    return { ids, sessions: new Set([...ids].map((id) => (this.#typeOf(id) === "session" ? id : this.#sessionOf(id)))) };
  }

  /** @param {string} id */
  #dropConfirmed(id) {
    const changes = this.#unconfirmed.get(id);
    if (!changes) return;
    for (const number of changes.keys())
      if (!this.#state.outbox.has(number) && !this.#state.confirmed.has(number)) changes.delete(number);
    if (changes.size === 0) this.#unconfirmed.delete(id);
  }

  /** @param {Set<string>} ids */
  #replace(ids) {
    /** @type {Map<string, Map<string, Row>>} */
    const copies = new Map();
    for (const id of ids) {
      const type = this.#typeOf(id);
      if (CHILD_TYPES.includes(type)) continue;
      const row = this.one(id);
      if (row) getOrMake(copies, type, () => new Map(this.of(type).peek())).set(id, row);
      else
        for (const [other, rows] of this.#signals)
          if (rows.peek().has(id)) getOrMake(copies, other, () => new Map(rows.peek())).delete(id);
    }
    for (const [type, copy] of copies) this.of(type).value = copy;
  }

  /** Remember which session an infusion or note belongs to; false for other records. @param {string} id */
  #noteChild(id) {
    if (!CHILD_TYPES.includes(this.#typeOf(id))) return false;
    getOrMake(this.#childIds, this.#sessionOf(id), () => new Set()).add(id);
    return true;
  }

  /** @param {string} session @returns {Children} */
  #childrenOf(session) {
    /** @type {Children} */
    const rows = { infusion: [], note: [] };
    if (!this.#isThere(session)) return rows;
    for (const id of this.#childIds.get(session) ?? []) {
      const row = this.one(id);
      if (row?.fields.session === session) rows[/** @type {ChildType} */ (this.#typeOf(id))].push(row);
    }
    return rows;
  }

  /** The session to which an infusion or note belongs. @param {string} id @returns {string} */
  #sessionOf(id) {
    for (const { change } of inOrder(this.#unconfirmed.get(id) ?? new Map()).reverse())
      if (change.fields?.session) return change.fields.session;
    return this.#state.records.get(id)?.fields.session ?? "";
  }

  /** @param {string} id @returns {Map<number, UnsentChange>} */
  #changesTo(id) {
    return getOrMake(this.#unconfirmed, id, () => new Map());
  }

  /** @param {string} id @returns {string} */
  #typeOf(id) {
    const base = this.#state.records.get(id);
    if (base) return base.type;
    const [first] = this.#unconfirmed.get(id)?.values() ?? [];
    return first ? first.change.type : "";
  }

  /** A record of any type as it is now. @param {string} id @returns {Row|undefined} undefined if it is deleted or not known here */
  one(id) {
    const base = this.#state.records.get(id);
    const changes = this.#unconfirmed.get(id);
    if (!changes) {
      if (!base) return undefined;
      const { fields, at, by, author, revision } = base;
      return { id, fields, at, by, author, revision, unsent: false };
    }
    const unsent = inOrder(changes);
    if (!base && !unsent.some((one) => one.begins)) return undefined;
    let fields = { ...base?.fields };
    for (const { change } of unsent) fields = { ...fields, ...change.fields };
    const last = unsent[unsent.length - 1].change;
    if (last.deleted) return undefined;
    return { id, fields, at: last.at, by: this.user, author: base?.author ?? this.user, revision: base?.revision ?? null, unsent: true };
  }

  /** @param {string} session */
  #isThere(session) {
    const changes = this.#unconfirmed.get(session);
    if (!changes) return this.#state.records.has(session);
    const unsent = inOrder(changes);
    if (!this.#state.records.has(session) && !unsent.some((one) => one.begins)) return false;
    return !unsent[unsent.length - 1].change.deleted;
  }
}

/** @param {Map<number, UnsentChange>} changes @returns {UnsentChange[]} */
function inOrder(changes) {
  return [...changes.values()].sort((a, b) => a.number - b.number);
}

/**
 * The value of a key, which is made when it is asked for first.
 *
 * @template K, V
 * @param {Map<K, V>} map
 * @param {K} key
 * @param {() => V} make
 * @returns {V}
 */
function getOrMake(map, key, make) {
  let value = map.get(key);
  if (value === undefined) map.set(key, (value = make()));
  return value;
}
