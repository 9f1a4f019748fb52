// Run inside the page: what cannot be read, and what cannot be hit. Each returns a list of offenders.

({
  // WCAG 2.2: relative luminance, contrast ratio, 1.4.3 (4.5 to 1 for text).
  faint(least) {
    const numbers = (colour) => colour.match(/[0-9.]+/g).map(Number);
    const linear = (v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4);
    const light = (colour) => {
      const [red, green, blue] = numbers(colour).slice(0, 3).map(linear);
      return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
    };
    const ground = (element) => {
      for (; element; element = element.parentElement) {
        const colour = getComputedStyle(element).backgroundColor;
        if (numbers(colour).length < 4 || numbers(colour)[3] > 0) return colour;
      }
      return "rgb(255, 255, 255)";
    };
    const poor = [];
    for (const e of document.querySelectorAll("main *, header *")) {
      if (![...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim())) continue;
      if (!e.checkVisibility() || e.disabled || e.closest("option, .hidden")) continue;
      const [a, b] = [light(getComputedStyle(e).color), light(ground(e))].sort((x, y) => y - x);
      const ratio = (a + 0.05) / (b + 0.05);
      if (ratio < least) poor.push(`${e.tagName}.${e.className} ${e.textContent.trim().slice(0, 30)} ${ratio.toFixed(2)}`);
    }
    return poor;
  },

  small(least) {
    const kinds = "button, label.button, a.button, select, input:not([type=file]):not([type=checkbox])";
    return [...document.querySelectorAll(kinds)]
      .filter((e) => e.checkVisibility())
      .map((e) => [e.textContent.trim().slice(0, 20) || e.name, e.getBoundingClientRect()])
      .filter(([, box]) => box.width < least || box.height < least)
      .map(([text, box]) => `${text} ${box.width.toFixed(0)}x${box.height.toFixed(0)}`);
  },

  // What a person needs at work and cannot see: cut off by the screen, or by something that would have to be scrolled.
  hidden() {
    const needed = ".measure button, .measure .state, .measure .big, .measure .sentence, .measure .doubts, .alarms > *";
    return [...document.querySelectorAll(needed)].filter((e) => e.checkVisibility()).filter((e) => {
      const box = e.getBoundingClientRect();
      const frame = e.closest(".ask, .reading");
      const limit = frame ? frame.getBoundingClientRect() : { top: 0, bottom: innerHeight, left: 0, right: innerWidth };
      return box.top < limit.top - 1 || box.bottom > Math.min(limit.bottom, innerHeight) + 1 || box.left < limit.left - 1 || box.right > Math.min(limit.right, innerWidth) + 1;
    }).map((e) => `${e.tagName}.${e.className} ${e.textContent.trim().slice(0, 20)}`);
  },
});
