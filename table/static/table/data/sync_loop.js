// When the phone syncs: on opening, after a write, when the network or the screen comes back, and on a server event.
import { signal } from "../vendor/signals-core.js";
import { backoff_ms, listen } from "./live.js";
import { RefusedError, SignedOutError, UnreachableError } from "./requests.js";

/**
 * @typedef {object} Link how the phone and the server stand
 * @property {boolean} online whether the last request was answered and the phone has a network
 * @property {boolean} sending
 * @property {number} pulled records that have come in the sync that runs
 * @property {?string} lastSync moment of the last complete sync
 * @property {?string} trouble `signed_out`, `app_too_old`, `server_full`, `server_trouble`, or null
 */

const AFTER_WRITE_MS = 250; // taps that follow each other go together
const LOOK_MS = 60_000;

/** The sync of one account in this tab; of several tabs one syncs at a time. */
export class SyncLoop {
  /** @type {import("../vendor/signals-core.js").Signal<Link>} */
  link = signal({ online: navigator.onLine, sending: false, pulled: 0, lastSync: null, trouble: null });
  #name;
  #token;
  #once;
  #failures = 0;
  /** @type {?ReturnType<typeof setTimeout>} */
  #timer = null;
  #due_ms = 0;
  #running = false;
  #again = false;
  #stopped = new AbortController();
  /** @type {?AbortController} */
  #stream = null;

  /** @param {{name: string, token: () => string, once: () => Promise<void>}} options `once` syncs, in full */
  constructor({ name, token, once }) {
    this.#name = name;
    this.#token = token;
    this.#once = once;
  }

  start() {
    if (!this.#token()) this.#note({ trouble: "signed_out" });
    const { signal: stopped } = this.#stopped;
    addEventListener("online", () => this.ask(), { signal: stopped });
    addEventListener("offline", () => this.#note({ online: false }), { signal: stopped });
    document.addEventListener("visibilitychange", () => this.#visible(), { signal: stopped });
    const look = setInterval(() => document.visibilityState === "visible" && !this.#failures && this.ask(), LOOK_MS);
    stopped.addEventListener("abort", () => clearInterval(look));
    this.#visible();
  }

  stop() {
    this.#stopped.abort();
    this.#stream?.abort();
    if (this.#timer) clearTimeout(this.#timer);
  }

  /** Sync soon; at once unless `wait_ms` says how long. @param {number} [wait_ms] */
  ask(wait_ms = 0) {
    if (this.#stopped.signal.aborted || !this.#token()) return;
    if (this.#running) {
      this.#again = true;
      return;
    }
    const due_ms = Date.now() + wait_ms;
    if (this.#timer && this.#due_ms <= due_ms) return;
    if (this.#timer) clearTimeout(this.#timer);
    this.#due_ms = due_ms;
    this.#timer = setTimeout(() => this.#run(), wait_ms);
  }

  askAfterWrite() {
    if (this.#failures === 0) this.ask(AFTER_WRITE_MS); // else the next attempt is planned already
  }

  async #run() {
    this.#timer = null;
    if (!navigator.onLine) return this.#note({ online: false });
    this.#running = true;
    this.#again = false;
    let wait_ms = 0;
    try {
      await navigator.locks.request(`${this.#name} sync`, async () => {
        if (this.#stopped.signal.aborted) return;
        this.#note({ sending: true, pulled: 0 });
        await this.#once();
      });
      this.#failures = 0;
      this.#note({ online: true, sending: false, lastSync: new Date().toISOString(), trouble: null });
    } catch (error) {
      if (this.#stopped.signal.aborted) return;
      wait_ms = this.#failed(error);
    }
    this.#running = false;
    if (wait_ms) this.ask(wait_ms);
    else if (this.#again) this.ask();
  }

  /** @param {any} error @returns {number} when to try again; 0 for not by itself */
  #failed(error) {
    this.#failures += 1;
    const wait_ms = backoff_ms(this.#failures);
    if (error instanceof UnreachableError) {
      this.#note({ online: false, sending: false });
      return wait_ms;
    }
    if (!(error instanceof RefusedError)) {
      this.#note({ sending: false });
      throw error;
    }
    const again = error.isPassing;
    const trouble = error instanceof SignedOutError ? "signed_out" : troubleOf(error.status);
    this.#note({ online: true, sending: false, trouble });
    return again ? Math.max(wait_ms, error.wait_s * 1000) : 0;
  }

  #visible() {
    if (document.visibilityState !== "visible") {
      this.#stream?.abort();
      this.#stream = null;
      return;
    }
    this.ask();
    if (this.#stream || !this.#token()) return;
    this.#stream = new AbortController();
    listen(this.#token, () => this.ask(), this.#stream.signal);
  }

  /** Show how far a long pull has come. @param {number} pulled records */
  notePulled(pulled) {
    this.#note({ pulled });
  }

  /** @param {Partial<Link>} news */
  #note(news) {
    this.link.value = { ...this.link.peek(), ...news };
  }
}

/** @param {number} status */
function troubleOf(status) {
  if (status === 409) return "app_too_old";
  return status === 507 ? "server_full" : "server_trouble";
}
