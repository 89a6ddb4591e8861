// @ts-check
/// <reference lib="webworker" />
/**
 * Opens the queue page without any network. Only under https with a certificate that the phone trusts; the browser sees to that.
 * Holds the shell alone: no photo, no result, no page of the log is ever kept by it.
 */

const SHELL = "prepcheck-shell-1";
const OFFLINE = "/static/offline.html";
const FILES = [
  OFFLINE,
  "/static/prepcheck.css",
  "/static/take.js",
  "/static/box.js",
  "/static/queue.js",
  "/static/queue_view.js",
  "/static/draft.js",
  "/static/send.js",
  "/static/wire.js",
  "/static/offline.js",
  "/static/icons/app.svg",
  "/static/icons/signs.svg",
];
const me = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));

me.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((shell) => shell.addAll(FILES)).then(() => me.skipWaiting()));
});

me.addEventListener("activate", (event) => {
  const others = (/** @type {string[]} */ names) => names.filter((name) => name !== SHELL).map((name) => caches.delete(name));
  event.waitUntil(caches.keys().then((names) => Promise.all(others(names))).then(() => me.clients.claim()));
});

me.addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  if (request.method !== "GET") return;
  if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => kept(OFFLINE)));
  else if (FILES.includes(path)) event.respondWith(renewed(request, path));
});

/** @param {string} path */
async function kept(path) {
  return (await caches.match(path)) ?? Response.error();
}

/** The newest of the shell where there is a network, and what was kept where there is none. @param {Request} request @param {string} path */
async function renewed(request, path) {
  try {
    const fresh = await fetch(request);
    if (fresh.ok) await (await caches.open(SHELL)).put(path, fresh.clone());
    return fresh;
  } catch {
    return kept(path);
  }
}
