// What waits is always in sight: the bar with its count and reason, what was refused, where two devices differ, what other
// people typed here, and the way out by a file.
"use strict";

(() => {
  const { make, button, mark, fill, count, clock } = Dock;
  const FORMAT = "dock-waiting";

  /** What is on its way or stuck, for one page and one person. */
  const sort = (items, page, me) => {
    const here = items.filter((one) => one.page === page);
    const mine = here.filter((one) => !me || one.by === me.key);
    return {
      waiting: mine.filter((one) => one.status === "waiting"),
      refused: mine.filter((one) => one.status === "refused"),
      strangers: me ? here.filter((one) => one.by !== me.key) : [],
      elsewhere: items.filter((one) => one.page !== page && (!me || one.by === me.key)),
      unkept: mine.filter((one) => one.unkept),
    };
  };

  const whyWaiting = (sender) => ({
    dead: "The office cannot be reached now; it is tried again by itself.",
    signed_out: "The sign-in has run out.",
    refused: `The office says: ${sender.refusal}`,
  })[sender.reach] || "They are on their way.";

  /** The bar's words and whether it has to be looked at. */
  const barOf = ({ waiting, unkept, photos }, sender) => {
    const what = [waiting.length ? count(waiting.length, "reading") : "", photos ? count(photos, "photo") : ""].filter(Boolean).join(" and ");
    const many = waiting.length + photos > 1;
    if (unkept.length) {
      return { shape: "stop", tone: "signal", text: `${count(unkept.length, "reading")} NOT kept by this device: only in this open page. Do not close it; save them to a file, or wait until the office has them.` };
    }
    if (what) return { shape: "sand", tone: "firm", text: `${what} ${many ? "wait" : "waits"} here, not yet with the office. ${whyWaiting(sender)}` };
    if (sender.reach === "dead") return { shape: "pause", tone: "", text: "Nothing waits here. The office cannot be reached now; what you type is kept on this device." };
    if (sender.reach === "signed_out") return { shape: "pause", tone: "", text: "Nothing waits here. The sign-in has run out; what you type is kept on this device." };
    if (sender.reach === "refused") return { shape: "stop", tone: "signal", text: `The office says: ${sender.refusal}` };
    if (sender.reach === "unknown") return { shape: "ring_dotted", tone: "", text: "Asking the office…" };
    return { shape: "tick", tone: "", text: `The office has everything (${clock(sender.reachedAt)}).` };
  };

  const showBar = (root, groups, sender, acts) => {
    const bar = barOf(groups, sender);
    const some = groups.waiting.length + groups.photos > 0;
    const words = root.querySelector(".dock-bar-words") || root.appendChild(make("div.dock-bar-words", { role: "status" }));
    const tools = root.querySelector(".dock-bar-tools") || root.appendChild(make("div.dock-bar-tools"));
    Dock.say(words, bar.text, mark(bar.shape, bar.text, bar.tone));
    root.dataset.reach = sender.reach;
    root.dataset.waiting = String(groups.waiting.length);
    fill(tools,
      sender.reach === "signed_out" ? make("a.button.button-first", { href: acts.signInAddress(), data: { focus: "sign-in" } }, groups.waiting.length ? `Sign in again to send ${count(groups.waiting.length, "reading")}` : "Sign in again") : "",
      some && sender.reach !== "signed_out" ? button("Send now", acts.sendNow, { data: { focus: "send" } }) : "",
      groups.waiting.length || groups.refused.length ? button("Save to a file", acts.saveFile, { icon: "download", data: { focus: "save" } }) : "");
  };

  const figureOf = (entry) => (entry.text ? Dock.written(entry) : { take_away: "take away", absent: "not on this rig", present: "is on this rig", settle: "choice" }[entry.kind] || entry.kind);

  const refusedOne = (entry, acts) => make("li", {}, make("p", {}, make("strong", {}, `${entry.rowName || entry.row}: ${figureOf(entry)}`)),
    make("p.field-error", {}, Dock.shape("stop"), make("span", {}, entry.sentence)),
    make("div.dock-acts", {},
      entry.kind === "take" || entry.kind === "amend" ? button("Change it", () => acts.changeRefused(entry), { hidden: entry.rowName, data: { focus: `change-${entry.token}` } }) : "",
      button("Send it again", () => acts.retryRefused(entry), { hidden: entry.rowName, data: { focus: `retry-${entry.token}` } }),
      button("Throw it away", () => acts.discardRefused(entry), { grave: true, hidden: entry.rowName, data: { focus: `discard-${entry.token}` } })));

  const saying = (take) => (take.withdrawn || take.withdraws ? "taken away" : Dock.written(take));

  const side = (word, take, choose) => make("div.dock-side", {}, make("p.small", {}, [word, take.by, clock(take.at)].filter(Boolean).join(", ")),
    make("p.dock-side-figure", {}, saying(take)), take.instrument ? make("p.small", {}, take.instrument) : "", choose);

  /** Two values for one take: both are shown, a person chooses. */
  const conflictOne = (one, name, acts) => {
    const mine = one.mine || {};
    const theirs = one.theirs || {};
    return make("li", {}, make("p", {}, make("strong", {}, `${name}, take ${one.take}`), " was typed twice, and the figures differ. Nothing has been overwritten."),
      one.chosen ? make("p.small", {}, "Your choice waits here.") : make("div.dock-sides", {},
        side("In the record", theirs, button(`Keep ${saying(theirs)}`, () => acts.settle(one, "theirs"), { hidden: name, data: { focus: `theirs-${one.token}` } })),
        side("Came later", mine, button(`Keep ${saying(mine)}`, () => acts.settle(one, "mine"), { hidden: name, data: { focus: `mine-${one.token}` } }))),
      one.chosen || mine.withdraws ? "" : button("Keep both: the later one as the next take", () => acts.settle(one, "next_take"), { link: true, hidden: name, data: { focus: `both-${one.token}` } }));
  };

  const byPerson = (items) => Object.entries(items.reduce((all, one) => ({ ...all, [one.byName || "somebody else"]: (all[one.byName || "somebody else"] || 0) + 1 }), {}));

  /** Everything that needs a person, above the reading. */
  const showTroubles = (root, { groups, refusedPhotos, conflicts, rows, state, trouble, secure }, acts) => {
    const nameOf = (key) => { const row = rows.find((one) => one.key === key); return row ? Dock.nameOf(row) : key; };
    const open = conflicts.filter((one) => !one.chosen || groups.waiting.length);
    fill(root,
      trouble ? make("section.dock-trouble", { role: "alert" }, make("h2", {}, mark("stop", "This device keeps nothing", "signal")),
        make("p", {}, `Its storage refused (${trouble}). A reading counts as kept only when the office has it: save what waits to a file before you leave, or take the paper sheet.`)) : "",
      state && !state.writable ? make("p.dock-trouble", {}, mark("pause", state.why_not || "Readings cannot be added now.", "firm")) : "",
      open.length ? make("section.dock-trouble", { "aria-label": "Two readings differ" }, make("h2", {}, mark("swap", `${count(open.length, "reading")} typed twice with different figures`, "signal")), make("ul", {}, open.map((one) => conflictOne(one, nameOf(one.row), acts)))) : "",
      groups.refused.length ? make("section.dock-trouble", { "aria-label": "Refused" }, make("h2", {}, mark("stop", `${count(groups.refused.length, "reading")} refused, kept here for you`, "signal")), make("ul", {}, groups.refused.map((one) => refusedOne(one, acts)))) : "",
      refusedPhotos.map((one) => make("div.dock-trouble", {}, make("p.field-error", {}, Dock.shape("stop"), make("span", {}, `A photo was refused: ${one.sentence}`)), button("Throw it away", () => acts.discardPhoto(one), { grave: true, data: { focus: `photo-${one.token}` } }))),
      byPerson(groups.strangers).map(([name, n]) => make("p.dock-trouble", {}, mark("person", `${count(n, "reading")} typed by ${name} ${n > 1 ? "wait" : "waits"} on this device. ${name} must sign in here to send ${n > 1 ? "them" : "it"}.`, "firm"))),
      elsewhere(groups.elsewhere),
      secure ? "" : make("p.note", {}, acts.insecureSentence()));
  };

  /** Readings of other pages that wait on this device, each with its address. */
  const elsewhere = (items) => {
    const pages = new Map();
    items.forEach((one) => pages.set(one.page, { title: one.title, address: one.address, n: (pages.get(one.page)?.n || 0) + 1 }));
    return [...pages.values()].map(({ title, address, n }) => make("p.dock-trouble", {}, mark("sand", `${count(n, "reading")} of `, "firm"), make("a", { href: address }, title), ` ${n > 1 ? "wait" : "waits"} on this device; open that page to send ${n > 1 ? "them" : "it"}.`));
  };

  /** The file: what waits or was refused, as the contract of the page has it. Only the person who typed may save it. */
  const fileOf = (page, title, entries) => new Blob([JSON.stringify({ format: FORMAT, version: 1, key: page, title, entries: entries.map(({ seq, attempts, unkept, ...one }) => one) }, null, 1)], { type: "application/json" });

  const saveFile = (page, title, entries) => {
    const address = URL.createObjectURL(fileOf(page, title, entries));
    const link = make("a", { href: address, download: `${title.replace(/[^\p{L}\p{N}]+/gu, "-").toLowerCase() || "visit"}-waiting.json`, hidden: true });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 10_000);
  };

  const isText = (value) => typeof value === "string" && value.length <= 500;
  const KINDS = new Set(["take", "amend", "take_away", "absent", "present", "settle"]);
  const sound = (one) => one && isText(one.token) && /^[\w-]{22,}$/.test(one.token) && KINDS.has(one.kind) && isText(one.row ?? "") && isText(one.by);

  /**
   * What a file holds, or a sentence that says what is wrong with it.
   * @returns {{entries: object[], error: string}}
   */
  const readFile = (text, page, title) => {
    let given;
    try { given = JSON.parse(text); } catch { return { entries: [], error: "This is no file of waiting readings: JSON is expected." }; }
    if (given?.format !== FORMAT || given.version !== 1 || !Array.isArray(given.entries)) return { entries: [], error: "This is no file of waiting readings, or one of a newer office." };
    if (given.key !== page) return { entries: [], error: `The file belongs to ${given.title || given.key}; this page is ${title}. Open that page and read it in there.` };
    const bad = given.entries.findIndex((one) => !sound(one));
    if (bad >= 0) return { entries: [], error: `Entry ${bad + 1} of the file is damaged; nothing was read in.` };
    const FIELDS = ["token", "kind", "row", "position", "take", "text", "unit", "instrument", "remark", "reason", "typed_at", "by", "replaces", "choose", "byName", "rowName", "title", "address"];
    return { entries: given.entries.map((one) => Object.fromEntries(FIELDS.filter((name) => one[name] !== undefined).map((name) => [name, one[name]]))), error: "" };
  };

  Object.assign(Dock, { sortWaiting: sort, showBar, showTroubles, saveFile, readFile });
})();
