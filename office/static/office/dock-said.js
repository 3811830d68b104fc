// What was done last, read back with what the office's checks say of it; and the live panel: figures, checks, drawing.
"use strict";

(() => {
  const { make, fill, button, mark } = Dock;
  const GRADES = { stop: "stop", ask: "ask", note: "note" };

  const doneInWords = (last) => {
    const what = `${last.rowName}${last.take ? `, take ${last.take}` : ""}`;
    if (last.kind === "take" || last.kind === "amend") return `${what}: ${last.text && Dock.inWords(last.text) ? Dock.readBack(last.text, last.unit || "mm") : last.text}.`;
    return { take_away: `${what} is taken away.`, absent: `${last.rowName} is not on this rig.`, present: `${last.rowName} is on this rig again.`, settle: `Your choice for ${last.rowName} is taken.` }[last.kind] || "";
  };

  const whereInWords = (last, waits) => {
    if (last.kept === false) return ["stop", "NOT kept by this device", "signal"];
    if (last.outcome === "conflict") return ["swap", "another device has another figure: see above", "signal"];
    if (last.outcome === "refused") return ["stop", "refused: see above", "signal"];
    if (last.outcome === "stored" || last.outcome === "already" || !waits) return ["disc", "with the office", ""];
    return ["sand", "kept here, not yet with the office", "firm"];
  };

  /** Findings that concern a reading, still to be settled. */
  const checksOf = (panel, key) => (panel.checks || []).filter((one) => !one.settled && one.rows?.includes(key));

  const showSaid = (root, app) => {
    const { last } = app;
    const voice = root.querySelector(".dock-said-words") || root.appendChild(make("div.dock-said-words", { role: "status" }));
    const acts = root.querySelector(".dock-said-acts") || root.appendChild(make("div.dock-said-acts"));
    root.hidden = !last;
    if (!last) return;
    if (last.undone) { Dock.say(voice, `Undone: ${doneInWords(last.undone)}`); fill(acts); return; }
    const waits = app.entries.some((one) => one.token === last.token);
    const [shape, word, tone] = whereInWords(last, waits);
    const row = app.rowLike(last.place);
    const findings = row && last.outcome ? checksOf(app.state.panel, row.key) : [];
    const words = doneInWords(last);
    // What the office adds: that another device had the same figure, or that the rig's description says otherwise.
    const sentence = last.outcome === "already" || (last.outcome && last.kind === "absent") ? last.sentence : "";
    Dock.say(voice, words + word + sentence + findings.map((one) => one.message).join(), make("p.dock-said-back", {}, words, " ", mark(shape, word, tone)),
      sentence ? make("p", {}, sentence) : "", findings.map((one) => make("p.dock-said-check", {}, mark(GRADES[one.grade] || "note", one.message, one.grade === "stop" ? "signal" : "firm"))));
    const mayUndo = ["take"].includes(last.kind) && !app.state.signed_once && app.state.writable && last.outcome !== "refused" && last.outcome !== "conflict";
    fill(acts, mayUndo ? button("Undo", () => app.undo(), { data: { focus: "undo" }, hidden: words }) : "",
      row && row.key !== app.shown ? button("Take it again", () => app.go(row.key), { data: { focus: "repeat" }, hidden: row.name }) : "",
      app.state.panel.next?.row && app.state.panel.next.row !== app.shown ? make("p.dock-next.small", {}, `${app.state.panel.next.sentence} `, button("Go there", () => app.go(app.state.panel.next.row), { link: true, data: { focus: "next" } })) : "");
  };

  let shown = "";

  /** The panel as the office drew it; replaced only when it is another, so that nobody loses their place in it. */
  const showPanel = (panel) => {
    const words = document.getElementById("dock-panel");
    const drawing = document.getElementById("dock-drawing");
    document.getElementById("dock-count").textContent = `${panel.read} read, ${panel.missing} missing`;
    if (shown === panel.html + panel.drawing && words.firstChild) return;
    shown = panel.html + panel.drawing;
    words.innerHTML = panel.html; // the office's own page, escaped there
    drawing.innerHTML = panel.drawing;
    document.dispatchEvent(new CustomEvent("htmx:load")); // drawing.js makes new drawings reachable
  };

  Object.assign(Dock, { showSaid, showPanel });
})();
