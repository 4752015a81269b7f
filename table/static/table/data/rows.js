// Records as screens show them: what was pulled, with the changes that are not confirmed on top.
import { batch, signal } from "../vendor/signals-core.js";

/** @typedef {import("./events.js").PartChange} PartChange */
/** @typedef {import("./events.js").Row} Row */
/** @typedef {import("./events.js").State} State */
/** @typedef {import("./events.js").UnsentChange} UnsentChange */

const CHILDREN = new Set(["infusion", "note"]);

/** The rows of every record type, brought up to date change by change. */
export class Rows {
  /** @type {Map<string, import("../vendor/signals-core.js").Signal<Map<string, Row>>>} */
  #signals = new Map();
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

  /** @param {string} type @returns {import("../vendor/signals-core.js").Signal<Map<string, Row>>} */
  of(type) {
    let found = this.#signals.get(type);
    if (!found) this.#signals.set(type, (found = signal(new Map())));
    return found;
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
    for (const part of [state.confirmed, state.outbox])
      for (const [number, unsent] of part) this.#changesTo(unsent.change.id).set(number, unsent);
    /** @type {Map<string, Map<string, Row>>} */
    const byType = new Map();
    for (const id of new Set([...state.records.keys(), ...this.#unconfirmed.keys()])) {
      const type = this.#typeOf(id);
      const row = this.#row(id);
      if (!row) continue;
      let rows = byType.get(type);
      if (!rows) byType.set(type, (rows = new Map()));
      rows.set(id, row);
    }
    batch(() => {
      for (const type of new Set([...this.#signals.keys(), ...byType.keys()]))
        this.of(type).value = byType.get(type) ?? new Map();
    });
  }

  /**
   * Follow changes that have been made to the state.
   *
   * @param {PartChange[]} changes
   * @param {Set<string>} touched ids of the records concerned, from `touchedBy`
   */
  update(changes, touched) {
    for (const { part, key, value } of changes) {
      if (part !== "outbox" && part !== "confirmed") continue;
      const number = /** @type {number} */ (key);
      if (value) this.#changesTo(value.change.id).set(number, value);
    }
    for (const id of touched) this.#dropConfirmed(id);
    const sessions = this.of("session").peek();
    const toggled = new Set();
    for (const id of touched) if (this.#typeOf(id) === "session" && sessions.has(id) !== (this.#row(id) !== undefined)) toggled.add(id);
    const ids = toggled.size ? new Set([...touched, ...this.#childrenOf(toggled)]) : touched;
    this.#replace(ids);
  }

  /**
   * Ids of the records that changes concern, before they are made to the state.
   *
   * @param {PartChange[]} changes
   * @returns {Set<string>}
   */
  touchedBy(changes) {
    const touched = new Set();
    for (const { part, key, value } of changes) {
      if (part === "records") touched.add(key);
      else if (part === "outbox" || part === "confirmed") {
        const former = this.#state[part].get(/** @type {number} */ (key));
        if (former) touched.add(former.change.id);
        if (value) touched.add(value.change.id);
      }
    }
    return touched;
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
    for (const [type, rows] of this.#signals) {
      for (const id of ids) {
        if (!rows.peek().has(id)) continue;
        copies.set(type, new Map(rows.peek()));
        break;
      }
    }
    for (const id of ids) {
      const row = this.#row(id);
      for (const copy of copies.values()) if (!row) copy.delete(id);
      if (!row) continue;
      const type = this.#typeOf(id);
      let copy = copies.get(type);
      if (!copy) copies.set(type, (copy = new Map(this.of(type).peek())));
      copy.set(id, row);
    }
    batch(() => {
      for (const [type, copy] of copies) this.of(type).value = copy;
    });
  }

  /** @param {Set<string>} sessions @returns {string[]} */
  #childrenOf(sessions) {
    const found = [];
    for (const [id, record] of this.#state.records)
      if (CHILDREN.has(record.type) && sessions.has(record.fields.session)) found.push(id);
    for (const [id, changes] of this.#unconfirmed)
      if (CHILDREN.has(this.#typeOf(id)) && inOrder(changes).some(({ change }) => sessions.has(change.fields?.session))) found.push(id);
    return found;
  }

  /** @param {string} id @returns {Map<number, UnsentChange>} */
  #changesTo(id) {
    let found = this.#unconfirmed.get(id);
    if (!found) this.#unconfirmed.set(id, (found = new Map()));
    return found;
  }

  /** @param {string} id @returns {string} */
  #typeOf(id) {
    const base = this.#state.records.get(id);
    if (base) return base.type;
    const [first] = this.#unconfirmed.get(id)?.values() ?? [];
    return first ? first.change.type : "";
  }

  /** @param {string} id @returns {Row|undefined} undefined if it is deleted or not known here */
  #row(id) {
    const base = this.#state.records.get(id);
    const changes = this.#unconfirmed.get(id);
    if (!changes) {
      if (!base) return undefined;
      if (CHILDREN.has(base.type) && !this.#isThere(base.fields.session)) return undefined;
      const { fields, at, by, author, revision } = base;
      return { id, fields, at, by, author, revision, unsent: false };
    }
    const unsent = inOrder(changes);
    if (!base && !unsent.some((one) => one.begins)) return undefined;
    let fields = { ...base?.fields };
    for (const { change } of unsent) fields = { ...fields, ...change.fields };
    const last = unsent[unsent.length - 1].change;
    if (last.deleted) return undefined;
    if (CHILDREN.has(base ? base.type : last.type) && !this.#isThere(fields.session)) return undefined;
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
