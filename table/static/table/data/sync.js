// Sends unsent changes and pulls new ones, as table/phone/phone.py does.
import { RefusedError, SignedOutError, UnreachableError } from "./requests.js";
import { scopeHere } from "./scope.js";

/** @typedef {import("./events.js").UnsentChange} UnsentChange */

export const SCHEMA = 1;
const MAX_CHANGES = 1000;
const MAX_BYTES = 2 * 1024 * 1024;
const ENVELOPE_BYTES = 1024;
const RETRIED = new Set(["unknown_parent", "unknown_record"]);
const encoder = new TextEncoder();

/**
 * @typedef {object} SyncOptions
 * @property {import("./requests.js").Request} request
 * @property {import("./requests.js").RequestLines} [stream] without it, a long pull is a request for each page
 * @property {{state: import("./events.js").State, append: (make: any, options?: any) => Promise<any>}} log
 * @property {number} [pageSize] records to pull at a time
 * @property {number} [maxChanges] changes to send at a time
 * @property {boolean} [echo] whether what stands as it was sent is to come back
 * @property {(changes: UnsentChange[]) => UnsentChange[]} [order] in which unsent changes are sent
 * @property {(now: string, sent_ms: number, came_ms: number) => void} [onClock] the server's time in an answer, and
 *   this phone's when the request went and the answer came
 * @property {() => number} [now_ms] the server's time as far as it is known
 * @property {(pulled: number) => void} [onPulled] how many records have come so far
 */

/** One phone's sync. */
export class Sync {
  #request;
  #stream;
  #log;
  #pageSize;
  #maxChanges;
  #maxBytes = MAX_BYTES;
  #echo;
  #order;
  #onClock;
  #now_ms;
  #onPulled;

  /** @param {SyncOptions} options */
  constructor({ request, stream, log, pageSize = 500, maxChanges = MAX_CHANGES, echo = false, order = (changes) => changes, onClock = () => {}, now_ms = Date.now, onPulled = () => {} }) {
    this.#request = request;
    this.#stream = stream;
    this.#log = log;
    this.#pageSize = pageSize;
    this.#maxChanges = Math.min(maxChanges, MAX_CHANGES);
    this.#echo = echo;
    this.#order = order;
    this.#onClock = onClock;
    this.#now_ms = now_ms;
    this.#onPulled = onPulled;
  }

  /**
   * Send and pull until neither is left.
   *
   * @param {{pull?: boolean}} [options] `pull: false` only sends
   * @returns {Promise<{pulled: number, verdicts: string[]}>}
   * @throws {SignedOutError|RefusedError|import("./requests.js").UnreachableError} what was
   *   answered before is stored; the next sync does the rest
   */
  async run({ pull = true } = {}) {
    const report = { pulled: 0, verdicts: /** @type {string[]} */ ([]) };
    let more = pull;
    /** @type {Set<number>} */
    let tried = new Set();
    let anyAccepted = false;
    let isLong = this.#isLong();
    for (;;) {
      const chunk = this.#nextChunk(tried);
      if (chunk.length === 0 && anyAccepted && this.#log.state.outbox.size > 0) {
        tried = new Set(); // a parent that was missing may be there now
        anyAccepted = false;
        continue;
      }
      if (chunk.length === 0 && !more) return report;
      if (chunk.length === 0 && isLong && this.#stream) {
        more = isLong = await this.#readStream(report);
        continue;
      }
      const answer = await this.#exchange(chunk, pull);
      if (!answer) {
        more = isLong = pull;
        continue;
      }
      for (const { number } of chunk) tried.add(number);
      const verdicts = chunk.map((unsent, i) => this.#verdict(unsent, answer.verdicts[i]));
      await this.#store(verdicts, pull ? answer : null, answer.asked);
      report.verdicts.push(...answer.verdicts.map((/** @type {any} */ one) => one.verdict));
      anyAccepted ||= answer.verdicts.some((/** @type {any} */ one) => ["applied", "merged"].includes(one.verdict));
      if (pull) {
        more = isLong = answer.more;
        this.#count(report, answer.changes.length);
      }
    }
  }

  /** Whether the phone has not been brought up to date once. */
  #isLong() {
    const { meta } = this.#log.state;
    return meta.get("cursor") === 0 || meta.get("in_full_pass") || (meta.get("scope") && !meta.get("here"));
  }

  /** @param {{pulled: number}} report @param {number} n */
  #count(report, n) {
    report.pulled += n;
    this.#onPulled(report.pulled);
  }

  /** Unsent changes that fit into one request. @param {Set<number>} tried @returns {UnsentChange[]} */
  #nextChunk(tried) {
    const waiting = [...this.#log.state.outbox.values()].filter(({ number }) => !tried.has(number));
    waiting.sort((a, b) => a.number - b.number);
    const chunk = [];
    let room = this.#maxBytes - ENVELOPE_BYTES;
    for (const unsent of this.#order(waiting)) {
      room -= bytesOf(unsent) + 1;
      if (chunk.length && (room < 0 || chunk.length >= this.#maxChanges)) break;
      chunk.push(unsent);
    }
    return chunk;
  }

  /** What every request says: where the phone stands. */
  #standing() {
    const { meta } = this.#log.state;
    const [scope, scope_token] = [meta.get("scope"), meta.get("scope_token")];
    return {
      schema: SCHEMA,
      device: meta.get("device"),
      cursor: meta.get("cursor"),
      ...(scope ? { scope } : {}),
      ...(scope_token ? { scope_token } : {}),
    };
  }

  /**
   * Pull page after page in one answer; each complete line is stored as it comes.
   *
   * @param {{pulled: number}} report
   * @returns {Promise<boolean>} whether there is more
   */
  async #readStream(report) {
    const stream = /** @type {import("./requests.js").RequestLines} */ (this.#stream);
    const body = this.#standing();
    const [sent_ms, token] = [Date.now(), this.#token()];
    /** @type {any} */
    let last = null;
    try {
      await stream("/api/v1/sync/stream", body, async (page) => {
        if (!Array.isArray(page.changes)) throw new RefusedError("the server's answer to a sync is not one", { status: 200 });
        if (!last) this.#learnClock(page, sent_ms);
        last = page;
        await this.#store([], page, { scope: body.scope, token });
        this.#count(report, page.changes.length);
      });
      if (!last) throw new UnreachableError("the answer broke off in its first line");
    } catch (error) {
      if (error instanceof RefusedError && error.status === 404) this.#stream = undefined; // an older server
      else if (await this.#startsAgain(error, body.cursor)) return true;
      else throw error;
    }
    return last?.more ?? true;
  }

  /** @param {{now?: string}} answer @param {number} sent_ms */
  #learnClock({ now }, sent_ms) {
    if (now) this.#onClock(now, sent_ms, Date.now());
  }

  /** Forget the token that has ended, or begin again from 0. @param {any} error @param {number} cursor @returns {Promise<boolean>} whether the next request can succeed */
  async #startsAgain(error, cursor) {
    if (error instanceof SignedOutError) await this.#log.append(() => [{ event: "signed", token: "" }]);
    if (!(error instanceof RefusedError && error.startsAgain && cursor)) return false;
    await this.#log.append(() => [{ event: "start_again" }]);
    return true;
  }

  /** One round trip; null when nothing was applied and the next request has to be another. @param {UnsentChange[]} chunk @param {boolean} pull */
  async #exchange(chunk, pull) {
    const body = { ...this.#standing(), limit: pull ? this.#pageSize : 1, changes: chunk.map(({ change }) => change), ...(pull && !this.#echo && { echo: false }) };
    const [sent_ms, token] = [Date.now(), this.#token()];
    let answer;
    try {
      answer = await this.#request("POST", "/api/v1/sync", { body });
    } catch (error) {
      if (await this.#startsAgain(error, body.cursor)) return null;
      if (error instanceof RefusedError && error.status === 413 && chunk.length) {
        await this.#halve(chunk);
        return null;
      }
      throw error;
    }
    if (!Array.isArray(answer.changes) || answer.verdicts?.length !== chunk.length)
      throw new RefusedError("the server's answer to a sync is not one", { status: 200 });
    this.#learnClock(answer, sent_ms);
    answer.verdicts.forEach((/** @type {any} */ { type, id, revision, record }, /** @type {number} */ i) => {
      // left out of the changes, since it stands as it was sent
      if (record) answer.changes.push({ type, id, revision, ...record, fields: { ...chunk[i].change.fields, ...record.fields } });
    });
    return { ...answer, asked: { scope: body.scope, token } };
  }

  /** Halve the size of requests; give up on a single change that is too large. @param {UnsentChange[]} chunk */
  async #halve(chunk) {
    if (chunk.length > 1) {
      const size = chunk.reduce((sum, unsent) => sum + bytesOf(unsent), 0);
      this.#maxChanges = Math.max(1, Math.floor(chunk.length / 2));
      this.#maxBytes = Math.max(2 * ENVELOPE_BYTES, Math.floor(size / 2) + ENVELOPE_BYTES);
      return;
    }
    const problems = [{ field: "", code: "too_large", detail: "is more than one request may carry" }];
    await this.#store([[chunk[0].number, "refused", null, problems]], null);
  }

  /**
   * What becomes of a change: edits wait as long as the change that creates their record waits.
   *
   * @param {UnsentChange} unsent
   * @param {any} verdict
   */
  #verdict(unsent, verdict) {
    const codes = verdict.problems.map((/** @type {any} */ problem) => problem.code);
    const isAlone = codes.length > 0 && codes.every((/** @type {string} */ code) => code === "required");
    const waits = codes.some((/** @type {string} */ code) => RETRIED.has(code)) || (isAlone && this.#isCreatedLater(unsent));
    const name = verdict.verdict === "refused" && waits ? "waits" : verdict.verdict;
    return [unsent.number, name, verdict.revision, verdict.problems];
  }

  /** Whether this edits a record whose creation is still in the outbox. @param {UnsentChange} unsent */
  #isCreatedLater(unsent) {
    if (unsent.begins) return false;
    return [...this.#log.state.outbox.values()].some((other) => other.begins && other.change.id === unsent.change.id);
  }

  #token() {
    return this.#log.state.meta.get("token");
  }

  /**
   * Verdicts and page in one event, so that neither is stored without the other. A page that comes after signing out,
   * in whichever tab, is not stored: what the server has was removed from this phone.
   *
   * @param {any[]} verdicts
   * @param {any} page
   * @param {{scope?: ?import("./events.js").Scope, token?: string}} [asked] what was asked for, and with which token
   */
  async #store(verdicts, page, { scope, token } = {}) {
    const kept = page && { changes: page.changes, cursor: page.cursor, more: page.more, scope_token: page.scope_token };
    if (kept && !kept.more) kept.here = scope ? scopeHere(scope, this.#now_ms()) : null;
    const make = (/** @type {import("./events.js").State} */ { meta }) => [
      { event: "answered", verdicts, page: meta.get("token") === token ? kept : null },
    ];
    await this.#log.append(make, { durability: "relaxed" });
  }
}

/** @param {UnsentChange} unsent */
function bytesOf({ change }) {
  return encoder.encode(JSON.stringify(change)).length;
}
