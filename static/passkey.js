// A passkey in the place of a code: the studio's server says what to ask the device for, and the answer goes with the form.
// Where the browser can't, nothing is shown, and a code does as well.
"use strict";
(() => {
if (!window.PublicKeyCredential || !navigator.credentials) return;

// Base64url without padding, as the standard's JSON has it.
const text = (buffer) => buffer && btoa(String.fromCharCode(...new Uint8Array(buffer))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) => letter.charCodeAt(0));
const ids = (list) => (list || []).map((one) => ({ ...one, id: bytes(one.id) }));
const TRANSPORTS = ["ble", "hybrid", "internal", "nfc", "smart-card", "usb"];

async function make(asked) {
  const publicKey = { ...asked, challenge: bytes(asked.challenge), user: { ...asked.user, id: bytes(asked.user.id) }, excludeCredentials: ids(asked.excludeCredentials) };
  const made = await navigator.credentials.create({ publicKey });
  const transports = (made.response.getTransports?.() || []).filter((one) => TRANSPORTS.includes(one));
  return told(made, { attestationObject: text(made.response.attestationObject), transports });
}

async function answer(asked) {
  const publicKey = { ...asked, challenge: bytes(asked.challenge), allowCredentials: ids(asked.allowCredentials) };
  const given = await navigator.credentials.get({ publicKey });
  const { authenticatorData, signature, userHandle } = given.response;
  return told(given, { authenticatorData: text(authenticatorData), signature: text(signature), userHandle: text(userHandle) });
}

const told = (key, response) => JSON.stringify({
  id: text(key.rawId), rawId: text(key.rawId), type: key.type, authenticatorAttachment: key.authenticatorAttachment || null,
  clientExtensionResults: {}, response: { clientDataJSON: text(key.response.clientDataJSON), ...response },
});

for (const box of document.querySelectorAll("[data-passkey]")) {
  const form = box.closest("form"), field = form.elements[box.dataset.field], said = box.querySelector("[role=alert]");
  const makes = box.dataset.field === "made";
  let busy = false;
  const press = async () => {
    const body = new URLSearchParams({ csrf: form.elements.csrf.value });
    if (makes) body.set("name", form.elements.name.value);
    said.textContent = box.dataset.waiting;
    const reply = await fetch(box.dataset.passkey, { method: "POST", body });
    if (!reply.ok || reply.redirected) {
      // The page itself says what is wrong.
      if (makes) form.submit(); else said.textContent = box.dataset.failed;
      return;
    }
    const { publicKey, ...asked } = await reply.json();
    field.value = await (makes ? make : answer)(publicKey || asked);
    form.submit();
  };
  box.querySelector("button").addEventListener("click", async () => {
    if (busy) return;
    busy = true;
    try {
      await press();
    } catch (error) {
      const why = { NotAllowedError: "stopped", AbortError: "stopped", InvalidStateError: "there" }[error.name];
      said.textContent = box.dataset[why || "failed"];
    }
    busy = false;
  });
  // Enter in the field of the name does what the button does.
  if (makes) form.addEventListener("submit", (event) => { event.preventDefault(); box.querySelector("button").click(); });
  box.hidden = false;
}
for (const line of document.querySelectorAll("[data-no-passkeys]")) line.hidden = true;
})();
