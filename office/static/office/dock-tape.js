// Two small pictures beside the keypad: the stretch of tape on which the typed figure lies, to hold against the real one,
// and the place on the rig where the reading goes. Both are decoration for the eye; the words say the same.
"use strict";

(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const WIDTH = 336;
  const STEP = 8; // px from tick to tick, as on the office's own tape edge

  const draw = (name, attributes, text = "") => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.textContent = text;
    return element;
  };

  const METRIC = { value: (text) => text, long: 10, middle: 5, label: (tick) => Dock.spaced(String(tick)) };
  const IMPERIAL = { long: 16, middle: 8, label: (tick) => (tick % 192 ? `${Math.floor(tick / 192)}′ ${Math.floor((tick % 192) / 16)}″` : `${tick / 192}′`) };

  /**
   * The tape around a figure.
   * @param {number} at in ticks: millimetres, or sixteenths of an inch
   * @param {boolean} feet which of the two
   */
  const tape = (at, feet) => {
    const kind = feet ? IMPERIAL : METRIC;
    const svg = draw("svg", { viewBox: `0 0 ${WIDTH} 40`, class: "dock-tape", "aria-hidden": "true", focusable: "false" });
    svg.append(draw("line", { x1: 0, y1: 1, x2: WIDTH, y2: 1, stroke: "currentColor" }));
    if (!Number.isFinite(at) || at < 0) return svg;
    const half = WIDTH / STEP / 2;
    for (let tick = Math.max(0, Math.ceil(at - half)); tick <= at + half; tick += 1) {
      const x = WIDTH / 2 + (tick - at) * STEP;
      const length = tick % kind.long === 0 ? 18 : tick % kind.middle === 0 ? 12 : 7;
      svg.append(draw("line", { x1: x, y1: 1, x2: x, y2: length, stroke: "currentColor" }));
      if (tick % kind.long === 0) svg.append(draw("text", { x, y: 33, "text-anchor": "middle", class: "dock-tape-figure" }, kind.label(tick)));
    }
    svg.append(draw("path", { d: `M${WIDTH / 2} 0v24`, class: "dock-tape-hair" }));
    return svg;
  };

  /** The groups of a drawing that belong to a reading. */
  const groupsOf = (svg, row) => [...svg.querySelectorAll("[data-dimension]")].filter(
    (group) => row.dimensions.includes(group.dataset.dimension) && (group.dataset.mast || "main") === (row.mast || "main"));

  /** A copy without names: no id twice on a page. */
  const copyOf = (original) => {
    const svg = original.cloneNode(true);
    svg.querySelectorAll("title, desc").forEach((one) => one.remove());
    [svg, ...svg.querySelectorAll("[id]")].forEach((one) => one.removeAttribute("id"));
    ["role", "aria-labelledby", "tabindex", "aria-keyshortcuts", "width", "height"].forEach((name) => svg.removeAttribute(name));
    svg.setAttribute("aria-hidden", "true");
    svg.classList.replace("rig", "dock-rig");
    return svg;
  };

  /**
   * Show in `box` where the reading lies: the drawing, nearer to its lit dimension.
   * @param {Element|null} original the drawing of the panel
   */
  const showPlace = (box, original, row) => {
    box.hidden = !original || !groupsOf(original, row).length;
    if (box.hidden) { box.replaceChildren(); return; }
    const svg = copyOf(original);
    box.replaceChildren(svg);
    const groups = groupsOf(svg, row);
    groups.forEach((group) => group.classList.add("is-lit"));
    const [, , width, height] = svg.getAttribute("viewBox").split(" ").map(Number);
    const ratio = box.clientWidth / Math.max(box.clientHeight, 1) || 2;
    const boxes = groups.map((group) => group.getBBox()).filter((one) => one.width || one.height);
    if (!boxes.length) return;
    const left = Math.min(...boxes.map((one) => one.x));
    const top = Math.min(...boxes.map((one) => one.y));
    const right = Math.max(...boxes.map((one) => one.x + one.width));
    const bottom = Math.max(...boxes.map((one) => one.y + one.height));
    const high = Math.min(height, Math.max(bottom - top + 50, (right - left + 50) / ratio, 170));
    const wide = high * ratio;
    const x = Math.min(Math.max((left + right - wide) / 2, Math.min(0, width - wide)), Math.max(0, width - wide));
    const y = Math.min(Math.max((top + bottom - high) / 2, 0), height - high);
    svg.setAttribute("viewBox", [wide > width ? (width - wide) / 2 : x, y, wide, high].map((one) => one.toFixed(1)).join(" "));
  };

  Object.assign(Dock, { tape, showPlace });
})();
