// Whether the server answers. Every request says so; where none was made for a while, a small one asks.

import { el } from "./dom.js";

const BEAT_MS = 3000;
const PATIENCE_MS = 4000; // a network that is gone without a word is noticed after BEAT_MS and this
const listeners = new Set();
const state = { away: false, heardAt: 0, shownAt: 0 };

export const away = () => state.away;

/** Call something whenever the server goes away or comes back; gives the way to end that. */
export function onLink(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

function set(isAway) {
  const news = state.away !== isAway;
  state.away = isAway;
  if (!isAway) { state.heardAt = Date.now(); state.shownAt = 0; }
  draw();
  if (news) for (const listener of listeners) listener(isAway);
}

/** The server answered. */
export const heard = () => set(false);

/** It did not. */
export const failed = () => set(true);

/** What is shown is kept from this moment (ms); the oldest counts. */
export function showing(at) {
  state.shownAt = state.shownAt ? Math.min(state.shownAt, at) : at;
  draw();
}

const hm = (at) => new Date(at).toTimeString().slice(0, 5);
const line = el("span.away", { id: "link", role: "status", hidden: true });

function draw() {
  const at = state.shownAt || state.heardAt;
  const words = state.away ? `Server away.${at ? ` Shown as of ${hm(at)}.` : ""}` : "";
  if (line.textContent !== words) line.textContent = words;
  line.hidden = !words;
}

/** Ask whether the server is there. */
export async function probe() {
  try {
    await fetch("/api/status", { cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
    heard();
  } catch { failed(); }
}

/**
 * Refuse at once what only the server can do while it is away; nothing of this kind waits to be sent.
 * @throws {Error} the server is away, and was asked once more
 */
export async function needServer() {
  if (!state.away) return;
  await probe();
  if (state.away) throw Object.assign(new Error("The server is away, and this needs it. What you typed stays here: press again when the server is back."), { away: true });
}

/** Begin to watch; shows in the page's head when the server is away. */
export function watchLink() {
  document.getElementById("top").append(line);
  window.addEventListener("offline", failed);
  window.addEventListener("online", probe);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) probe(); });
  setInterval(() => { if (!document.hidden && (state.away || Date.now() - state.heardAt > BEAT_MS)) probe(); }, BEAT_MS);
}
