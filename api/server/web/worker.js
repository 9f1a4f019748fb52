// The service worker: gives the page from the browser's own copy. The server puts VERSION and FILES (paths with their
// SHA-256) in front of this text; so each change of any file makes another worker, with a copy of its own.

const CACHE = `ohmtrail-page-${VERSION}`;

const hex = async (bytes) => [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((b) => b.toString(16).padStart(2, "0")).join("");

/** Fetch every file; one that is missing or another than the list says undoes all. */
async function fetchAll() {
  const cache = await caches.open(CACHE);
  try {
    await Promise.all(Object.entries(FILES).map(async ([path, sha256]) => {
      const answer = await fetch(path, { cache: "no-store", credentials: "same-origin" });
      const bytes = await answer.arrayBuffer();
      if (!answer.ok || (await hex(bytes)) !== sha256) throw new Error(`${path} is not the file of this version.`);
      await cache.put(path, new Response(bytes, { headers: answer.headers })); // its policy with it
    }));
  } catch (error) {
    await caches.delete(CACHE);
    throw error;
  }
}

async function dropOthers() {
  for (const name of await caches.keys()) if (name.startsWith("ohmtrail-page-") && name !== CACHE) await caches.delete(name);
}

self.addEventListener("install", (event) => event.waitUntil(fetchAll()));
self.addEventListener("activate", (event) => event.waitUntil(dropOthers()));
self.addEventListener("message", (event) => { if (event.data === "take over") self.skipWaiting(); });

// Files of the page only: what is asked of the JSON routes always goes to the server.
self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== location.origin || !(address.pathname in FILES)) return;
  event.respondWith(caches.open(CACHE).then((cache) => cache.match(address.pathname)).then((kept) => kept || fetch(event.request)));
});
