// At the laptop: who may come in from the network, a code for another device, and where phones begin.

import { el, fill, say } from "./dom.js";
import { get, post } from "./server.js";
import { clock } from "./words.js";

const SQUARE = 5; // pixels of a module

/** Draw a QR code, dark on white whatever the theme: some phones read no inverted ones. */
function qr(rows, label) {
  const canvas = el("canvas", { width: rows.length * SQUARE, height: rows.length * SQUARE, role: "img", "aria-label": label });
  const draw = canvas.getContext("2d");
  draw.fillStyle = "#fff";
  draw.fillRect(0, 0, canvas.width, canvas.height);
  draw.fillStyle = "#000";
  rows.forEach((row, y) => [...row].forEach((square, x) => { if (square === "1") draw.fillRect(x * SQUARE, y * SQUARE, SQUARE, SQUARE); }));
  return canvas;
}

function deviceItem(device, refresh) {
  const what = [device.person, device.role, `paired ${clock(device.paired_at)}`, device.revoked_at ? `revoked ${clock(device.revoked_at)}` : ""];
  const revoke = async () => {
    try {
      await post(`/api/devices/${encodeURIComponent(device.id)}/revoke`);
      await refresh();
      say(`${device.name} is out.`);
    } catch (error) { say(error.message, "error"); }
  };
  return el("li.card", {}, el("div.row", {}, el("div", {}, el("strong", {}, device.name), el("p.soft", {}, what.filter(Boolean).join(" · "))),
    device.revoked_at ? null : el("button.warn", { type: "button", onclick: revoke }, "Revoke")));
}

function pairPart() {
  const role = el("select", { name: "role", "aria-label": "Role" }, el("option", { value: "technician" }, "technician: works on jobs"), el("option", { value: "reader" }, "reader: only looks"));
  const person = el("input", { name: "person", maxlength: "60", autocomplete: "off", placeholder: "name; empty: typed on the phone", "aria-label": "Who will work with it" });
  const shown = el("div", { id: "code", "aria-live": "polite" });
  const make = async () => {
    try {
      const made = await post("/api/devices/codes", { role: role.value, person: person.value.trim() });
      const ends = new Date(Date.now() + made.lives_s * 1000).toISOString();
      fill(shown, el("p.value", {}, `${made.code.slice(0, 4)} ${made.code.slice(4)}`),
        el("p.soft", {}, `Works once, until ${clock(ends)}. Scan this, or type the code at ${made.address.split("#")[0]}`), qr(made.squares, "QR code of the pairing address"));
    } catch (error) { say(error.message, "error"); }
  };
  return el("section.card", {}, el("h2", {}, "Pair another"), el("div.grid", {}, role, person), el("p", {}, el("button.main", { type: "button", id: "pair", onclick: make }, "Make a code")), shown);
}

/** On a paired device: its own pairing, and how to end it. */
function ownView(main, device) {
  const leave = async () => {
    try {
      await post("/api/access/leave");
      location.assign("/pair");
    } catch (error) { say(error.message, "error"); }
  };
  fill(main, el("h1", {}, "This device"), el("section.card", {}, el("p", {}, `${device.name}, paired for ${device.person} as ${device.role} ${clock(device.paired_at)}.`),
    el("p.soft", {}, "To come back it needs a new code from the laptop. What was not sent yet stays here and is not sent before that."),
    el("div.row", {}, el("button.warn.look", { type: "button", onclick: leave }, "End this pairing"), el("a.button", { href: "#/" }, "To the list of jobs"))));
}

export async function devicesView(main, where) {
  where.textContent = "Devices";
  const { device } = await get("/api/access");
  if (device) {
    ownView(main, device);
    return;
  }
  const list = el("ul.jobs", {});
  const refresh = async () => {
    const state = await get("/api/devices");
    fill(list, state.devices.map((device) => deviceItem(device, refresh)));
    return state;
  };
  const state = await refresh();
  fill(main, el("h1", {}, "Devices"),
    el("section.card", {}, el("h2", {}, "Once for each phone"), el("p", {}, "How to trust this laptop: ", el("strong", {}, state.trust_page)), qr(state.trust_squares, "QR code of the page with the certificate"),
      el("p.soft", {}, "Fingerprint of the certificate, to compare there (SHA-256):"), el("p", {}, el("code", {}, state.fingerprint)),
      el("p.soft", {}, `The page itself: ${state.pages.join("  ")}`)),
    pairPart(), el("h2", {}, "Paired"), list);
}

/** Whether this page was opened only to look: "?view=read" shows what a reader sees, without controls. */
export const looksOnly = () => new URLSearchParams(location.search).get("view") === "read";

const ROLE = "ohmtrail.role";

/** Show the page as it was for this device last, until the server says what it may. */
export function rememberRole() {
  try {
    const role = looksOnly() ? "reader" : localStorage.getItem(ROLE);
    if (role) document.body.dataset.role = role;
  } catch { /* a private window: the server says it in a moment */ }
}

/** Ask what this device may, and show the page so. */
export async function learnRole() {
  const access = await get("/api/access");
  document.body.dataset.role = looksOnly() ? "reader" : access.role;
  try { localStorage.setItem(ROLE, access.role); } catch { /* full or private: asked again next time */ }
  return access;
}

/** Whether this device only looks. */
export const onlyLooks = () => document.body.dataset.role === "reader";

/** What a device that only looks is shown in the place of a form. */
export const onlyLooksCard = () => el("div.card", {}, el("h1", {}, "This device only looks"), el("p", {}, "Jobs are made and corrected, and values confirmed, on a technician's device or at the laptop."), el("a.button", { href: "/#/" }, "To the list of jobs"));

/** Show in the page's head who works with this device, or at the laptop the way to the devices. */
export async function whoAmI(head) {
  const access = await learnRole();
  if (access.device) head.append(el("a", { id: "who", href: "#/devices" }, `${access.device.person}${access.role === "reader" ? " · reads only" : ""}`));
  else if (access.lan) head.append(el("a", { id: "who", href: "#/devices" }, "Devices"));
}
