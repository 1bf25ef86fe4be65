"use strict";
// The same thing everywhere: what the pointer or the focus is on is marked in every table and
// drawing. A tap holds it until the next tap; Escape lets go.
(() => {
  const MARKED = "[data-part], [data-pad], [data-net]";
  const all = [...document.querySelectorAll(MARKED)];
  const words = (element, name) => (element.dataset[name] ?? "").split("\u241f").filter(Boolean);
  const meet = (a, b) => a.some((word) => b.includes(word));
  let held = null;
  let shown = null;

  function same(from, to) {
    const pads = words(from, "pad");
    if (pads.length) {
      const there = words(to, "pad");
      return there.length ? meet(pads, there) : meet(words(from, "part"), words(to, "part"));
    }
    const parts = words(from, "part");
    if (parts.length) return meet(parts, words(to, "part"));
    return meet(words(from, "net"), words(to, "net"));
  }

  function show(element) {
    if (element === shown) return;
    shown = element;
    for (const each of all) each.classList.toggle("lit", element !== null && same(element, each));
  }

  const thing = (node) => (node instanceof Element ? node.closest(MARKED) : null);
  const rest = () => held ?? thing(document.activeElement);

  document.addEventListener("pointerover", (event) => show(thing(event.target) ?? rest()));
  document.addEventListener("pointerleave", () => show(rest()));
  document.addEventListener("focusin", (event) => { held = null; show(thing(event.target)); });
  document.addEventListener("focusout", () => show(held));
  document.addEventListener("click", (event) => {
    const found = thing(event.target);
    held = found === held ? null : found;
    show(held);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { held = null; show(null); }
  });
})();
