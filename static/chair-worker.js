// Keeps the chair's page of a treatment under way, so that a reload without a network still shows its timers.
"use strict";
const KEPT = "chair";
const PAGE = /^\/desk\/visits\/[a-z2-7]{26}\/chair$/;
const keep = async (path, answer) => (await caches.open(KEPT)).put(path, answer);

addEventListener("install", () => skipWaiting());
addEventListener("activate", (e) => e.waitUntil(clients.claim()));

addEventListener("message", (e) => {
  const { keep: paths, drop } = e.data;
  e.waitUntil(caches.open(KEPT).then((kept) => (drop ? kept.delete(drop) : kept.addAll(paths))));
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
    if (answer.ok && !answer.redirected) e.waitUntil(keep(path, answer.clone()));
    return answer;
  }).catch(async (gone) => (await caches.match(path)) ?? (mode === "navigate" ? await caches.match("/away") : null) ?? Promise.reject(gone)));
});
