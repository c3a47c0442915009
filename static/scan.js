// A bar code on a bottle or its box, read into a field by the camera. Where the browser can't, nothing is shown and the number
// is typed.
"use strict";
(() => {
const places = document.querySelectorAll("[data-scan]");
if (!places.length || !("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return;

// In a GS1 code the batch stands behind 10, after fields of a fixed length; FNC1 ends a field of any length (GS1 General
// Specifications, application identifiers 01, 10, 11, 13, 15, 17, 21). Any other code is taken as it is.
function batchIn(code) {
  const FIXED = { "01": 14, "11": 6, "13": 6, "15": 6, "17": 6 };
  const text = code.replace(/^\](d2|C1|Q3|e0)/, "").replace(/^\u001d/, "");
  for (let at = 0; at < text.length;) {
    const key = text.slice(at, at + 2), end = text.indexOf("\u001d", at);
    if (FIXED[key]) { at += 2 + FIXED[key]; if (text[at] === "\u001d") at++; continue; }
    if (key === "10" && at > 0) return text.slice(at + 2, end < 0 ? undefined : end);
    if (key !== "21" || end < 0) break;
    at = end + 1;
  }
  return code.trim();
}

async function scan(place, button) {
  const said = document.createElement("p");
  said.setAttribute("role", "status");
  const scanIt = button.textContent;
  const video = document.createElement("video");
  video.playsInline = true;
  video.muted = true;
  video.setAttribute("aria-label", place.dataset.sees);
  let stream = null, stopped = false;
  const stop = (words) => {
    stopped = true;
    stream?.getTracks().forEach((track) => track.stop());
    video.remove();
    said.textContent = words;
    button.textContent = scanIt;
    button.onclick = () => { said.remove(); scan(place, button); };
  };
  place.after(said);
  button.textContent = place.dataset.stop;
  button.onclick = () => stop("");
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    if (stopped) return stop("");
    video.srcObject = stream;
    place.after(video);
    said.textContent = place.dataset.before;
    video.play().catch(() => {});
    const detector = new BarcodeDetector();
    const look = async () => {
      if (stopped) return;
      const [found] = await detector.detect(video).catch(() => []);
      if (stopped) return;
      if (!found) { requestAnimationFrame(look); return; }
      const field = document.getElementById(place.dataset.scan);
      field.value = batchIn(found.rawValue);
      stop(place.dataset.read.replace("{number}", () => field.value));
      field.focus();
    };
    look();
  } catch {
    stop(place.dataset.failed);
  }
}

for (const place of places) {
  const button = place.querySelector("button");
  place.hidden = false;
  button.onclick = () => scan(place, button);
}
})();
