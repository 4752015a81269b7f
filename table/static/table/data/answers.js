// Answers of the server that screens show without a network as they were last seen.
import { signal } from "../vendor/signals-core.js";
import { RefusedError, read, send } from "./requests.js";

/** @typedef {{answer: any, seenAt: string, tag?: ?string}} Seen */

const FRESH_MS = 20_000;

/** Answers by address. */
export class Answers {
  /** @type {Map<string, {shown: import("../vendor/signals-core.js").Signal<?Seen>, asked_ms: number}>} */
  #known = new Map();
  #log;
  #token;
  #language;

  /**
   * @param {import("./log.js").Log} log
   * @param {() => string} token
   * @param {() => string} language
   */
  constructor(log, token, language) {
    this.#log = log;
    this.#token = token;
    this.#language = language;
  }

  /**
   * The answer at an address: the last one seen, and a newer one as soon as it comes.
   *
   * @param {string} path
   * @returns {import("../vendor/signals-core.js").Signal<?Seen>}
   */
  at(path) {
    let known = this.#known.get(path);
    if (!known) {
      known = { shown: signal(/** @type {?Seen} */ (null)), asked_ms: 0 };
      this.#known.set(path, known);
      this.#read(path, known);
    } else if (Date.now() - known.asked_ms > FRESH_MS) this.#ask(path, known);
    return known.shown;
  }

  /** Ask again for everything that has been shown, such as after new records came. */
  refresh() {
    for (const [path, known] of this.#known) this.#ask(path, known);
  }

  /** @param {string} path @param {{shown: any, asked_ms: number}} known */
  async #read(path, known) {
    const seen = await this.#log.answer(this.#key(path));
    if (seen && !known.shown.peek()) known.shown.value = seen;
    await this.#ask(path, known);
  }

  /** @param {string} path @param {{shown: any, asked_ms: number}} known */
  async #ask(path, known) {
    known.asked_ms = Date.now();
    if (!navigator.onLine || !this.#token()) return;
    const seen = await this.#fetch(path, known.shown.peek()).catch(() => null);
    if (seen && seen !== known.shown.peek()) known.shown.value = seen;
  }

  /** @param {string} path @param {?Seen|undefined} former @returns {Promise<?Seen>} null when there is none (any more) */
  async #fetch(path, former) {
    const language = this.#language();
    /** @type {Record<string, string>} */
    const headers = former?.tag ? { "If-None-Match": former.tag } : {};
    const response = await send(this.#token(), "GET", path, { headers, language });
    if (response.status === 304 && former) return former;
    try {
      const { body } = await read(response, `GET ${path}`);
      const seen = { answer: body, seenAt: new Date().toISOString(), tag: response.headers.get("ETag") };
      await this.#log.setAnswer(this.#key(path), seen);
      return seen;
    } catch (error) {
      if (error instanceof RefusedError && !error.isPassing) return null;
      throw error;
    }
  }

  /** Sentences of an answer are in one language. @param {string} path */
  #key(path) {
    return `${this.#language()} ${path}`;
  }
}
