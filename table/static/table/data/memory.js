// What the phone has of the account that is in use, as signals that screens follow.
import { batch, computed, signal } from "../vendor/signals-core.js";
import { CHILD_TYPES } from "./disk.js";
import { Log } from "./log.js";
import { Rows } from "./rows.js";
import { isHere } from "./scope.js";
import { emptyState } from "./state.js";
import { newId, serverNow } from "./times.js";
import { writtenEvents } from "./writing.js";

/** @typedef {import("./events.js").PartChange} PartChange */
/** @typedef {import("./events.js").RecordType} RecordType */
/** @typedef {import("./events.js").Row} Row */
/** @typedef {import("./events.js").State} State */
/** @typedef {import("./writing.js").Write} Write */
/** @template T @typedef {import("../vendor/signals-core.js").Signal<T>} Signal */

export class Memory {
  log = new Log("leafspan nobody");
  /** @type {Map<string, Signal<any>>} */
  #local = new Map();
  #rows = new Rows(emptyState());
  /** @type {Signal<State>} */
  #state = signal(emptyState());
  /** Rises with each change of the state. */
  #turn = signal(0);
  #isWhole = signal(false);

  /** Show what another log has, which is open. @param {Log} log @param {?string} user whose log it is */
  use(log, user) {
    this.log = log;
    log.listener = {
      before: (changes) => this.#rows.touchedBy(changes),
      after: (changes, touched) => this.#follow(log, changes, touched),
      local: (key, value) => {
        this.local(key).value = value;
      },
      whole: () => {
        if (log === this.log) this.#isWhole.value = true;
      },
    };
    batch(() => {
      this.#isWhole.value = log.isWhole;
      this.#rows.user = user;
      for (const [key, found] of this.#local) found.value = log.local.get(key);
      this.#follow(log, null, null);
    });
  }

  /** The state; whoever reads it in a signal follows every change of it. */
  get state() {
    this.#turn.value;
    return this.#state.value;
  }

  /** Rows of a record type by id; deleted ones are left out. @param {string} type but infusion and note @returns {Signal<Map<string, Row>>} */
  rows(type) {
    return this.#rows.of(type);
  }

  /** Fields by id of a type that the phone only pulls. @param {"flight"|"shop"} type */
  fields(type) {
    return computed(() => new Map([...this.#rows.of(type).value.values()].map(({ id, fields }) => [id, { id, ...fields }])));
  }

  /** Infusions or notes of a session, as a signal has them. @param {"infusion"|"note"} type @param {string} session @returns {Row[]} */
  rowsOf(type, session) {
    return this.#rows.ofSession(type, session);
  }

  /** A record of any type as it is now; no signal follows it. @param {string} id @returns {Row|undefined} */
  row(id) {
    return this.#rows.one(id);
  }

  /** Every infusion or note that is in memory; no signal follows them. @param {"infusion"|"note"} type @returns {Row[]} */
  allRows(type) {
    return this.#rows.all(type);
  }

  /** Whether infusions and notes of a session are in memory: soon after the app was opened, if the phone has them. @param {string} session */
  isRead(session) {
    return (this.#isWhole.value || this.#isInMemory(session)) && this.isHere(session);
  }

  /** Whether the phone has infusions and notes of a session; those of older ones come when their lot is looked at. @param {string} session */
  isHere(session) {
    return isHere(this.state, session);
  }

  /** Sessions of which anything is on this phone alone. @type {import("../vendor/signals-core.js").ReadonlySignal<Set<string>>} */
  unsentSessions = computed(() => this.state && this.#rows.unsentSessions());

  /** Changes and photos that the server has not acknowledged. @type {import("../vendor/signals-core.js").ReadonlySignal<number>} */
  unsent = computed(() => this.state.outbox.size + waitingPhotos(this.state).length);

  /** Photos by id, those that the server does not have yet with `state: "waiting"` and `unsent: true`. */
  photos = computed(() => {
    const isShown = (/** @type {Row} */ { fields: { session, lot } }) => (session ? this.#rows.of("session").value.has(session) : this.#rows.of("lot").value.has(lot));
    return new Map([
      ...[...this.#rows.of("photo").value.values()].filter(isShown).map((row) => /** @type {[string, any]} */ ([row.id, { id: row.id, ...row.fields }])),
      ...waitingPhotos(this.state).map(({ announced }) => /** @type {[string, any]} */ ([announced.id, { ...announced, state: "waiting", unsent: true }])),
    ]);
  });

  /** A thing of this phone alone. @param {string} key @returns {Signal<any>} */
  local(key) {
    let found = this.#local.get(key);
    if (!found) this.#local.set(key, (found = signal(this.log.local.get(key))));
    return found;
  }

  /** Store a thing of this phone alone. @param {string} key @param {any} value */
  async setLocal(key, value) {
    await this.log.setLocal(key, value);
  }

  /** The time of the server, as far as this phone knows it. */
  now() {
    return serverNow(this.log);
  }

  newId() {
    return newId(this.now().getTime());
  }

  /** Store changes, all or none. @param {Write[]} writes */
  async store(writes) {
    await this.log.append((state) => writtenEvents(state, this.#rows, writes, this.now().getTime()));
  }

  /** What is stored of an infusion or note must be in memory before it is changed. @param {Write[]} writes */
  async readBefore(writes) {
    const isMissing = (/** @type {Write} */ { type, id, fields }) =>
      CHILD_TYPES.includes(type) && !this.#rows.isKnown(id) && !(fields?.session && this.#isInMemory(fields.session));
    if (writes.some(isMissing)) await this.log.whole();
  }

  /** @param {string} session */
  #isInMemory(session) {
    return this.log.has(session) || !this.log.state.records.has(session);
  }

  /** @param {Log} log @param {?PartChange[]} changes @param {?import("./rows.js").Touched} touched */
  #follow(log, changes, touched) {
    if (log !== this.log) return;
    batch(() => {
      this.#state.value = log.state;
      if (changes && touched) this.#rows.update(changes, touched);
      else this.#rows.rebuild(log.state);
      this.#turn.value += 1;
    });
  }
}

/** @param {State} state */
function waitingPhotos({ photos }) {
  return [...photos.values()].filter(({ problems }) => problems.length === 0);
}
