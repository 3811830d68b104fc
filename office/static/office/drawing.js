// Row and drawing light each other: [data-dimension][data-mast] anywhere on the page against the same in svg.rig.
// With the pointer and the keyboard alike: rows light as focus reaches them; in the drawing the arrow keys step from
// dimension to dimension, Enter goes to the row. Pages that gain rows or drawings later (HTMX) need nothing more.
"use strict";

(() => {
  const hold = (element) => element?.closest?.("[data-dimension]");
  const inDrawing = (element) => Boolean(element.closest("svg.rig"));
  let lit = null;

  const twins = (element) => {
    const slug = CSS.escape(element.dataset.dimension);
    const mast = CSS.escape(element.dataset.mast || "main");
    return [...document.querySelectorAll(`[data-dimension="${slug}"]`)].filter(
      (twin) => CSS.escape(twin.dataset.mast || "main") === mast);
  };

  const light = (element) => {
    if (element === lit) return;
    if (lit) twins(lit).forEach((twin) => twin.classList.remove("is-lit"));
    lit = element || null;
    if (!lit) return;
    twins(lit).forEach((twin) => {
      twin.classList.add("is-lit");
      if (inDrawing(twin) && !inDrawing(lit)) bringIntoSight(twin);
    });
  };

  // A drawing taller than the window scrolls in its own column; the page itself stays where it is.
  const bringIntoSight = (group) => {
    const column = group.closest(".drawing");
    if (!column || column.scrollHeight <= column.clientHeight) return;
    const box = column.getBoundingClientRect();
    const top = Math.max(box.top, 0); // the column itself may reach beyond the window
    const bottom = Math.min(box.bottom, window.innerHeight);
    const place = group.getBoundingClientRect();
    if (!place.height || place.height > bottom - top) return;
    if (place.top < top) column.scrollTop -= top - place.top + 8;
    else if (place.bottom > bottom) column.scrollTop += place.bottom - bottom + 8;
  };

  const rowOf = (group) => twins(group).find((twin) => !inDrawing(twin));

  const goToRow = (group) => {
    const row = rowOf(group);
    row?.scrollIntoView({ block: "center" });
    row?.focus({ preventScroll: true });
  };

  // What the arrow keys reach is read out.
  const voice = document.createElement("div");
  voice.className = "visually-hidden";
  voice.setAttribute("aria-live", "polite");

  const wordsOf = (group) => {
    const words = [...group.querySelectorAll("text")].map((text) => text.textContent);
    return words.length ? words.join(" ") : rowOf(group)?.innerText ?? "";
  };

  const STEPS = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };

  const onKey = (event) => {
    const svg = event.target.closest?.("svg.rig");
    if (!svg) return;
    const groups = [...svg.querySelectorAll("[data-dimension]")];
    const now = groups.findIndex((group) => group.classList.contains("is-lit"));
    if (event.key in STEPS) {
      event.preventDefault();
      const step = STEPS[event.key];
      const next = now < 0 ? (step > 0 ? 0 : groups.length - 1) : (now + step + groups.length) % groups.length;
      light(groups[next]);
      voice.textContent = wordsOf(groups[next]);
    } else if (event.key === "Enter" && now >= 0) {
      goToRow(groups[now]);
    } else if (event.key === "Escape") {
      light(null);
    }
  };

  const makeReachable = () => document.querySelectorAll("svg.rig:not([tabindex])").forEach((svg) => {
    svg.setAttribute("tabindex", "0");
    svg.setAttribute("aria-keyshortcuts", "ArrowLeft ArrowRight Enter");
  });

  document.addEventListener("pointerover", (event) => light(hold(event.target)));
  document.addEventListener("focusin", (event) => {
    if (!event.target.closest("svg.rig")) light(hold(event.target));
  });
  document.addEventListener("focusout", () => light(null));
  document.addEventListener("keydown", onKey);
  document.addEventListener("click", (event) => {
    const group = hold(event.target);
    if (group && inDrawing(group)) goToRow(group);
  });
  document.addEventListener("htmx:beforeSwap", () => light(null));
  document.addEventListener("htmx:load", makeReachable);
  document.addEventListener("DOMContentLoaded", () => {
    document.body.append(voice);
    makeReachable();
  });
})();
