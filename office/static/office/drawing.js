// Row and drawing light each other: [data-dimension][data-mast] anywhere on the page against the same in svg.rig.
// Works on pages that gain rows or drawings later (HTMX), with the pointer and with the keyboard alike.
"use strict";

(() => {
  const hold = (element) => element?.closest?.("[data-dimension]");
  let lit = null;

  const twins = (element) => {
    const slug = CSS.escape(element.dataset.dimension);
    const mast = CSS.escape(element.dataset.mast || "main");
    return document.querySelectorAll(`[data-dimension="${slug}"][data-mast="${mast}"]`);
  };

  const light = (element) => {
    if (element === lit) return;
    if (lit) twins(lit).forEach((twin) => twin.classList.remove("is-lit"));
    lit = element;
    if (lit) twins(lit).forEach((twin) => twin.classList.add("is-lit"));
  };

  document.addEventListener("pointerover", (event) => light(hold(event.target)));
  document.addEventListener("focusin", (event) => light(hold(event.target)));
  document.addEventListener("focusout", () => light(null));
  document.addEventListener("htmx:beforeSwap", () => light(null));

  // Pressing a dimension in the drawing brings its row into view.
  document.addEventListener("click", (event) => {
    const group = hold(event.target);
    if (!group || !group.closest("svg.rig")) return;
    const row = [...twins(group)].find((twin) => !twin.closest("svg.rig"));
    row?.scrollIntoView({ block: "center" });
    row?.focus({ preventScroll: true });
  });
})();
