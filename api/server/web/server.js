// Talks to the JSON routes; every failure becomes an Error with a sentence that says what to do.

import { failed, heard, needServer, onLink } from "./link.js";

const OFFLINE = "The server does not answer. Check the network; nothing was lost that it had acknowledged.";
const LOOK_MS = 20000;
const SEND_MS = 90000; // a photo over a slow network, and its reading

const TRIES = 4; // how often the server is asked that says when it has room again: too many requests, no place
const PAUSE_MOST_S = 10;

const HUNG_MS = 10000; // away for so long: what was under way then hangs on a connection that is no more
const running = new Set();
let awaySince = 0;

onLink((isAway) => {
  if (isAway) awaySince = Date.now();
  else if (Date.now() - awaySince > HUNG_MS) for (const one of running) one.abort();
});

function gone() {
  failed();
  return Object.assign(new Error(OFFLINE), { away: true });
}

async function answer(response) {
  const text = await response.text();
  let body = null;
  try { body = text ? JSON.parse(text) : null; } catch { body = null; }
  if (response.ok && text && body === null) throw gone(); // a network that answers in the server's place
  if (response.ok) return body;
  const said = body && (body.error || body);
  const message = said && said.message ? `${said.message} ${said.what_to_do || ""}`.trim() : `The server said ${response.status}.`;
  const error = new Error(message);
  error.code = said && said.code;
  error.status = response.status;
  error.fields = said && said.fields; // what is wrong with each field of a form, in words
  throw error;
}

/** Send, and where the server says when to try again, wait and do so; it took nothing of what it refused like that. */
async function patiently(send, signal) {
  for (let tries = 1; ; tries++) {
    const response = await send();
    heard();
    const pause = Number(response.headers.get("retry-after"));
    if (![429, 503].includes(response.status) || !pause || pause > PAUSE_MOST_S || tries === TRIES) return response;
    await new Promise((done, stopped) => {
      const timer = setTimeout(done, pause * 1000);
      signal.addEventListener("abort", () => { clearTimeout(timer); stopped(signal.reason); }, { once: true });
    });
  }
}

async function ask(path, options = {}) {
  const limit = options.limit || new AbortController();
  const timer = setTimeout(() => limit.abort(), options.method ? SEND_MS : LOOK_MS);
  running.add(limit);
  try {
    return await answer(await patiently(() => fetch(path, { credentials: "same-origin", signal: limit.signal, ...options }), limit.signal));
  } catch (error) {
    if (limit.hurried) throw Object.assign(new Error("Sent again."), { again: true });
    throw error.status || error.away ? error : gone(); // no connection, or it broke within the answer
  } finally {
    clearTimeout(timer);
    running.delete(limit);
  }
}

export const get = (path) => ask(path, { cache: "no-store" });

export const post = (path, body = {}) => needServer().then(() =>
  ask(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) }));

export const put = (path, body) => needServer().then(() =>
  ask(path, { method: "PUT", headers: { "content-type": "application/json" }, body: JSON.stringify(body) }));

/** Now, by this device's clock, with its offset: "2026-11-25T14:05:02.120-05:00". */
export function now() {
  const at = new Date();
  const minutes = -at.getTimezoneOffset();
  const pad = (n, width = 2) => String(Math.floor(Math.abs(n))).padStart(width, "0");
  const local = new Date(at.getTime() + minutes * 60000).toISOString().slice(0, 23);
  return `${local}${minutes < 0 ? "-" : "+"}${pad(minutes / 60)}:${pad(minutes % 60)}`;
}

// So long the answer may wait for what was made of a capture; after that it says "stored", and the rest is asked for.
const WAIT_S = 30;

/** Do something under an id of its own, once however often it is sent; `body` is JSON. */
export const sendAction = (path, body, clientId) =>
  ask(path, { method: "POST", headers: { "content-type": "application/json", "idempotency-key": clientId, "ohmtrail-sent-at": now() }, body });

/** The same for what does not wait in this browser: refused at once while the server is away. */
export const sendNow = (path, body, clientId) => needServer().then(() => sendAction(path, body, clientId));

/** Send a file with what belongs to it, as a form. */
export async function sendForm(path, parts) {
  await needServer();
  const form = new FormData();
  for (const [name, value] of Object.entries(parts)) form.append(name, value);
  return ask(path, { method: "POST", body: form });
}

/** Store a clip or photo; resolves once the server has it on disk, read or (state "stored") still waiting to be read. */
export function sendEvidence(jobId, file, name, capturedAt = now(), clientId = "", { sha256 = "", utterance = "", hurry = false, limit = undefined } = {}) {
  const form = new FormData();
  form.append("file", file, name);
  if (sha256) form.append("sha256", sha256);
  if (utterance) form.append("utterance", utterance);
  form.append("captured_at", capturedAt);
  if (clientId) form.append("client_id", clientId);
  return ask(`/api/jobs/${encodeURIComponent(jobId)}/evidence`, { method: "POST", body: form, limit, headers: { prefer: `respond-async, wait=${hurry ? 0 : WAIT_S}` } });
}

/** Store several photos of one display, read as one. */
export function sendBurst(jobId, files, capturedAt = now(), clientId = "") {
  const form = new FormData();
  for (const { file, name } of files) form.append("files", file, name);
  form.append("captured_at", capturedAt);
  if (clientId) form.append("client_id", clientId);
  return ask(`/api/jobs/${encodeURIComponent(jobId)}/burst`, { method: "POST", body: form });
}

export const contentUrl = (sha256) => `/api/evidence/${sha256}/content`;
