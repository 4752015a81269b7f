// Sends unsent changes and pulls new ones, as table/phone/phone.py does.
import { RefusedError, SignedOutError } from "./requests.js";

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
 * @property {{state: import("./events.js").State, append: (make: any, options?: any) => Promise<any>}} log
 * @property {number} [pageSize] records to pull at a time
 * @property {number} [maxChanges] changes to send at a time
 * @property {(changes: UnsentChange[]) => UnsentChange[]} [order] in which unsent changes are sent
 * @property {(now: string, sent_ms: number, came_ms: number) => void} [onClock] the server's time in an answer, and
 *   this phone's when the request went and the answer came
 */

/** One phone's sync. */
export class Sync {
  #request;
  #log;
  #pageSize;
  #maxChanges;
  #maxBytes = MAX_BYTES;
  #order;
  #onClock;

  /** @param {SyncOptions} options */
  constructor({ request, log, pageSize = 500, maxChanges = MAX_CHANGES, order = (changes) => changes, onClock = () => {} }) {
    this.#request = request;
    this.#log = log;
    this.#pageSize = pageSize;
    this.#maxChanges = Math.min(maxChanges, MAX_CHANGES);
    this.#order = order;
    this.#onClock = onClock;
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
    for (;;) {
      const chunk = this.#nextChunk(tried);
      if (chunk.length === 0 && anyAccepted && this.#log.state.outbox.size > 0) {
        tried = new Set(); // a parent that was missing may be there now
        anyAccepted = false;
        continue;
      }
      if (chunk.length === 0 && !more) return report;
      const answer = await this.#exchange(chunk, pull);
      if (!answer) {
        more = pull;
        continue;
      }
      for (const { number } of chunk) tried.add(number);
      const verdicts = chunk.map((unsent, i) => this.#verdict(unsent, answer.verdicts[i]));
      await this.#store(verdicts, pull ? answer : null);
      report.verdicts.push(...answer.verdicts.map((/** @type {any} */ one) => one.verdict));
      anyAccepted ||= answer.verdicts.some((/** @type {any} */ one) => ["applied", "merged"].includes(one.verdict));
      if (pull) {
        more = answer.more;
        report.pulled += answer.changes.length;
      }
    }
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

  /** One round trip; null when nothing was applied and the next request has to be another. @param {UnsentChange[]} chunk @param {boolean} pull */
  async #exchange(chunk, pull) {
    const { meta } = this.#log.state;
    const body = {
      schema: SCHEMA,
      device: meta.get("device"),
      cursor: meta.get("cursor"),
      limit: pull ? this.#pageSize : 1,
      changes: chunk.map(({ change }) => change),
    };
    const sent_ms = Date.now();
    let answer;
    try {
      answer = await this.#request("POST", "/api/v1/sync", { body });
    } catch (error) {
      if (!(error instanceof RefusedError)) throw error;
      if (error instanceof SignedOutError) await this.#log.append(() => [{ event: "signed", token: "" }]);
      if (error.startsAgain && body.cursor) {
        await this.#log.append(() => [{ event: "start_again" }]);
        return null;
      }
      if (error.status === 413 && chunk.length) {
        await this.#halve(chunk);
        return null;
      }
      throw error;
    }
    if (!Array.isArray(answer.changes) || answer.verdicts?.length !== chunk.length)
      throw new RefusedError("the server's answer to a sync is not one", { status: 200 });
    if (answer.now) this.#onClock(answer.now, sent_ms, Date.now());
    return answer;
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

  /** Verdicts and page in one event, so that neither is stored without the other. @param {any[]} verdicts @param {any} page */
  async #store(verdicts, page) {
    const kept = page && { changes: page.changes, cursor: page.cursor, more: page.more };
    await this.#log.append(() => [{ event: "answered", verdicts, page: kept }], { durability: "relaxed" });
  }
}

/** @param {UnsentChange} unsent */
function bytesOf({ change }) {
  return encoder.encode(JSON.stringify(change)).length;
}
