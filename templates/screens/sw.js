"use strict";
// Keeps copies of the screens on the phone, so that the next ones open without a connection. Pages come from the server as long as it answers within
// seconds; else the last copy is shown and says of when it is. Only pages that were shown, or are named as coming next, are kept; answers, papers and
// photos never. All copies go when the screens are locked by hand, and as soon as the server says that they are locked: to this worker, which asked for a
// page, or to the script of a screen, which says so here. Those of half a day ago go when this worker begins, and whenever a screen is opened.

const PAGES = "corekit-pages-1";
const FILES = "corekit-files-1";
const DEADLINE_MS = 4000;
const OLDEST_MS = 12 * 3600 * 1000; // as long as the longest session: after that the server would not have shown it either
const MOST = 160;
const WISHES = ["about", "aside", "listed", "minutes"]; // in an address: how somebody came there, and not which screen it is
const KEPT_AT = "x-kept-at";
const IS_FILE = /^\/(work\.css|work\.js|queue\.js|mark\.svg|face\/[a-z]+\.ttf)$/;
const IS_PAPER = /\.(pdf|jpg|crt)$/; // a test's screen has a dot in its name too
const POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'";

const IN_WORDS = {}; // each text below in the language of the screens; the server puts them in

const inWords = (text) => IN_WORDS[text] || text;

let lockings = 0; // a page that was asked for before a lock is not kept after it

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(begin()));

/** The files of ours that every kept screen needs; the faces come as they are used. */
async function install() {
  const files = await caches.open(FILES);
  await files.addAll(["/work.css", "/work.js", "/queue.js", "/mark.svg"]);
  await self.skipWaiting();
}

async function begin() {
  const old = (await caches.keys()).filter((name) => name.startsWith("corekit-") && ![PAGES, FILES].includes(name));
  await Promise.all(old.map((name) => caches.delete(name)));
  await sweep();
  await self.clients.claim();
}

self.addEventListener("fetch", (event) => {
  const { method, mode, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (origin !== self.location.origin) { return; }
  if (method === "POST" && pathname === "/door/lock") { event.respondWith(lock(event)); }
  if (method !== "GET" || pathname.startsWith("/door")) { return; }
  if (IS_FILE.test(pathname)) { event.respondWith(file(event)); }
  else if (mode === "navigate" && !IS_PAPER.test(pathname)) { event.respondWith(page(event)); }
});

self.addEventListener("message", (event) => event.waitUntil(event.data.forget ? forget() : fetchAhead(event.data)));

/** The copies go first; then the server is told. */
async function lock(event) {
  await forget();
  return fetch(event.request).catch(() => ownScreen(inWords("Locked here only"), `<p>${inWords(
    "The copies on this phone are deleted. There is no connection, so the screens themselves stay open until minutes without use have passed, or until you lock them again when it is back.",
  )}</p>`));
}

function forget() {
  lockings += 1;
  return caches.delete(PAGES);
}

/** A file of ours: the copy at once, and a fresh one for the next time. */
async function file(event) {
  const files = await caches.open(FILES);
  const copy = await files.match(event.request);
  const fresh = fetch(event.request).then(async (reply) => {
    if (reply.ok) { await files.put(event.request, reply.clone()); }
    return reply;
  });
  if (!copy) { return fresh; }
  event.waitUntil(fresh.catch(() => undefined));
  return copy;
}

async function page(event) {
  const { pathname, search } = new URL(event.request.url);
  const path = pathname + search;
  const before = lockings;
  const network = fetch(event.request).then((reply) => {
    event.waitUntil(keep(path, reply.clone(), before));
    return reply;
  });
  event.waitUntil(network.catch(() => undefined).then(sweep));
  const late = new Promise((resolve) => { setTimeout(resolve, DEADLINE_MS); });
  try {
    const reply = await Promise.race([network, late]);
    if (reply) { return reply; }
  } catch {
    return await copyOf(path) || nothingKept(path);
  }
  return await copyOf(path) || network.catch(() => nothingKept(path));
}

async function keep(path, reply, before) {
  if (reply.status === 401) { await forget(); return; }
  if (!reply.ok || reply.redirected || !(reply.headers.get("content-type") || "").startsWith("text/html")) { return; }
  const headers = new Headers(reply.headers);
  headers.set(KEPT_AT, new Date().toISOString());
  const body = await reply.blob();
  if (before !== lockings) { return; }
  const pages = await caches.open(PAGES);
  await pages.put(path, new Response(body, { headers }));
  const paths = await pages.keys();
  await Promise.all(paths.slice(0, Math.max(0, paths.length - MOST)).map((one) => pages.delete(one)));
}

/** Whether a copy is shown no more; one from the future was kept before the phone's clock was set back. */
function isOver(copy) {
  return !(Math.abs(Date.now() - new Date(copy.headers.get(KEPT_AT))) < OLDEST_MS);
}

/** Delete what is over, whichever screen is asked for now. */
async function sweep() {
  const pages = await caches.open(PAGES);
  await Promise.all((await pages.keys()).map(async (path) => {
    const copy = await pages.match(path);
    if (copy && isOver(copy)) { await pages.delete(path); }
  }));
}

/** The last copy of a page, with a mark in it that says of when it is. Where a visit stands nobody knows without the server; its steps are shown instead. */
async function copyOf(path) {
  const pages = await caches.open(PAGES);
  const found = await keptUnder(pages, path);
  const copy = found && await pages.match(found);
  if (!copy) { return null; }
  const at = copy.headers.get(KEPT_AT);
  if (isOver(copy)) { await pages.delete(found); return null; }
  const text = (await copy.text()).replace("<body", `<body data-as-of="${at}"`);
  const headers = new Headers(copy.headers);
  for (const name of ["content-length", "content-encoding"]) { headers.delete(name); }
  return new Response(text, { headers });
}

/** Under which address the copy stands: the same, or that of the same screen to which somebody came in another way, the last one. */
async function keptUnder(pages, path) {
  const keys = (await pages.keys()).map(({ url }) => url.slice(self.location.origin.length));
  const job = /^\/job\/[^/?]+$/.exec(path);
  return keys.find((one) => one === path) || keys.filter((one) => plain(one) === plain(path)).at(-1) || (job && keys.find((one) => one === `${path}/way`));
}

function plain(path) {
  const { pathname, searchParams } = new URL(path, self.location.origin);
  for (const wish of WISHES) { searchParams.delete(wish); }
  return `${pathname}?${searchParams}`;
}

function nothingKept(path) {
  const job = /^\/job\/[A-Za-z0-9-]+(?=[/?]|$)/.exec(path);
  const steps = job ? `<p><a class="other" href="${job[0]}/way">${inWords("The steps of this visit")}</a></p>` : "";
  const words = inWords("There is no copy of this screen on the phone. It opens by itself when the connection is back; your answers stay saved until then.");
  return ownScreen(inWords("No connection"), `<p>${words}</p>${steps}`, '<script src="/work.js" defer></script>');
}

/** A screen of this worker's own; one with the script is loaded anew when the connection is back. */
function ownScreen(heading, words, script = "") {
  const text = `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">
<meta name="color-scheme" content="light dark">
<title>${heading}</title>
<link rel="stylesheet" href="/work.css">
${script}
</head>
<body data-missing>
<header class="top"><nav aria-label="${inWords("Where")}"><a class="home" href="/">${inWords("Jobs")}</a></nav><p id="line" class="line" role="status"></p></header>
<main id="main" tabindex="-1">
<h1>${heading}</h1>
${words}
</main>
</body>
</html>`;
  return new Response(text, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": POLICY } });
}

/** Fetch pages that probably come next; `once`: only those that are not there yet. */
async function fetchAhead({ ahead = [], once = [] }) {
  const own = (path) => typeof path === "string" && /^\/(?![/\\])/.test(path) && !path.startsWith("/door");
  const pages = await caches.open(PAGES);
  const lacking = [];
  for (const path of once) { if (!await pages.match(path)) { lacking.push(path); } }
  for (const path of [...ahead, ...lacking].filter(own).slice(0, 64)) {
    const before = lockings;
    try {
      await keep(path, await fetch(path, { headers: { Accept: "text/html" }, redirect: "manual", cache: "no-store" }), before);
    } catch { return; }
    if (before !== lockings) { return; }
  }
}
