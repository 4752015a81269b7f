// Keeps what the phone has of one account in step with the server.
import { sendPhotos } from "./photos.js";
import { SignedOutError, lineRequester, requester } from "./requests.js";
import { FIRST_SCOPE } from "./scope.js";
import { lookForUpdate } from "./shell.js";
import { Sync } from "./sync.js";
import { SyncLoop } from "./sync_loop.js";
import { learnClock, serverNow } from "./times.js";

/**
 * Begin to sync; it goes on until the loop is stopped.
 *
 * @param {object} options
 * @param {string} options.name of the account's database
 * @param {import("./log.js").Log} options.log
 * @param {() => string} options.token
 * @param {() => string} options.language
 * @param {?string} [options.mustSignInBy] when the token ends whatever its use
 * @param {() => void} options.onSynced
 * @returns {SyncLoop}
 */
export function startSync({ name, log, token, language, mustSignInBy, onSynced }) {
  const request = requester(token, { language });
  const sync = new Sync({
    request,
    stream: lineRequester(token, { language }),
    log,
    onClock: (now, sent_ms, came_ms) => learnClock(log, now, sent_ms, came_ms),
    now_ms: () => serverNow(log).getTime(),
    onPulled: (pulled) => loop.notePulled(pulled),
  });
  const loop = new SyncLoop({
    name,
    token,
    once: async () => {
      await log.whole(); // what is pulled may concern every record; until then taps are stored without waiting
      if (!log.state.meta.get("scope")) await log.append(() => [{ event: "scoped", scope: FIRST_SCOPE }]);
      try {
        await sync.run();
        if (await sendPhotos(log, request)) await sync.run();
      } catch (error) {
        // A phone that was signed out from the list of devices may be lost: what the server has goes from it.
        const isOld = mustSignInBy && serverNow(log) >= new Date(mustSignInBy);
        if (error instanceof SignedOutError && !isOld) await log.clearPulled();
        throw error;
      }
      onSynced();
      lookForUpdate();
    },
  });
  loop.start();
  return loop;
}
