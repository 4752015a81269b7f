// What screens use: the phone's records, and all that can be done to them. Nothing here waits for the network.
import { batch, computed, signal } from "../vendor/signals-core.js";
import { accountsOfPhone, currentAccount, databaseOf, endToken, setCurrentAccount, signIn, takeCode } from "./account.js";
import { Answers } from "./answers.js";
import { CHILD_TYPES } from "./disk.js";
import { Log } from "./log.js";
import { addPhoto, sendPhotos } from "./photos.js";
import { SignedOutError, lineRequester, requester, send } from "./requests.js";
import { Rows } from "./rows.js";
import { FIRST_SCOPE, isHere, withLot } from "./scope.js";
import { lookForUpdate, registerShell, takeUpdate, updateWaits } from "./shell.js";
import { emptyState } from "./state.js";
import { Sync } from "./sync.js";
import { SyncLoop } from "./sync_loop.js";
import { newId } from "./times.js";
import { unsentFile } from "./unsent_file.js";
import { writtenEvents } from "./writing.js";

/** @typedef {import("./account.js").Account} Account */
/** @typedef {import("./events.js").PartChange} PartChange */
/** @typedef {import("./events.js").RecordType} RecordType */
/** @typedef {import("./events.js").Row} Row */
/** @typedef {import("./events.js").State} State */
/** @typedef {import("./sync_loop.js").Link} Link */
/** @template T @typedef {import("../vendor/signals-core.js").Signal<T>} Signal */
/** @typedef {{type: RecordType, id: string, fields?: Record<string, any>, deleted?: true}} Write */
/** @typedef {{type: string, id: string, field: string, code: string, detail: string, lost?: any[]}} ShownProblem */

const LATEST = 30;
const CLOCK = "clock_offset_ms";

/** @type {?Promise<Store>} */
let opened = null;

/** @returns {Promise<Store>} the one store of this page, with what the phone has; the network is looked for afterwards */
export function openStore() {
  opened ??= (async () => {
    const store = new Store();
    await store.open();
    return store;
  })();
  return opened;
}

export class Store {
  /** @type {Signal<?Account>} */
  account = signal(null);
  /** The sign-in code of the address, until somebody uses or declines it: whoever made the link may be a stranger. */
  offeredCode = signal("");
  /** @type {Map<string, Signal<any>>} */
  #local = new Map();
  #rows = new Rows(emptyState());
  /** @type {Signal<State>} */
  #state = signal(emptyState());
  /** Rises with each change of the state. */
  #turn = signal(0);
  #isWhole = signal(false);
  /** @type {Signal<?SyncLoop>} */
  #loop = signal(null);
  #log = new Log("leafspan nobody");
  /** @type {?Answers} */
  #answers = null;
  #asked = false;
  /** Tells other tabs that somebody signed out. */
  #tabs = new BroadcastChannel("leafspan accounts");

  flights = computed(() => fieldsById(this.#rows.of("flight").value));
  members = computed(() => fieldsById(this.#rows.of("member").value));
  shops = computed(() => fieldsById(this.#rows.of("shop").value));

  /** Photos by id, those that the server does not have yet with `state: "waiting"` and `unsent: true`. */
  photos = computed(() => {
    this.#turn.value;
    const waiting = [...this.#state.value.photos.values()].filter(({ problems }) => problems.length === 0);
    return new Map([
      ...[...fieldsById(this.#rows.of("photo").value)].filter(([, { session, lot }]) =>
        session ? this.#rows.of("session").value.has(session) : this.#rows.of("lot").value.has(lot),
      ),
      ...waiting.map(({ announced }) => /** @type {[string, any]} */ ([announced.id, { ...announced, state: "waiting", unsent: true }])),
    ]);
  });

  /** Changes and photos that the server has not acknowledged. @type {import("../vendor/signals-core.js").ReadonlySignal<number>} */
  unsent = computed(() => {
    this.#turn.value;
    const { outbox, photos } = this.#state.value;
    return outbox.size + [...photos.values()].filter(({ problems }) => problems.length === 0).length;
  });

  #shownProblems = computed(() => {
    this.#turn.value;
    return problemsOf(this.#state.value);
  });

  /** Refused or lost values. @type {import("../vendor/signals-core.js").ReadonlySignal<ShownProblem[]>} */
  problems = computed(() => this.#shownProblems.value.map(({ shown }) => shown));

  /** @type {import("../vendor/signals-core.js").ReadonlySignal<Link>} */
  link = computed(() => this.#loop.value?.link.value ?? { online: navigator.onLine, sending: false, pulled: 0, lastSync: null, trouble: null });

  /** Whether a new version of the app waits for `takeUpdate`. */
  updateWaits = updateWaits;
  takeUpdate = takeUpdate;

  async open() {
    const code = takeCode();
    registerShell();
    const account = await currentAccount();
    await this.#use(account);
    this.#tabs.onmessage = async () => {
      if (this.account.peek() && !(await currentAccount())) await this.#use(null);
    };
    this.offeredCode.value = code ?? "";
    if (code || this.#token()) return;
    this.signIn({ team: account?.team }).catch(() => {}); // without an account screens show how to sign in
  }

  /**
   * Rows of a record type by id; deleted ones are left out.
   *
   * @param {Exclude<RecordType, "infusion"|"note">} type
   * @returns {Signal<Map<string, Row>>}
   */
  rows(type) {
    return this.#rows.of(type);
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

  /** Whether the phone has infusions and notes of a session; `needLot` brings those of older ones. @param {string} session */
  isHere(session) {
    this.#turn.value;
    return isHere(this.#state.value, session);
  }

  /** Have infusions and notes of all sessions of a lot on this phone, from the next sync on. @param {string} lot */
  async needLot(lot) {
    const scope = this.#log.state.meta.get("scope");
    if (!lot || !scope || scope.lots.includes(lot)) return;
    await this.#log.append((state) => [{ event: "scoped", scope: withLot(state.meta.get("scope") ?? FIRST_SCOPE, lot) }]);
    this.sync();
  }

  /** Sessions of which anything is on this phone alone. @type {import("../vendor/signals-core.js").ReadonlySignal<Set<string>>} */
  unsentSessions = computed(() => {
    this.#turn.value;
    return this.#rows.unsentSessions();
  });

  /**
   * Write changes, all or none. Resolves once they are safe on the phone's disk.
   *
   * @param {Write[]} writes
   * @throws {DOMException} QuotaExceededError when the disk is full; then nothing is written
   */
  async write(writes) {
    const account = this.account.peek();
    if (!account) throw new Error("nobody is signed in");
    const sent = JSON.parse(JSON.stringify(writes));
    await this.#readBefore(sent);
    if (this.account.peek()?.team !== account.team) throw new DOMException("another team was chosen meanwhile", "InvalidStateError");
    await this.#log.append((state) => writtenEvents(state, this.#rows, sent, this.now().getTime()));
    this.#loop.peek()?.askAfterWrite();
    if (!this.#asked) navigator.storage?.persist?.();
    this.#asked = true;
  }

  /** @param {{session?: ?string, lot?: ?string, infusion?: ?string, kind: string, blob: Blob}} photo @returns {Promise<string>} its id */
  async addPhoto(photo) {
    const id = await addPhoto(this.#log, photo, this.now());
    this.#loop.peek()?.askAfterWrite();
    return id;
  }

  /** The picture of a photo, from this phone or from the server; null without either. @param {string} id @returns {Promise<?Blob>} */
  async picture(id) {
    const own = await this.#log.bytes(id);
    if (own) return own;
    const response = await send(this.#token(), "GET", `/api/v1/photos/${id}/thumbnail`, { headers: { Accept: "image/jpeg, application/json" } }).catch(() => null);
    return response?.ok ? response.blob() : null;
  }

  /** Take a problem off the list. @param {number} index in `problems` */
  async dismiss(index) {
    const { event } = this.#shownProblems.peek()[index];
    await this.#log.append(() => [event]);
  }

  /** The time of the server, as far as this phone knows it. */
  now() {
    return new Date(Date.now() + (this.#log.local.get(CLOCK) ?? 0));
  }

  newId() {
    return newId(this.now().getTime());
  }

  sync() {
    this.#loop.peek()?.ask();
  }

  /** @param {string} lot @returns {Signal<?import("./answers.js").Seen>} how it develops, as last seen */
  development(lot) {
    return this.#answer(`/api/v1/lots/${lot}/development`);
  }

  /** @param {string} lot @param {Record<string, any>} pot as the brew guide's query has it @returns {Signal<?import("./answers.js").Seen>} */
  guide(lot, pot) {
    const known = Object.entries(pot).filter(([, value]) => value !== undefined && value !== null);
    return this.#answer(`/api/v1/lots/${lot}/brew-guide?${new URLSearchParams(known.map(([name, value]) => [name, String(value)]).sort())}`);
  }

  /** Store a thing of this phone alone. @param {string} key @param {any} value */
  async setLocal(key, value) {
    await this.#log.setLocal(key, value);
  }

  /** @param {string} key @returns {Signal<any>} */
  local(key) {
    let found = this.#local.get(key);
    if (!found) this.#local.set(key, (found = signal(this.#log.local.get(key))));
    return found;
  }

  /** The teams of this login, once the server was asked. @returns {{id: string, name: string, role: string}[]} */
  teams() {
    return this.account.value ? (this.#answer("/api/v1/me").value?.answer.teams ?? []) : [];
  }

  /**
   * Change to another team of this login. What is not sent of this one waits until it is chosen again.
   *
   * @param {string} team
   */
  async useTeam(team) {
    const { user } = /** @type {Account} */ (this.account.peek());
    const known = (await accountsOfPhone()).find((one) => one.team === team && one.user === user);
    if (!known) return this.signIn({ team });
    await setCurrentAccount(known);
    return this.#use(known);
  }

  /** Sign in by a code, or by the session of this browser. @param {{code?: ?string, team?: string}} [how] */
  async signIn(how = {}) {
    const { account, token } = await signIn(how);
    await setCurrentAccount(account);
    await this.#use(account, token);
    this.offeredCode.value = "";
  }

  /**
   * Remove what the server has from this phone, of every team that was used on it. What was not sent stays, and is sent
   * when the same member signs in again.
   */
  async signOut() {
    this.#loop.peek()?.stop();
    await this.#log.close(); // or an answer on its way would be stored after all
    const tokens = [];
    for (const account of await accountsOfPhone()) {
      const log = await new Log(databaseOf(account)).open(crypto.randomUUID());
      tokens.push(log.state.meta.get("token"));
      await log.clearPulled();
      await log.clearLocal();
      await log.close();
    }
    await setCurrentAccount(null);
    this.#tabs.postMessage(null);
    await this.#use(null);
    await Promise.all(tokens.filter(Boolean).map(endToken));
  }

  /** @returns {Promise<Blob>} what the server does not have, without the photos */
  async unsentFile() {
    return unsentFile(this.#log.state);
  }

  /** What is stored of an infusion or note must be in memory before it is changed. @param {Write[]} writes */
  async #readBefore(writes) {
    const isMissing = (/** @type {Write} */ { type, id, fields }) => CHILD_TYPES.includes(type) && !this.#rows.isKnown(id) && !(fields?.session && this.#isInMemory(fields.session));
    if (writes.some(isMissing)) await this.#log.whole();
  }

  /** @param {string} session */
  #isInMemory(session) {
    return this.#log.has(session) || !this.#log.state.records.has(session);
  }

  /** @param {?Account} account @param {string} [token] */
  async #use(account, token) {
    this.#loop.peek()?.stop();
    const [former, present] = [this.#log, this.account.peek()];
    const isSame = account && present && databaseOf(account) === databaseOf(present);
    // one memory for one account: two would wait for each other while somebody taps
    const log = isSame ? former : new Log(account ? databaseOf(account) : "leafspan nobody", (parts) => shownFirst(parts, account));
    if (!isSame) await log.open(crypto.randomUUID());
    if (token) await log.append(() => [{ event: "signed", token }]);
    this.#log = log;
    if (!isSame) former.close();
    log.listener = {
      before: (changes) => this.#rows.touchedBy(changes),
      after: (changes, touched) => this.#follow(log, changes, touched),
      local: (key, value) => {
        this.local(key).value = value;
      },
      whole: () => {
        if (log === this.#log) this.#isWhole.value = true;
      },
    };
    this.#answers = new Answers(log, () => this.#token(), () => this.#language());
    batch(() => {
      this.#isWhole.value = log.isWhole;
      this.account.value = account;
      this.#rows.user = account && account.user;
      for (const [key, found] of this.#local) found.value = log.local.get(key);
      this.#follow(log, null, null);
    });
    if (account) this.#startSync(log, databaseOf(account));
    else this.#loop.value = null;
  }

  /** @param {Log} log @param {?PartChange[]} changes @param {?import("./rows.js").Touched} touched */
  #follow(log, changes, touched) {
    if (log !== this.#log) return;
    batch(() => {
      this.#state.value = log.state;
      if (changes && touched) this.#rows.update(changes, touched);
      else this.#rows.rebuild(log.state);
      this.#turn.value += 1;
    });
  }

  /** @param {Log} log @param {string} name */
  #startSync(log, name) {
    const options = { language: () => this.#language() };
    const request = requester(() => this.#token(), options);
    const sync = new Sync({
      request,
      stream: lineRequester(() => this.#token(), options),
      log,
      onClock: (now, sent_ms, came_ms) => this.#learnClock(now, sent_ms, came_ms),
      now_ms: () => this.now().getTime(),
      onPulled: (pulled) => loop.notePulled(pulled),
    });
    const loop = new SyncLoop({
      name,
      token: () => this.#token(),
      once: async () => {
        await log.whole(); // what is pulled may concern every record; until then taps are stored without waiting
        if (!log.state.meta.get("scope")) await log.append(() => [{ event: "scoped", scope: FIRST_SCOPE }]);
        try {
          await sync.run();
          if (await sendPhotos(log, request)) await sync.run();
        } catch (error) {
          if (error instanceof SignedOutError) await this.#tokenEnded(log);
          throw error;
        }
        this.#answers?.refresh();
        lookForUpdate();
      },
    });
    this.#loop.value = loop;
    loop.start();
  }

  /**
   * A phone that was signed out from the list of devices may be lost: what the server has goes from it. A token that
   * came to its end by age is no reason to do so.
   *
   * @param {Log} log
   */
  async #tokenEnded(log) {
    const { mustSignInBy } = this.account.peek() ?? {};
    if (mustSignInBy && this.now() >= new Date(mustSignInBy)) return;
    await log.clearPulled();
  }

  /** The clock of a phone may be wrong by minutes. @param {string} now @param {number} sent_ms @param {number} came_ms */
  #learnClock(now, sent_ms, came_ms) {
    const offset_ms = Date.parse(now) - (sent_ms + came_ms) / 2;
    const known_ms = this.#log.local.get(CLOCK) ?? 0;
    if (Math.abs(offset_ms - known_ms) > 1000 + (came_ms - sent_ms) / 2) this.#log.setLocal(CLOCK, Math.round(offset_ms));
  }

  /** @param {string} path */
  #answer(path) {
    return /** @type {Answers} */ (this.#answers).at(path);
  }

  #token() {
    return this.#log.state.meta.get("token");
  }

  #language() {
    return this.#log.local.get("language") ?? this.account.peek()?.language ?? "en";
  }
}

/**
 * The sessions whose infusions and notes the first screen shows: those on the table, that of the address, the user's latest.
 *
 * @param {Map<string, Map<any, any>>} parts
 * @param {?Account} account
 * @returns {string[]}
 */
function shownFirst(parts, account) {
  const records = parts.get("records") ?? new Map();
  const mine = [...records.values()].filter(({ type, author }) => type === "session" && (!author || author === account?.user));
  const latest = mine.sort((a, b) => b.fields.started_at.localeCompare(a.fields.started_at)).slice(0, LATEST);
  const wanted = new Set([...(parts.get("local")?.get("table") ?? []), ...location.hash.split("/"), ...latest.map(({ id }) => id)]);
  return [...wanted].filter((id) => records.get(id)?.type === "session");
}

/** @param {Map<string, Row>} rows @returns {Map<string, any>} */
function fieldsById(rows) {
  return new Map([...rows.values()].map(({ id, fields }) => [id, { id, ...fields }]));
}

/** @param {State} state @returns {{shown: ShownProblem, event: import("./events.js").Event}[]} with the event that dismisses each */
function problemsOf(state) {
  const changes = [...state.refused.values()].map(({ number, change, problems }) => ({
    shown: shownProblem(change.type, change.id, problems),
    event: { event: "put_away", number },
  }));
  const photos = [...state.photos.values()].filter(({ problems }) => problems.length).map(({ announced, problems }) => ({
    shown: shownProblem("photo", announced.id, problems),
    event: { event: "photo_done", id: announced.id, problems: null },
  }));
  return [...changes, ...photos];
}

/** @param {string} type @param {string} id @param {import("./events.js").Problem[]} problems @returns {ShownProblem} */
function shownProblem(type, id, problems) {
  const [{ field, code }] = problems;
  return { type, id, field, code, detail: problems.map((one) => (one.field ? `${one.field}: ${one.detail}` : one.detail)).join("; ") };
}
