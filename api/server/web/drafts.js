// What was typed and not sent survives a reload and a restart of the phone.

const PREFIX = "ohmtrail.draft.";

function read(key) {
  try { return JSON.parse(localStorage.getItem(PREFIX + key)) || null; } catch { return null; }
}

/** Forget what was typed: it was sent. */
export function dropDraft(key) {
  try { localStorage.removeItem(PREFIX + key); } catch { /* private window: there is none */ }
}

const fields = (form) => [...form.querySelectorAll("input:not([type=file]), select, textarea")];
const value = (field) => (field.type === "checkbox" ? field.checked : field.value);

/**
 * Keep what is typed into a form, and put back what was typed before.
 * @param {HTMLElement} form
 * @param {string} key names the form, the same after a reload
 * @param {(count: number) => void} [grow] makes the form as long as it was, by its number of fields
 * @returns {boolean} whether something was put back
 */
export function keepDraft(form, key, grow) {
  const before = read(key);
  if (before && grow) grow(before.length);
  const found = fields(form);
  const fits = Array.isArray(before) && before.length === found.length;
  if (fits) found.forEach((field, i) => { if (field.type === "checkbox") field.checked = before[i]; else field.value = before[i]; });
  form.addEventListener("input", () => {
    try { localStorage.setItem(PREFIX + key, JSON.stringify(fields(form).map(value))); } catch { /* full or private: it lasts until reload */ }
  });
  return fits;
}
