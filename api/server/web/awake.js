// Keeps the screen on while somebody is listened to; the browser drops that whenever the page is out of sight.

let wish = false;
let lock = null;

async function hold() {
  if (!wish || lock || document.hidden || !navigator.wakeLock) return;
  try {
    const held = await navigator.wakeLock.request("screen");
    if (!wish) { await held.release(); return; }
    lock = held;
    held.addEventListener("release", () => { if (lock === held) lock = null; });
  } catch { /* low battery, or the browser refuses: the screen goes off as it would anyway */ }
}

/** Keep the screen on, or let it go off again. */
export function awake(on) {
  wish = on;
  if (on) hold();
  else if (lock) { const held = lock; lock = null; held.release().catch(() => {}); }
}

document.addEventListener("visibilitychange", hold);
