// Builds nodes; text is only ever text. Nothing in the page assigns markup.

/**
 * Make an element.
 * @param {string} tag tag name, with classes after dots: "p.value.big"
 * @param {Object<string, any>} [props] attributes; functions named on… are listeners; null and false are left out
 * @param {...any} children nodes, texts, arrays of them; null and false are left out
 * @returns {HTMLElement}
 */
export function el(tag, props = {}, ...children) {
  const [name, ...classes] = tag.split(".");
  const node = document.createElement(name);
  if (classes.length) node.className = classes.join(" ");
  for (const [key, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked" || key === "disabled" || key === "hidden") node[key] = value;
    else node.setAttribute(key, value === true ? "" : String(value));
  }
  node.append(...children.flat(9).filter((c) => c !== null && c !== undefined && c !== false && c !== ""));
  return node;
}

/** Replace a node's children. */
export function fill(node, ...children) {
  node.replaceChildren(...children.flat(9).filter((c) => c !== null && c !== undefined && c !== false));
}

/** Say something in the status line, which screen readers announce; errors stay longer. */
export function say(text, kind = "") {
  const line = document.getElementById("status");
  line.className = kind;
  line.textContent = text;
  // Never over the discharge that is counted down, nor over the caution: below them, where there are any.
  const alarms = document.querySelector(".alarms");
  line.style.top = alarms ? `${Math.max(0, alarms.getBoundingClientRect().bottom) + 6}px` : "";
  clearTimeout(say.timer);
  if (text) say.timer = setTimeout(() => { line.textContent = ""; line.className = ""; }, kind === "error" ? 12000 : 5000);
}
say.timer = 0;
