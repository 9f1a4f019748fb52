// Keeps the page itself in the browser, so that it opens while the server is away. A newer page takes over at the start of
// the next visit, whole or not at all.

const ADDRESS = "/sw.js";

export async function keepPage() {
  if (!("serviceWorker" in navigator) || !window.isSecureContext) return;
  const policy = window.trustedTypes && trustedTypes.createPolicy("ohmtrail-worker", { createScriptURL: (url) => (url === ADDRESS ? url : "") });
  try {
    const kept = await navigator.serviceWorker.register(policy ? policy.createScriptURL(ADDRESS) : ADDRESS, { updateViaCache: "none" });
    if (!kept.waiting || !navigator.serviceWorker.controller) return;
    // Nothing was done on this page yet, so it may begin anew with its newer self.
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
    kept.waiting.postMessage("take over");
  } catch { /* behind a certificate error, in a private window or while the server is away: the page works, but does not open without it */ }
}
