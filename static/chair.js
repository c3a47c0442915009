// Beside the client: two timers for each step. Every press is an event with an id of its own, kept on this device until the
// studio's server has it. The timers only inform; nothing here acts by itself.
"use strict";
(() => {
const box = document.querySelector("[data-visit]");
if (!box) return;
const visit = box.dataset.visit, prefix = `chair:${visit}:`, page = `/desk/visits/${visit}/chair`;
const WARN = 30, HALF = 30, AGAIN = 5000, MOST_AT_ONCE = 100;
// The page has the words, in the studio's language: `data-say-not-on` is say("NotOn"). What fills a gap is never searched for gaps.
const say = (what, gaps = {}) => (box.dataset["say" + what] ?? "").replace(/\{(\w+)\}/g, (_, gap) => gaps[gap]);

// What is kept. Each event has a key of its own, so that two tabs never write over each other.
const events = new Map();
let keeps = true;
const put = (key, value) => { try { localStorage.setItem(prefix + key, value); } catch { keeps = false; } };
const take = (event) => { events.set(event.id, event); put("e:" + event.id, JSON.stringify(event)); };
const read = (key, text) => { if (key.startsWith(prefix + "e:") && text) { const e = JSON.parse(text); events.set(e.id, e); } };
try { for (const key of Object.keys(localStorage)) read(key, localStorage.getItem(key)); } catch { keeps = false; }
const forget = () => {
  try { for (const key of Object.keys(localStorage)) if (key.startsWith(prefix)) localStorage.removeItem(key); } catch { /* nothing is kept */ }
  navigator.serviceWorker?.controller?.postMessage({ drop: page });
};

// The later of two clocks: a clock that is set back can't stop a timer, and one that stood still while the device slept
// can't delay it. Too early an alarm harms nobody.
let seen = 0;
try { seen = Number(localStorage.getItem(prefix + "seen")) || 0; } catch { /* nothing is kept */ }
const start = { wall: Date.now(), run: performance.now() };
start.at = Math.max(start.wall, seen);
const now = () => start.at + Math.max(Date.now() - start.wall, performance.now() - start.run);
const second = () => Math.floor(now() / 1000);

// The network.
const net = document.getElementById("chair-net");
const tell = (words) => { if (net && net.textContent !== words) net.textContent = words; };
const waiting = () => [...events.values()].filter((e) => !e.sent);
let running = null, later = 0, over = false, refused = "";
// What is on its way is waited for; with nothing to send it asks what other devices pressed.
const send = () => running ??= sendAll().finally(() => { running = null; });
async function sendAll() {
  if (over) return false;
  clearTimeout(later);
  const batch = waiting().slice(0, MOST_AT_ONCE);
  const presses = JSON.stringify(batch.map(({ sent, ...event }) => event));
  const body = new URLSearchParams({ csrf: box.dataset.token, now: String(second()), presses });
  let trouble = "";
  try {
    const answer = await fetch(`${page}/presses`, { method: "POST", body });
    if (!answer.ok || answer.redirected || !(answer.headers.get("content-type") || "").startsWith("application/json")) {
      trouble = say("Reload");
    } else {
      const told = await answer.json();
      for (const event of batch) take({ ...event, sent: 1 });
      for (const event of told.events) if (!events.has(event.id)) take({ ...event, sent: 1 });
      if (told.refused) refused = say("Refused");
      over = told.over;
    }
  } catch {
    trouble = say("Offline");
  }
  const left = waiting().length;
  if (left && !trouble && !over) return sendAll();
  tell(trouble || refused || say(keeps ? "Sent" : "Unkept"));
  if (over) { forget(); tell(say("Written")); }
  if (!over && (left || (sides.length && !document.hidden))) later = setTimeout(send, AGAIN);
  render();
  return left === 0;
}
addEventListener("online", send);
addEventListener("storage", (e) => { if (e.key) { read(e.key, e.newValue); render(); } });

// What was worn follows from the events as it does on the server.
function worn() {
  const slips = new Set([...events.values()].filter((e) => e.kind === "take_back").map((e) => e.slip));
  const all = [...events.values()].filter((e) => !slips.has(e.id)).sort((a, b) => a.at - b.at || (a.id < b.id ? -1 : 1));
  const list = [];
  for (const e of all) {
    const open = list.find((w) => w.step === e.step && w.side === e.side && w.off === undefined);
    if (e.kind === "on" && !open) list.push({ step: e.step, side: e.side, on: e.at, seconds: e.seconds, last: e.id });
    if (e.kind === "set" && open) Object.assign(open, { seconds: e.seconds, last: e.id });
    if (e.kind === "off" && open) Object.assign(open, { off: e.at, last: e.id });
  }
  return list;
}

// Sound: allowed only after a press; on a device where none was, words and colour say it.
let audio = null;
function beep(high) {
  try {
    if (navigator.userActivation?.hasBeenActive) audio ??= new AudioContext();
    const tone = audio.createOscillator(), loud = audio.createGain(), at = audio.currentTime;
    tone.frequency.value = high ? 1320 : 660;
    loud.gain.setValueAtTime(.4, at);
    loud.gain.exponentialRampToValueAtTime(.001, at + .5);
    tone.connect(loud).connect(audio.destination);
    tone.start(at);
    tone.stop(at + .5);
  } catch { /* words and colour say it too */ }
  // Nothing shakes before this page was touched: the browser refuses it, and says so as an error.
  if (high && navigator.vibrate && navigator.userActivation?.hasBeenActive) navigator.vibrate(300);
}

// The screen stays on while something is on.
let awake = null;
async function stayAwake(wanted) {
  if (!wanted) { awake?.release(); awake = null; return; }
  if (awake || !navigator.wakeLock || document.visibilityState !== "visible") return;
  awake = "asked";
  try {
    awake = await navigator.wakeLock.request("screen");
    awake.addEventListener("release", () => { awake = null; });
  } catch { awake = null; }
}

// The timers.
const face = (s) => `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
const clock = (s) => new Date(s * 1000).toLocaleTimeString("en-GB", { timeZone: box.dataset.zone, hour12: false });
const sides = [...document.querySelectorAll(".side")].map((element) => {
  const step = element.parentElement.dataset;
  const part = (what) => element.querySelector(what);
  return {
    element, step: Number(step.step), name: step.name, side: element.dataset.side, words: element.dataset.words,
    most: Number(step.most), wanted: Number(step.seconds), state: "", hushed: "",
    face: part(".timer-face"), said: part(".side-words"),
    button: Object.fromEntries([...element.querySelectorAll("button")].map((b) => [b.dataset.do, b])),
  };
});
const alarm = document.getElementById("chair-alert"), title = document.title;

// What is pressed within one second stays in its order: an id begins with its millisecond, later ones sort behind, and the
// studio's server orders by the second and then by the id.
const LETTERS = "234567abcdefghijklmnopqrstuvwxyz";
let stamp = 0;
function newId() {
  stamp = Math.max(Math.floor(now()), stamp + 1);
  const time = Array.from({ length: 10 }, (_, n) => LETTERS[Math.floor(stamp / 32 ** (9 - n)) % 32]);
  const chance = Array.from(crypto.getRandomValues(new Uint8Array(16)), (n) => LETTERS[n & 31]);
  return [...time, ...chance].join("");
}

function press(kind, one, more) {
  const id = newId();
  take({ id, kind, step: one.step, side: one.side, at: second(), ...more });
  render();
  send();
}

function look(one, list) {
  const own = list.filter((w) => w.step === one.step && w.side === one.side), last = own.at(-1);
  const used = own.reduce((sum, w) => sum + (w.off === undefined ? 0 : w.off - w.on), 0);
  return { last, on: Boolean(last) && last.off === undefined, used, room: Math.max(0, one.most - used) };
}

function show(one, list) {
  const { last, on, used, room } = look(one, list), { button } = one;
  let state = "", shown = face(Math.min(one.wanted, room)), words = say("NotOn");
  if (on) {
    const gone = second() - last.on, left = last.seconds - gone;
    state = used + gone > one.most ? "over" : left <= 0 ? "up" : left <= WARN ? "soon" : "running";
    shown = left >= 0 ? face(left) : `+${face(-left)}`;
    words = {
      running: () => say("Running", { time: clock(last.on) }), soon: () => say("Soon", { seconds: left }), up: () => say("Up"),
      over: () => say("Over", { over: face(used + gone - one.most) }),
    }[state]();
  } else if (last) {
    state = "done";
    shown = face(last.off - last.on);
    const late = last.off - last.on - last.seconds, over = used - one.most;
    words = say("Off" + (late > 0 ? "Late" : "") + (over > 0 ? "Over" : ""),
      { on: clock(last.on), off: clock(last.off), late: face(late), over: face(over) });
  }
  if (one.state !== state) {
    const which = { side: one.words, step: one.name };
    if (state === "soon") { alarm.textContent = say("AlertSoon", which); beep(false); }
    if (state === "up") alarm.textContent = say("AlertUp", which);
    if (state === "over") alarm.textContent = say("AlertOver", which);
    one.element.className = `side ${state}`;
    one.state = state;
  }
  if (one.face.textContent !== shown) one.face.textContent = shown;
  if (one.said.textContent !== words) one.said.textContent = words;
  const ringing = state === "up" || state === "over";
  button.on.hidden = on || room < 1;
  button.on.textContent = say(last && !on ? "Again" : "On");
  button.on.classList.toggle("main", !last);
  button.off.hidden = !on;
  button.less.hidden = state === "done";
  button.more.hidden = state === "done";
  button.less.disabled = on ? ringing || last.seconds <= HALF : one.wanted <= HALF;
  button.more.disabled = on ? used + last.seconds >= one.most : one.wanted >= room;
  button.slip.hidden = !last;
  button.hush.hidden = !ringing || one.hushed === last.last;
  return { on, rings: ringing && one.hushed !== last.last };
}

function render() {
  if (!sides.length) return;
  const list = worn(), first = list[0]?.side;
  // Who was first in the first step stays first; nothing moves that was begun.
  for (const { element, side, step } of sides) {
    const two = element.parentElement;
    if (side === first && two.firstElementChild !== element && !list.some((w) => w.step === step)) two.prepend(element);
  }
  const shown = sides.map((one) => show(one, list));
  const rings = shown.some((one) => one.rings), urgent = sides.some((one) => one.state === "up" || one.state === "over");
  document.title = urgent ? say("Title", { title }) : title;
  stayAwake(shown.some((one) => one.on));
  return rings;
}

for (const one of sides) {
  one.element.addEventListener("click", (e) => {
    const what = e.target.closest("button")?.dataset.do;
    if (!what) return;
    try { audio = audio || new AudioContext(); audio.resume(); } catch { /* words and colour say it too */ }
    const { last, on, used, room } = look(one, worn());
    if (what === "on" && !on && room > 0) press("on", one, { seconds: Math.min(one.wanted, room) });
    if (what === "off" && on) press("off", one);
    if (what === "slip" && last) press("take_back", one, { slip: last.last });
    if (what === "hush" && last) { one.hushed = last.last; render(); }
    const by = { less: -HALF, more: HALF }[what];
    const fit = (seconds, most) => Math.max(HALF, Math.min(most, seconds));
    if (by && on) press("set", one, { seconds: fit(last.seconds + by, one.most - used) });
    if (by && !on) { one.wanted = fit(one.wanted + by, room); render(); }
  });
}

let beat = 0;
function tick() {
  put("seen", String(Math.floor(now())));
  if (render() && beat++ % 4 === 0) beep(true);
  setTimeout(tick, 500);
}

if (sides.length) {
  for (const two of document.querySelectorAll(".two-sides")) two.hidden = false;
  document.addEventListener("visibilitychange", () => { render(); if (!document.hidden) send(); });
  document.querySelector("a[href$='/treatment'].main").addEventListener("click", async (e) => {
    if (!waiting().length) return;
    e.preventDefault();
    if (await send()) location.href = e.target.href;
  });
  const worker = navigator.serviceWorker;
  if (worker) {
    // As in app.js: a file for both would be a request more.
    const begun = (it) => it.active ?? new Promise((done) => {
      const next = it.installing ?? it.waiting;
      next.addEventListener("statechange", () => next.state === "activated" && done(next));
    });
    worker.register(box.dataset.worker, { scope: "/desk/visits/" }).then(begun).then((it) => {
      const assets = [...document.querySelectorAll("link[rel=stylesheet], script[src]")].map((a) => a.href || a.src);
      // All of it may be gone: a page about signing in, here before or in another tab, lets go of it.
      const keep = async () => {
        const needs = [page, ...assets], there = await Promise.all(needs.map((one) => caches.match(one)));
        const missing = needs.filter((_, n) => !there[n]);
        if (missing.length) it.postMessage({ keep: missing });
      };
      document.addEventListener("visibilitychange", () => document.hidden || over || keep());
      return keep();
    }).catch(() => {});
  }
  tick();
}
if (sides.length || waiting().length) send();
if (!sides.length && !waiting().length) forget();
})();
