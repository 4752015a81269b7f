// Who uses this phone, and how the phone gets its token.
import { openDB } from "../vendor/idb.js";
import { entries } from "./disk.js";
import { read, send } from "./requests.js";

/**
 * @typedef {object} Account
 * @property {string} user
 * @property {string} name
 * @property {string} team
 * @property {string} teamName
 * @property {?string} shop
 * @property {"owner"|"buyer"|"taster"|"viewer"} role
 * @property {string} language
 * @property {{id: string, name: string, role: string}[]} [teams] of the login, when it signed in
 * @property {string} [mustSignInBy] when the token ends whatever its use
 */

const DEVICES = [
  [/iPad/, "iPad"],
  [/iPhone/, "iPhone"],
  [/Android/, "Android"],
  [/Windows/, "Windows"],
  [/Macintosh/, "Mac"],
];

async function registry() {
  return openDB("leafspan", 1, {
    upgrade: (db) => {
      db.createObjectStore("accounts");
    },
  });
}

/** The account of this phone, or null. @returns {Promise<?Account>} */
export async function currentAccount() {
  const db = await registry();
  const found = await db.get("accounts", "current");
  db.close();
  return found ?? null;
}

/** Every account that was used on this phone since somebody signed out. @returns {Promise<Account[]>} */
export async function accountsOfPhone() {
  const db = await registry();
  const { current, ...others } = Object.fromEntries(await entries(db.transaction("accounts").store));
  db.close();
  if (current) others[databaseOf(current)] = current; // an app before teams could be changed stored it alone
  return Object.values(others);
}

/** @param {?Account} account null for none: then nobody of this phone is signed in any more */
export async function setCurrentAccount(account) {
  const db = await registry();
  const tx = db.transaction("accounts", "readwrite", { durability: "strict" }); // without it unsent notes are not found
  await Promise.all([account ? tx.store.put(account, databaseOf(account)) : tx.store.clear(), tx.store.put(account, "current"), tx.done]);
  db.close();
}

/** The database of an account: another member's unsent notes are never sent in this one's name. @param {Pick<Account, "team"|"user">} account */
export function databaseOf({ team, user }) {
  return `leafspan ${team} ${user}`;
}

/**
 * Take the code out of the address, so that it stays neither there nor in the history.
 *
 * @returns {?string}
 */
export function takeCode() {
  const found = /^#code=([\w-]+)$/.exec(location.hash);
  if (found) history.replaceState(null, "", location.pathname);
  return found && found[1];
}

/**
 * Get a token: by a code, or from the session of this browser.
 *
 * @param {{code?: ?string, team?: string}} how
 * @returns {Promise<{account: Account, token: string}>}
 * @throws {import("./requests.js").RefusedError|import("./requests.js").UnreachableError}
 */
export async function signIn({ code = null, team }) {
  const language = document.documentElement.lang || "en";
  const device = deviceName();
  const answer = code
    ? await send("", "POST", "/api/v1/auth/tokens", { body: { code, device }, language })
    : await send("", "POST", "/api/v1/auth/tokens/from-session", {
        body: { device, ...(team && { team }) },
        headers: { "X-CSRFToken": cookie("csrftoken") },
        language,
      });
  const { body: signed } = await read(answer, "signing in");
  const { body: me } = await read(await send(signed.token, "GET", "/api/v1/me", { language }), "GET /api/v1/me");
  const account = {
    user: signed.user,
    name: me.name,
    team: signed.team,
    teamName: me.team.name,
    shop: signed.shop,
    role: signed.role,
    language,
    teams: me.teams,
    mustSignInBy: signed.must_sign_in_by,
  };
  return { account, token: signed.token };
}

/** End the token at the server; without a network it ends by itself. @param {string} token */
export async function endToken(token) {
  try {
    await send(token, "DELETE", "/api/v1/auth/tokens/current", { timeout_ms: 5000 });
  } catch {
    // signing out works without a network
  }
}

function deviceName() {
  const found = DEVICES.find(([pattern]) => /** @type {RegExp} */ (pattern).test(navigator.userAgent));
  return `Leafspan, ${found ? found[1] : "browser"}`;
}

/** @param {string} name */
function cookie(name) {
  return new RegExp(`(?:^|; )${name}=([^;]*)`).exec(document.cookie)?.[1] ?? "";
}
