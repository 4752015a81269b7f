// Keeps the files of the app, so that it opens without a network. The server adds VERSION and FILES: the digest of the
// whole, and of each file.
/* global VERSION, FILES */

const PAGE = "/table/";
const PREFIX = "leafspan shell ";
const CACHE = PREFIX + VERSION;

self.addEventListener("install", (event) => {
  // Data bypass it: a busy worker keeps a new one waiting.
  event.addRoutes?.({ condition: { urlPattern: "/api/*" }, source: "network" });
  event.waitUntil(install());
});

self.addEventListener("activate", (event) => event.waitUntil(activate()));

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate" && url.pathname === PAGE) event.respondWith(stored(PAGE, request));
  else if (url.pathname in FILES) event.respondWith(stored(url.pathname, request));
});

/** Store all files or fail. */
async function install() {
  const cache = await caches.open(CACHE);
  const former = await Promise.all((await caches.keys()).filter(isShell).map((name) => caches.open(name)));
  await Promise.all(Object.entries(FILES).map(([address, digest]) => store(cache, former, address, digest)));
  const page = await fetch(PAGE, { cache: "no-store" });
  if (!page.ok || !(await page.clone().text()).includes(`content="${VERSION}"`)) throw new Error("the page is of another version");
  await cache.put(PAGE, page);
}

async function store(cache, former, address, digest) {
  for (const other of former) {
    const found = await other.match(address);
    if (found && (await digestOf(found.clone())) === digest) return cache.put(address, found);
  }
  const response = await fetch(address, { cache: "no-cache" });
  if (!response.ok || (await digestOf(response.clone())) !== digest) throw new Error(`${address} is of another version`);
  return cache.put(address, response);
}

async function digestOf(response) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", await response.arrayBuffer()));
  return [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

async function activate() {
  for (const name of await caches.keys()) if (isShell(name) && name !== CACHE) await caches.delete(name);
  await self.clients.claim();
}

function isShell(name) {
  return name.startsWith(PREFIX);
}

/** The stored file, or the server's if it was dropped. */
async function stored(address, request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(address)) ?? fetch(request);
}
