// Keeps the chair's page of a treatment under way, so that a reload without a network still shows its timers.
"use strict";
const KEPT = "chair";
const PAGE = /^\/desk\/visits\/[a-z2-7]{26}\/chair$/;
// The server marks the page of a treatment under way. In the place of any other answer nothing stays.
const take = async (path, answer) => {
  const kept = await caches.open(KEPT), page = PAGE.test(path);
  if (answer.ok && !answer.redirected && (!page || answer.headers.has("under-way"))) await kept.put(path, answer);
  else if (page && (answer.ok || answer.type === "opaqueredirect")) await kept.delete(path);
};

addEventListener("install", () => skipWaiting());
addEventListener("activate", (e) => e.waitUntil(clients.claim()));

addEventListener("message", (e) => {
  const { keep: paths, drop } = e.data;
  e.waitUntil(drop ? caches.open(KEPT).then((kept) => kept.delete(drop)) : Promise.all(paths.map(async (path) => take(path, await fetch(path)))));
});

addEventListener("fetch", (e) => {
  const { method, mode, url } = e.request, path = new URL(url).pathname;
  if (method !== "GET") return;
  if (!(PAGE.test(path) || path.startsWith("/static/") || path.startsWith("/face/"))) {
    // The page that app.js keeps says so.
    if (mode === "navigate") e.respondWith(fetch(e.request).catch(async (gone) => (await caches.match("/away")) ?? Promise.reject(gone)));
    return;
  }
  e.respondWith(fetch(e.request).then((answer) => {
    e.waitUntil(take(path, answer.clone()));
    return answer;
  }).catch(async (gone) => (await caches.match(path)) ?? (mode === "navigate" ? await caches.match("/away") : null) ?? Promise.reject(gone)));
});
