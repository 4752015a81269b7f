// What screens use: the phone's records, and all that can be done to them. Nothing here waits for the network.
import { batch, computed, signal } from "../vendor/signals-core.js";
import { accountsOfPhone, currentAccount, databaseOf, endToken, setCurrentAccount, signIn, takeCode } from "./account.js";
import { startSync } from "./account_sync.js";
import { Answers } from "./answers.js";
import { Log } from "./log.js";
import { Memory } from "./memory.js";
import { addPhoto } from "./photos.js";
import { send } from "./requests.js";
import { FIRST_SCOPE, shownFirst, withLot } from "./scope.js";
import { registerShell, takeUpdate, updateWaits } from "./shell.js";
import { refusedIn, unsentFile } from "./unsent.js";

/** @typedef {import("./account.js").Account} Account */
/** @typedef {import("./events.js").RecordType} RecordType */
/** @typedef {import("./events.js").Row} Row */
/** @typedef {import("./sync_loop.js").Link} Link */
/** @typedef {import("./sync_loop.js").SyncLoop} SyncLoop */
/** @typedef {import("./writing.js").Write} Write */
/** @template T @typedef {import("../vendor/signals-core.js").Signal<T>} Signal */

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

export class Store extends Memory {
  /** @type {Signal<?Account>} */
  account = signal(null);
  /** The sign-in code of the address, until somebody uses or declines it: whoever made the link may be a stranger. */
  offeredCode = signal("");
  /** @type {Signal<?SyncLoop>} */
  #loop = signal(null);
  /** @type {?Answers} */
  #answers = null;
  #asked = false;
  /** Tells other tabs that somebody signed in or out. */
  #tabs = new BroadcastChannel("leafspan accounts");
  /** Ends when what another tab did has been followed. @type {Promise<void>} */
  #followed = Promise.resolve();

  flights = this.fields("flight");
  shops = this.fields("shop");

  #refused = computed(() => refusedIn(this.state));

  /** What the server refused, record by record. @type {import("../vendor/signals-core.js").ReadonlySignal<import("./unsent.js").ShownProblem[]>} */
  problems = computed(() => this.#refused.value.map(({ shown }) => shown));

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
    this.#tabs.onmessage = () => {
      this.#followed = this.#followed.catch(() => {}).then(() => this.#followOtherTab());
    };
    this.offeredCode.value = code ?? "";
    if (code || this.#token()) return;
    this.signIn({ team: account?.team }).catch(() => {}); // without an account screens show how to sign in
  }

  /** Have infusions and notes of all sessions of a lot on this phone, from the next sync on. @param {string} lot */
  async needLot(lot) {
    const scope = this.log.state.meta.get("scope");
    if (!lot || !scope || scope.lots.includes(lot)) return;
    await this.log.append((state) => [{ event: "scoped", scope: withLot(state.meta.get("scope") ?? FIRST_SCOPE, lot) }]);
    this.sync();
  }

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
    await this.readBefore(sent);
    if (this.account.peek()?.team !== account.team) throw new DOMException("another team was chosen meanwhile", "InvalidStateError");
    await this.store(sent);
    this.#loop.peek()?.askAfterWrite();
    if (!this.#asked) navigator.storage?.persist?.();
    this.#asked = true;
  }

  /** @param {{session?: ?string, lot?: ?string, infusion?: ?string, kind: string, blob: Blob}} photo @returns {Promise<string>} its id */
  async addPhoto(photo) {
    const id = await addPhoto(this.log, photo, this.now());
    this.#loop.peek()?.askAfterWrite();
    return id;
  }

  /**
   * Take a photo away again, between two syncs.
   *
   * @param {string} id
   * @throws {import("./requests.js").UnreachableError} the server has it, and there is no network
   */
  async removePhoto(id) {
    const { log } = this;
    await navigator.locks.request(`${databaseOf(/** @type {Account} */ (this.account.peek()))} sync`, async () => {
      if (!log.state.photos.has(id)) await send(this.#token(), "DELETE", `/api/v1/photos/${id}`, {});
      await log.append(() => [{ event: "photo_done", id, problems: null }]);
      await log.dropBytes(id);
    });
    this.sync();
  }

  /** The picture of a photo, from this phone or from the server; null without either. @param {string} id @returns {Promise<?Blob>} */
  async picture(id) {
    const own = await this.log.bytes(id);
    if (own) return own;
    const response = await send(this.#token(), "GET", `/api/v1/photos/${id}/thumbnail`, { headers: { Accept: "image/jpeg, application/json" } }).catch(() => null);
    return response?.ok ? response.blob() : null;
  }

  /** Take problems off the list. @param {import("./unsent.js").ShownProblem[]} seen of `problems` */
  async dismiss(seen) {
    const events = this.#refused.peek().filter(({ shown }) => seen.includes(shown)).flatMap(({ events }) => events);
    await this.log.append(() => events);
    for (const { event, id } of events) if (event === "photo_done") await this.log.dropBytes(id);
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
    this.#tabs.postMessage(null);
    this.offeredCode.value = "";
  }

  /**
   * Remove what the server has from this phone, of every team that was used on it. What was not sent stays, and is sent
   * when the same member signs in again.
   */
  async signOut() {
    this.#loop.peek()?.stop();
    await this.log.close(); // or an answer on its way would be stored after all
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
    return unsentFile(this.log.state);
  }

  /** Another tab has signed in or out. One that shows another team goes on with it. */
  async #followOtherTab() {
    const account = await currentAccount();
    if (!account || !this.account.peek()) await this.#use(account);
    else this.sync(); // its token may be a new one
  }

  /** @param {?Account} account @param {string} [token] */
  async #use(account, token) {
    this.#loop.peek()?.stop();
    const [former, present] = [this.log, this.account.peek()];
    const isSame = account && present && databaseOf(account) === databaseOf(present);
    // one memory for one account: two would wait for each other while somebody taps
    const log = isSame ? former : new Log(account ? databaseOf(account) : "leafspan nobody", (parts) => shownFirst(parts, account));
    if (!isSame) await log.open(crypto.randomUUID());
    if (token) await log.append(() => [{ event: "signed", token }]);
    if (!isSame) former.close();
    const answers = new Answers(log, () => this.#token(), () => this.#language());
    this.#answers = answers;
    batch(() => {
      this.account.value = account;
      this.use(log, account && account.user);
    });
    this.#loop.value = account && startSync({
      name: databaseOf(account),
      log,
      token: () => this.#token(),
      language: () => this.#language(),
      mustSignInBy: account.mustSignInBy,
      onSynced: () => answers.refresh(),
    });
  }

  /** @param {string} path */
  #answer(path) {
    return /** @type {Answers} */ (this.#answers).at(path);
  }

  #token() {
    return this.log.state.meta.get("token");
  }

  #language() {
    return this.log.local.get("language") ?? this.account.peek()?.language ?? "en";
  }
}
