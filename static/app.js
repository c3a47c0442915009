// Everything here only adds: each page works without it. Nothing that anybody typed is stored.
"use strict";

const page = () => {
  // A refused page: its summary takes the focus, also where autofocus doesn't.
  for (const box of document.querySelectorAll("[data-focus]")) box.focus();

  // The held time: one warning at two minutes, one word when it is over.
  for (const box of document.querySelectorAll("[data-hold]")) {
    const said = box.querySelector("[role=status]");
    const end = Date.now() + 1000 * Number(box.dataset.hold);
    const look = () => {
      const left = end - Date.now();
      const words = left <= 0 ? said.dataset.over : left <= 120000 ? said.dataset.soon : "";
      if (said.textContent !== words) said.textContent = words;
      box.classList.toggle("soon", words !== "");
      if (left > 0) setTimeout(look, Math.min(left, 1000));
    };
    look();
    document.addEventListener("visibilitychange", look);
  }

  // The signature: strokes "x,y x,y;x,y" in a field of 1000 × 300.
  const WIDE = 1000, HIGH = 300, MOST = 20000;
  for (const box of document.querySelectorAll("[data-sign]")) {
    const canvas = box.querySelector("canvas"), field = box.querySelector("input"), said = box.querySelector("[role=status]");
    const pen = canvas.getContext("2d");
    const strokes = field.value.split(";").filter(Boolean).map((s) => s.split(" ").map((p) => p.split(",").map(Number)));
    let stroke = null, size = 0;

    const draw = () => {
      pen.setTransform(canvas.width / WIDE, 0, 0, canvas.height / HIGH, 0, 0);
      pen.clearRect(0, 0, WIDE, HIGH);
      pen.strokeStyle = getComputedStyle(canvas).color;
      pen.lineWidth = 5;
      pen.lineCap = pen.lineJoin = "round";
      for (const s of strokes) {
        pen.beginPath();
        pen.moveTo(...s[0]);
        for (const p of s) pen.lineTo(...p);
        pen.stroke();
      }
    };
    const keep = () => {
      field.value = strokes.map((s) => s.map((p) => p.join(",")).join(" ")).join(";");
      size = field.value.length;
    };
    const point = (e) => {
      const r = canvas.getBoundingClientRect(), edge = canvas.clientLeft;
      const fit = (v, most) => Math.max(0, Math.min(most, Math.round(v)));
      return [fit(((e.clientX - r.left - edge) / canvas.clientWidth) * WIDE, WIDE),
              fit(((e.clientY - r.top - edge) / canvas.clientHeight) * HIGH, HIGH)];
    };
    const add = (e) => {
      const p = point(e), last = stroke[stroke.length - 1];
      if (size > MOST - 16 || (last && Math.hypot(p[0] - last[0], p[1] - last[1]) < 3)) return;
      stroke.push(p);
      size += p.join().length + 1;
    };
    const done = () => {
      if (!stroke) return;
      stroke = null;
      keep();
      said.textContent = said.dataset.drawn;
    };

    canvas.addEventListener("pointerdown", (e) => {
      if (e.button || stroke || size > MOST - 16) return;
      e.preventDefault();
      canvas.setPointerCapture(e.pointerId);
      strokes.push((stroke = [point(e)]));
      draw();
    });
    canvas.addEventListener("pointermove", (e) => {
      if (!stroke) return;
      const between = e.getCoalescedEvents?.() ?? [];
      (between.length ? between : [e]).forEach(add);
      draw();
    });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, done);
    box.querySelector("button").addEventListener("click", () => {
      strokes.length = 0;
      keep();
      draw();
      said.textContent = said.dataset.cleared;
    });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
    box.hidden = false;
    keep();
    draw();
  }

  // Without a network nothing is sent, and nothing typed is lost.
  const away = document.getElementById("away");
  addEventListener("submit", (e) => {
    if (navigator.onLine || e.defaultPrevented) return;
    e.preventDefault();
    document.getElementById("unsent")?.remove();
    const said = document.createElement("p");
    Object.assign(said, { id: "unsent", className: "error", tabIndex: -1, textContent: away.dataset.unsent });
    said.setAttribute("role", "alert");
    (e.submitter ?? e.target).before(said);
    said.focus();
  });

  // Nobody is signed in: the pages that chair-worker.js kept go.
  if (document.querySelector("[data-signed-out]")) window.caches?.delete("chair");

  // A page of ours, which the worker keeps, tells of one that can't be fetched.
  const kept = `<!doctype html><html lang="${document.documentElement.lang}"><meta charset="utf-8"><title>${away.dataset.title}</title>`
    + `<meta name="viewport" content="width=device-width, initial-scale=1">`
    + `<link rel="stylesheet" href="${document.querySelector("link[rel=stylesheet]").href}"><body class="public"><main><h1>${away.dataset.title}</h1>${new XMLSerializer().serializeToString(away.content)}</main>`;
  const worker = navigator.serviceWorker;
  const begun = (it) => it.active ?? new Promise((done) => {
    const next = it.installing ?? it.waiting;
    next.addEventListener("statechange", () => next.state === "activated" && done(next));
  });
  // Only once it came from the cache: a first page has requests enough.
  const { src } = document.querySelector("script[src*='/app.js']");
  if (worker) addEventListener("load", () => performance.getEntriesByName(src)[0]?.transferSize === 0
    && worker.register(src, { scope: "/", updateViaCache: "all" }).then(begun).then((it) => it.postMessage({ kept })).catch(() => {}));
};

const worker = () => {
  const KEPT = "away", PAGE = "/away";
  addEventListener("install", () => skipWaiting());
  addEventListener("activate", (e) => e.waitUntil(clients.claim()));
  addEventListener("message", (e) => e.waitUntil(caches.open(KEPT).then((cache) =>
    cache.put(PAGE, new Response(e.data.kept, { headers: { "content-type": "text/html; charset=utf-8" } })))));
  addEventListener("fetch", (e) => {
    if (e.request.mode !== "navigate" || e.request.method !== "GET") return;
    e.respondWith(fetch(e.request).catch(async (gone) => (await caches.match(PAGE)) ?? Promise.reject(gone)));
  });
};

self.document ? page() : worker();
