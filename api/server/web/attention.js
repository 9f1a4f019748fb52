// When the tool listens, behind one interface: from press to press, while the button is held, or always.

const KEY = "ohmtrail.attention";
export const MODES = { press: "Press to begin, press to end", hold: "Only while Speak is held", always: "Always, from the start" };

/** How the person wants to be listened to. */
export function mode() {
  try { return MODES[localStorage.getItem(KEY)] ? localStorage.getItem(KEY) : "press"; } catch { return "press"; }
}

export function setMode(name) {
  try { localStorage.setItem(KEY, name); } catch { /* private window: it holds until reload */ }
}

/**
 * Let a button, or nothing at all, begin and end the listening.
 * @param {HTMLElement} button
 * @param {{on: boolean, start: () => Promise<void>, stop: () => Promise<void>, toggle: () => Promise<void>}} listening
 */
export function attend(button, listening) {
  button.addEventListener("click", () => { if (mode() !== "hold") listening.toggle(); });
  let held = false;
  button.addEventListener("pointerdown", async () => {
    if (mode() !== "hold") return;
    held = true;
    await listening.start();
    if (!held) await listening.stop(); // let go while the browser was still asking for the microphone
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) button.addEventListener(end, () => { held = false; if (mode() === "hold") listening.stop(); });
  if (mode() === "always") listening.start();
}
