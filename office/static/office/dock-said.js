// What was done last, read back with what the office's checks say of it; and the live panel: figures, checks, drawing.
"use strict";

(() => {
  const { make, fill, button, mark } = Dock;
  const GRADES = { stop: "stop", ask: "ask", note: "note" };

  const doneInWords = (last) => {
    const what = `${last.rowName}${last.take ? `, take ${last.take}` : ""}`;
    if (last.kind === "take" || last.kind === "amend") return `${what}: ${Dock.inWords(last.text) ? Dock.readBack(last.text, last.unit || "mm") : last.text}.`;
    return { take_away: `${what} is taken away.`, absent: `${last.rowName} is not on this rig.`, present: `${last.rowName} is on this rig again.`, settle: `Your choice for ${last.rowName} is taken.` }[last.kind] || "";
  };

  const whereInWords = (last, waits) => {
    if (last.kept === false) return ["stop", "NOT kept by this device", "signal"];
    if (last.outcome === "conflict") return ["swap", "another device has another figure: see above", "signal"];
    if (last.outcome === "refused") return ["stop", "refused: see above", "signal"];
    if (last.outcome === "stored" || last.outcome === "already" || !waits) return ["disc", "with the office", ""];
    return ["sand", "kept here, not yet with the office", "firm"];
  };

  const MOST = 2; // findings beside the readout; all of them stand in the panel

  /** Findings that concern a reading, still to be settled, the gravest first. */
  const checksOf = (panel, key) => (panel.checks || []).filter((one) => !one.settled && one.rows?.includes(key))
    .sort((one, other) => Object.keys(GRADES).indexOf(one.grade) - Object.keys(GRADES).indexOf(other.grade));

  /** `root` stands above the readout, where the eye is; `voice` stays where it is on the page and is read aloud. */
  const showSaid = (root, voice, app) => {
    const { last } = app;
    const shown = root.querySelector(".dock-said-words") || root.appendChild(make("div.dock-said-words"));
    const acts = root.querySelector(".dock-said-acts") || root.appendChild(make("div.dock-said-acts"));
    root.hidden = !last;
    if (!last) return;
    if (last.undone) { [voice, shown].forEach((one) => Dock.say(one, `Undone: ${doneInWords(last.undone)}`)); fill(acts); return; }
    const waits = app.entries.some((one) => one.token === last.token);
    const [shape, word, tone] = whereInWords(last, waits);
    const row = app.rowLike(last.place);
    const all = row && last.outcome ? checksOf(app.state.panel, row.key) : [];
    const findings = all.slice(0, MOST);
    const more = all.length - findings.length;
    const words = doneInWords(last);
    // What the office adds: that another device had the same figure, or that the rig's description says otherwise, or a take's other number.
    const sentence = last.outcome === "already" || last.moved || (last.outcome && last.kind === "absent") ? last.sentence : "";
    const aloud = [words, `${word}.`, sentence, ...findings.map((one) => one.message)].filter(Boolean).join(" ");
    Dock.say(voice, aloud);
    Dock.say(shown, aloud, make("p.dock-said-back", {}, words, " ", mark(shape, word, tone)),
      sentence ? make("p", {}, sentence) : "", findings.map((one) => make("p.dock-said-check", {}, mark(GRADES[one.grade] || "note", one.message, one.grade === "stop" ? "signal" : "firm"))),
      more ? make("p.small", {}, `and ${more} more below, under “What the checks say”`) : "");
    const mayUndo = ["take"].includes(last.kind) && !app.state.signed_once && app.state.writable && last.outcome !== "refused" && last.outcome !== "conflict";
    fill(acts, mayUndo ? button("Undo", () => app.undo(), { data: { focus: "undo" }, hidden: words }) : "",
      row && row.key !== app.shown ? button("Take it again", () => app.go(row.key), { data: { focus: "repeat" }, hidden: row.name }) : "",
      !all.length && app.state.panel.next?.row && app.state.panel.next.row !== app.shown ? make("p.dock-next.small", {}, `${app.state.panel.next.sentence} `, button("Go there", () => app.go(app.state.panel.next.row), { link: true, data: { focus: "next" } })) : "");
  };

  let drawn = "";

  /** The panel as the office drew it; replaced only when it is another, so that nobody loses their place in it. */
  const showPanel = (panel) => {
    const words = document.getElementById("dock-panel");
    const drawing = document.getElementById("dock-drawing");
    document.getElementById("dock-count").textContent = `${panel.read} read, ${panel.missing} missing`;
    if (drawn === panel.html + panel.drawing && words.firstChild) return;
    drawn = panel.html + panel.drawing;
    words.innerHTML = panel.html; // the office's own page, escaped there
    drawing.innerHTML = panel.drawing;
    document.dispatchEvent(new CustomEvent("htmx:load")); // drawing.js makes new drawings reachable
  };

  Object.assign(Dock, { showSaid, showPanel });
})();
