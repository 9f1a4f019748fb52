// What the server said last, kept in the browser: shown, with its age, while the server is away.

import { showing } from "./link.js";
import { get } from "./server.js";
import { within } from "./store.js";

const KEEP_MS = 30000; // what has not changed is written again only so often, for its age
const known = new Map(); // by path: the text kept last, and when

/** Ask the server; where it does not answer, give what it said last. */
export async function look(path) {
  let body;
  try { body = await get(path); } catch (error) {
    if (error.status === 401) await forget();
    const kept = error.away ? await within("seen", "readonly", (store) => store.get(path)).catch(() => undefined) : undefined;
    if (!kept) throw error;
    showing(kept.at);
    return JSON.parse(kept.text);
  }
  keep(path, JSON.stringify(body)).catch(() => { /* no room: shown all the same, only not kept */ });
  return body;
}

async function keep(path, text) {
  const at = Date.now();
  const before = known.get(path);
  if (before && before.text === text && at - before.at < KEEP_MS) return;
  known.set(path, { text, at });
  await within("seen", "readwrite", (store) => store.put({ text, at }, path));
}

/** Who is not let in any more keeps no copy; what waits to be sent stays. */
async function forget() {
  known.clear();
  await within("seen", "readwrite", (store) => store.clear()).catch(() => {});
}

