// Server-sent events, read by fetch: EventSource cannot send the token.
import { linesOf, send } from "./requests.js";

const LONGEST_WAIT_MS = 60_000;

/**
 * Call `onChange` whenever the server has something to pull, until `signal` aborts.
 *
 * @param {() => string} token
 * @param {() => void} onChange
 * @param {AbortSignal} signal
 */
export async function listen(token, onChange, signal) {
  let failures = 0;
  while (!signal.aborted) {
    try {
      const response = await send(token(), "GET", "/api/v1/events", { signal, headers: { Accept: "text/event-stream" } });
      if (!response.ok || !response.body) throw new Error(String(response.status));
      onChange(); // what happened before the stream was open
      failures = 0;
      for await (const name of eventNames(response.body)) if (name === "changed") onChange();
    } catch {
      failures += 1;
    }
    if (!signal.aborted) await pause(backoff_ms(failures), signal);
  }
}

/** How long to wait after so many failures in a row: doubled each time, half of it by chance. @param {number} failures */
export function backoff_ms(failures) {
  return Math.min(LONGEST_WAIT_MS, 1000 * 2 ** Math.max(0, failures - 1)) * (0.5 + Math.random() / 2);
}

/** @param {number} wait_ms @param {AbortSignal} signal */
function pause(wait_ms, signal) {
  return new Promise((resume) => {
    const timer = setTimeout(resume, wait_ms);
    signal.addEventListener("abort", () => {
      clearTimeout(timer);
      resume(undefined);
    });
  });
}

/** Names of the events of a stream. @param {ReadableStream<Uint8Array>} body */
export async function* eventNames(body) {
  for await (const line of linesOf(body)) if (line.startsWith("event:")) yield line.slice(6).trim();
}
