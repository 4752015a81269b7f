// Photos that wait on the phone: announced with their digest, then sent in pieces; after a break it goes on there.
import { RefusedError } from "./requests.js";
import { newId } from "./times.js";

/** @typedef {import("./events.js").QueuedPhoto} QueuedPhoto */
/** @typedef {import("./requests.js").Request} Request */

const PIECE_BYTES = 256 * 1024; // small enough to get through a weak line; the server takes up to 1 MiB
const ATTEMPTS_PER_PIECE = 5;
const FINAL = [403, 404, 422]; // not theirs to send (any more), taken away meanwhile, or wrong in itself

/**
 * Store a photo on the phone.
 *
 * @param {import("./log.js").Log} log
 * @param {{session?: ?string, lot?: ?string, infusion?: ?string, kind: string, blob: Blob}} photo of a session or of a
 *   lot; `kind` as the API's `of`
 * @param {Date} taken
 * @returns {Promise<string>} its id, once it is safe on the disk
 */
export async function addPhoto(log, { session, lot, infusion, kind, blob }, taken) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", await blob.arrayBuffer()));
  /** @type {Record<string, any> & {id: string}} */
  const photo = {
    id: newId(taken.getTime()),
    of: kind,
    sha256: [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join(""),
    bytes: blob.size,
    taken_at: taken.toISOString(),
  };
  for (const [name, value] of Object.entries({ session, lot, infusion })) if (value) photo[name] = value;
  await log.append(() => [{ event: "photographed", photo }], { bytes: new Map([[photo.id, blob]]) });
  return photo.id;
}

/**
 * Send the waiting photos, after the records that they belong to.
 *
 * @param {import("./log.js").Log} log
 * @param {Request} request
 * @returns {Promise<number>} how many were sent in full
 * @throws {RefusedError} such as 507, when the server's disk is full; the photo stays
 */
export async function sendPhotos(log, request) {
  let sent = 0;
  for (const photo of [...log.state.photos.values()]) {
    if (photo.problems.length) continue;
    let problems = null;
    try {
      await send(log, request, photo);
      sent += 1;
    } catch (error) {
      if (!(error instanceof RefusedError) || !FINAL.includes(error.status) || !error.problem.type) throw error;
      if (error.problems.every(({ code }) => code === "unknown_parent")) continue; // its session is still to be sent
      problems = error.problems;
    }
    const { id } = photo.announced;
    await log.append(() => [{ event: "photo_done", id, problems }]);
    if (!problems) await log.dropBytes(id);
  }
  return sent;
}

/** @param {import("./log.js").Log} log @param {Request} request @param {QueuedPhoto} photo */
async function send(log, request, { announced }) {
  const blob = await log.bytes(announced.id);
  if (!blob) return; // another tab has sent it
  const path = `/api/v1/photos/${announced.id}/`;
  let upload = await request("POST", "/api/v1/photos/", { body: announced });
  let failures = 0;
  while (upload.state === "receiving") {
    const piece = { offset: upload.received, content: blob.slice(upload.received, upload.received + PIECE_BYTES) };
    try {
      upload = await request("PUT", `${path}content`, { piece });
      failures = 0;
    } catch (error) {
      failures += 1;
      // an answer was lost on the way
      if (!(error instanceof RefusedError) || error.status !== 409 || failures >= ATTEMPTS_PER_PIECE) throw error;
      upload = await request("GET", path);
    }
  }
}
