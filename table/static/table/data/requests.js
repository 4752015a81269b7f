// One request to the API, and what can go wrong with it.

/** No answer: no network, no server, or a broken connection. The request may or may not have arrived. */
export class UnreachableError extends Error {}

/** The server answered with a problem document, or with something else that is not JSON. */
export class RefusedError extends Error {
  /**
   * @param {string} detail
   * @param {{status: number, problem?: any, wait_s?: number, offset?: ?number}} answer
   */
  constructor(detail, { status, problem = {}, wait_s = 0, offset = null }) {
    super(detail);
    this.status = status;
    this.problem = problem;
    this.wait_s = wait_s;
    this.offset = offset;
  }

  /** Whether the phone has to pull everything anew. */
  get startsAgain() {
    return this.status === 410 && String(this.problem.type ?? "").endsWith("/problems/start-again");
  }

  /** Whether the same request may succeed later. */
  get isPassing() {
    return this.status >= 500 || this.status === 429 || this.status === 408;
  }

  /** @returns {import("./events.js").Problem[]} */
  get problems() {
    const found = this.problem.problems;
    return Array.isArray(found) && found.length ? found : [{ field: "", code: "", detail: this.message }];
  }
}

/** 401: sign in first. Unsent changes stay. */
export class SignedOutError extends RefusedError {}

/**
 * @typedef {object} RequestOptions
 * @property {any} [body] sent as JSON, compressed
 * @property {{offset: number, content: Blob}} [piece] of a file
 * @property {Record<string, string>} [headers]
 *
 * @typedef {(method: string, path: string, options?: RequestOptions) => Promise<any>} Request answers with the JSON
 * @typedef {(path: string, body: any, onLine: (line: any) => Promise<void>) => Promise<void>} RequestLines posts, and
 *   passes on each complete line of the answer, one after the other
 */

/**
 * A function that sends requests with the token.
 *
 * @param {() => string} token
 * @param {{language?: () => string, timeout_ms?: number}} [options]
 * @returns {Request}
 */
export function requester(token, { language = () => "en", timeout_ms = 30_000 } = {}) {
  return async (method, path, options = {}) => {
    const response = await send(token(), method, path, { ...options, language: language(), timeout_ms });
    return (await read(response, `${method} ${path}`)).body;
  };
}

/**
 * A function that reads answers line by line; undefined where the browser cannot.
 *
 * @param {() => string} token
 * @param {{language: () => string, idle_ms?: number}} options `idle_ms` without a piece of it end an answer
 * @returns {RequestLines|undefined}
 */
export function lineRequester(token, { language, idle_ms = 30_000 }) {
  if (!("body" in Response.prototype && "TextDecoderStream" in globalThis)) return undefined;
  return async (path, body, onLine) => {
    const idle = new AbortController();
    let timer = setTimeout(() => idle.abort(), idle_ms);
    try {
      const headers = { Accept: "application/x-ndjson, application/json" };
      const response = await send(token(), "POST", path, { body, headers, language: language(), signal: idle.signal });
      if (!response.ok || !response.body) return void (await read(response, `POST ${path}`));
      for await (const line of linesOf(response.body)) {
        clearTimeout(timer);
        await onLine(JSON.parse(line));
        timer = setTimeout(() => idle.abort(), idle_ms);
      }
    } finally {
      clearTimeout(timer);
    }
  };
}

/**
 * Complete lines of an answer; what comes after the last one is left out.
 *
 * @param {ReadableStream<Uint8Array>} body
 * @returns {AsyncGenerator<string>}
 * @throws {UnreachableError} the connection broke
 */
export async function* linesOf(body) {
  const decoder = /** @type {ReadableWritablePair<string, Uint8Array>} */ (/** @type {unknown} */ (new TextDecoderStream()));
  const reader = body.pipeThrough(decoder).getReader();
  let text = "";
  for (;;) {
    const { value, done } = await reader.read().catch((error) => {
      throw new UnreachableError(String(error));
    });
    if (done) return;
    const lines = (text + value).split("\n");
    text = /** @type {string} */ (lines.pop());
    yield* lines;
  }
}

/**
 * Send once.
 *
 * @param {string} token empty for none
 * @param {string} method
 * @param {string} path
 * @param {RequestOptions & {language?: string, timeout_ms?: number, signal?: AbortSignal}} options
 * @returns {Promise<Response>}
 */
export async function send(token, method, path, options) {
  const { body, piece, language = "en", timeout_ms = 30_000, signal } = options;
  /** @type {Record<string, string>} */
  const headers = { Accept: "application/json", "Accept-Language": language, ...options.headers };
  if (token) headers.Authorization = `Bearer ${token}`;
  /** @type {BodyInit|undefined} */
  let content;
  if (body !== undefined) {
    content = await gzipped(JSON.stringify(body));
    headers["Content-Type"] = "application/json";
    headers["Content-Encoding"] = "gzip";
  } else if (piece) {
    content = piece.content;
    headers["Content-Type"] = "application/octet-stream";
    headers["Upload-Offset"] = String(piece.offset);
  }
  try {
    return await fetch(path, { method, headers, body: content, cache: "no-store", signal: signal ?? AbortSignal.timeout(timeout_ms) });
  } catch (error) {
    throw new UnreachableError(String(error));
  }
}

/**
 * Read an answer.
 *
 * @param {Response} response
 * @param {string} request for the message
 * @returns {Promise<{body: any, response: Response}>}
 */
export async function read(response, request) {
  let text;
  try {
    text = await response.text();
  } catch (error) {
    throw new UnreachableError(String(error)); // the connection broke within the answer
  }
  const { status } = response;
  if (!text && status === 200) throw new UnreachableError("the connection broke before the answer");
  const details = { status, wait_s: waitOf(response), offset: offsetOf(response) };
  let body;
  try {
    body = text ? JSON.parse(text) : {};
  } catch {
    throw new RefusedError(`${request}: ${status}, and the answer is not JSON`, details);
  }
  if (status < 400 && body && typeof body === "object") return { body, response };
  const problem = body && typeof body === "object" ? body : {};
  const Kind = status === 401 ? SignedOutError : RefusedError;
  throw new Kind(problem.detail || problem.title || `${request}: ${status}`, { ...details, problem });
}

/** @param {Response} response */
function waitOf(response) {
  const text = response.headers.get("Retry-After") ?? "";
  return /^\d+$/.test(text) ? Math.min(Number(text), 300) : 0;
}

/** @param {Response} response */
function offsetOf(response) {
  const text = response.headers.get("Upload-Offset");
  return text === null ? null : Number(text);
}

/** @param {string} text @returns {Promise<ArrayBuffer>} */
async function gzipped(text) {
  return new Response(new Blob([text]).stream().pipeThrough(new CompressionStream("gzip"))).arrayBuffer();
}
