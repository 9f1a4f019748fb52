// How the page looks: as the device does, light, dark, or black on white with heavy lines for sunlight.

const KEY = "ohmtrail.theme";
export const THEMES = { device: "As the device", light: "Light", dark: "Dark", sun: "Sunlight" };

export function theme() {
  try { return THEMES[localStorage.getItem(KEY)] ? localStorage.getItem(KEY) : "device"; } catch { return "device"; }
}

/** Take one from now on. */
export function setTheme(name) {
  try { localStorage.setItem(KEY, name); } catch { /* private window: it holds until reload */ }
  wear(name);
}

function wear(name) {
  const root = document.documentElement;
  if (name === "device") delete root.dataset.theme;
  else root.dataset.theme = name;
  const bar = document.querySelector("meta[name=theme-color]");
  if (bar) bar.content = getComputedStyle(root).getPropertyValue("--card").trim();
}

wear(theme());
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => wear(theme()));
