// The dock page: joins the office's document with what waits on this device, and turns what the person does into entries.
// It knows one document and a few addresses, nothing of visits: whoever serves the same documents can use the same page.
"use strict";

(() => {
  const { make, fill, button, mark } = Dock;
  const region = (name) => document.getElementById(`dock-${name}`);

  class App {
    constructor(root) {
      const { key, stateUrl, sendUrl, photoUrl, signInUrl } = root.dataset;
      this.root = root;
      this.page = key;
      this.state = null;
      this.shown = null; // the row in the readout
      this.me = null; // who is known to look where there is no document
      this.last = null; // what was done last, to be read back and undone
      this.entries = [];
      this.photos = [];
      this.store = new Dock.Store();
      this.settings = new Dock.Settings(() => this.state);
      this.sender = new Dock.Sender(this.store, { page: key, stateUrl, sendUrl, photoUrl, signInUrl }, {
        me: () => this.state && this.fresh && this.state.me,
        onState: (state, etag) => this.takeState(state, etag),
        onChange: () => this.refresh(),
        onAnswers: (answers) => this.takeAnswers(answers),
        onShut: (who) => this.forget(who),
      });
      this.reading = new Dock.Reading(region("one"), this);
      this.photoList = new Dock.Photos(region("photos"), this);
    }

    async begin() {
      region("app").hidden = false;
      region("plain").hidden = true;
      await this.store.open();
      const kept = await this.store.keptState(this.page);
      if (kept) this.state = kept.state;
      await this.refresh();
      this.listen();
      navigator.storage?.persist?.().catch(() => {});
      this.sender.now();
    }

    listen() {
      const again = () => this.sender.now();
      window.addEventListener("online", again);
      window.addEventListener("pageshow", (event) => { if (event.persisted) again(); });
      document.addEventListener("visibilitychange", () => { if (!document.hidden) again(); });
      this.store.onTold(() => this.refresh());
      window.addEventListener("beforeunload", (event) => { if (this.groups?.unkept.length) event.preventDefault(); });
      region("modes").addEventListener("click", (event) => { const mode = event.target.closest("[data-mode]")?.dataset.mode; if (mode) this.showMode(mode); });
      region("file").addEventListener("change", (event) => this.readFile(event.target));
    }

    /** The office's document: the only way in which anything here becomes "with the office". */
    async takeState(state, etag) {
      this.state = state;
      this.fresh = true; // who signs is known from an answer of now, not from what was kept
      await this.store.keepState(this.page, state, etag);
      await this.refresh();
    }

    /** The page is shut to whoever is signed in. To anybody but the person it was kept for it shows no more than counts. */
    forget(who) {
      this.fresh = false;
      if (who && who === this.state?.me.key) return;
      this.state = null;
      this.me = { key: "", name: "" };
      this.shown = this.last = this.reading.row = null;
      ["voice", "one", "list", "panel", "drawing"].forEach((name) => region(name).replaceChildren());
      this.store.forgetState(this.page);
    }

    takeAnswers(answers) {
      const mine = this.last && answers.find((one) => one.token === this.last.token);
      if (mine) Object.assign(this.last, { outcome: mine.outcome, sentence: mine.sentence || "", moved: mine.outcome === "stored" && this.last.kind === "take" && Boolean(mine.current) && mine.current.take !== this.last.take });
      this.render();
    }

    async refresh() {
      const items = await this.store.all("entries");
      this.entries = items.filter((one) => one.page === this.page);
      this.photos = (await this.store.all("photos")).filter((one) => one.page === this.page);
      this.groups = Dock.sortWaiting(items, this.page, this.state?.me || this.me);
      this.groups.photos = this.photos.filter((one) => one.status === "waiting").length;
      this.render();
    }

    render() { this.steadily(() => this.renderAll()); }

    renderAll() {
      Dock.showBar(region("bar"), this.groups, this.sender, {
        sendNow: () => this.sender.now(), saveFile: () => this.saveFile(), signInAddress: () => this.signInAddress(),
      });
      const merged = this.state ? Dock.merge(this.state, this.entries.filter((one) => one.by === this.state.me.key)) : { rows: [], conflicts: [] };
      this.rows = merged.rows;
      Dock.showTroubles(region("troubles"), {
        groups: this.groups, refusedPhotos: this.photos.filter((one) => one.status === "refused"), conflicts: merged.conflicts, rows: this.rows,
        state: this.state, trouble: this.store.trouble, secure: window.isSecureContext,
      }, this.acts());
      if (!this.state) { this.renderNothing(); return; }
      this.renderWork();
    }

    renderNothing() {
      const dead = this.sender.reach === "dead" || this.sender.reach === "signed_out" || this.sender.reach === "refused";
      region("work").hidden = true;
      fill(region("nothing"), make("p", {}, dead ? "This device has not seen this page with the office's answer yet, so it does not know the readings. What waits here is kept. Until the office answers, paper is the way." : "The readings are being fetched."));
    }

    renderWork() {
      region("work").hidden = false;
      region("nothing").hidden = true;
      const current = this.rows.find((row) => row.key === this.shown) || (this.shown && this.rowLike(this.reading.row)) || this.rows.find((row) => row.key === decodeURIComponent(location.hash.slice(4))) || Dock.nextRow(this.rows, "") || this.rows[0];
      if (!current) return;
      Dock.showPanel(this.state.panel);
      if (!this.reading.row || !Dock.samePlace(this.reading.row, current)) this.reading.show(current);
      else this.reading.update(current);
      this.shown = current.key;
      Dock.showList(region("list"), this.state.stations, this.rows, this.shown, (key) => { this.showMode("one"); this.go(key); });
      this.showSaid();
      this.photoList.update(this.state, this.photos.filter((one) => one.status === "waiting"), this.rows, this.shown);
      this.showMode(this.settings.kept.mode || "one", false);
    }

    /** The row of a place under whatever key it has now: a halyard that the office has come to know is renamed. */
    rowLike(place) { return place && this.rows.find((row) => Dock.samePlace(row, place)); }

    showSaid() { Dock.showSaid(this.reading.said, region("voice"), this); }

    /** What stands above the keys grows when the office answers; the keys stay under the thumb. */
    steadily(work) {
      const top = () => this.reading.root.querySelector(".dock-keys")?.getBoundingClientRect().top;
      const before = top();
      work();
      const moved = top() - before;
      if (moved && this.reading.root.contains(document.activeElement)) window.scrollBy({ top: moved, behavior: "instant" });
    }

    showMode(mode, keep = true) {
      if (keep) this.settings.keep({ mode });
      region("work").dataset.mode = mode;
      region("modes").querySelectorAll("[data-mode]").forEach((one) => one.setAttribute("aria-pressed", String(one.dataset.mode === mode)));
    }

    /** Go to a row; the address remembers it, so that a reload stays there. */
    go(key, options = { focus: true }) {
      const row = this.rows.find((one) => one.key === key);
      if (!row) return;
      this.shown = row.key;
      history.replaceState(null, "", `#at-${encodeURIComponent(row.key)}`);
      this.steadily(() => { this.reading.show(row, options); this.renderAll(); });
      // On a phone the keys lie at the lower edge, so that what is read back has the room above them.
      const narrow = window.matchMedia("(max-width: 47.99rem)").matches;
      if (options.focus) region("one").querySelector(".dock-keys").scrollIntoView({ block: narrow ? "end" : "nearest", behavior: "instant" });
    }

    step(by) {
      const at = this.rows.findIndex((row) => row.key === this.shown);
      this.go(this.rows[(at + by + this.rows.length) % this.rows.length].key);
    }

    whereInOrder(row) {
      const station = this.state.stations.find((one) => one.slug === row.station);
      const own = this.rows.filter((one) => one.station === row.station);
      return `${station?.name || ""} · ${own.findIndex((one) => one.key === row.key) + 1} of ${own.length}`;
    }

    instrumentsFor(row) {
      if (!row.instruments) return this.state.instruments;
      return row.instruments.map((name) => this.state.instruments.find((one) => one.identifier === name)).filter(Boolean);
    }

    drawPlace(box, row) {
      const key = `${row.key} ${this.state.panel.drawing.length} ${box.clientWidth}`;
      if (box.dataset.drawn === key) return;
      Dock.showPlace(box, region("drawing").querySelector("svg"), row);
      box.dataset.drawn = key;
    }

    /** Keep an entry first, then send: what is typed is on the device before anything else happens. */
    async keep(row, entry) {
      const { me, title } = this.state, bar = region("bar");
      bar.setAttribute("aria-busy", "true"); // what it says is about to change
      const whole = {
        token: Dock.token(), row: row.sendRow || row.key, position: "", take: null, text: "", unit: "", instrument: "", remark: "", reason: "",
        typed_at: new Date().toISOString(), by: me.key, byName: me.name, page: this.page, title, address: location.pathname, rowName: Dock.nameOf(row), ...entry,
      };
      try { return await this.keepWhole(row, entry, whole); } finally { bar.removeAttribute("aria-busy"); }
    }

    async keepWhole(row, entry, whole) {
      const kept = await this.store.add("entries", whole);
      this.last = { ...whole, kept, outcome: "", place: { slug: row.slug, mast: row.mast, position: entry.position || row.position, open_position: false } };
      await this.refresh();
      this.sender.now();
      return kept;
    }

    async take(row, typed) {
      const named = row.open_position || row.sendRow ? typed.position : "";
      await this.keep(row, { kind: "take", ...typed, position: named, take: Dock.nextTake(this.rows.find((one) => one.key === row.key) || row) });
      const next = Dock.nextRow(this.rows, row.key);
      this.go(next ? next.key : row.key);
    }

    async amend(row, former, typed) {
      await this.keep(row, { kind: "amend", ...typed, position: row.sendRow ? row.position : "", take: former.take, replaces: former.token });
      this.go(row.key);
    }

    async takeAway(row, take) {
      const needed = this.state.signed_once;
      const reason = await Dock.question({ title: "Take this reading away", sentence: `${Dock.nameOf(row)}, take ${take.take}: ${Dock.written(take)}. It stays in the record as taken away.`,
        label: Dock.whyLabel("Why", this.state), submit: "Take it away", required: needed, grave: true });
      if (reason === null) return;
      await this.keep(row, { kind: "take_away", replaces: take.token, take: take.take, reason });
    }

    async sayAbsent(row) {
      const reason = await Dock.question({ title: "Not on this rig", sentence: `${Dock.nameOf(row)}: nothing to read on this boat. It can be taken back.`, label: "Why", submit: "It is not on this rig" });
      if (reason === null) return;
      await this.keep(row, { kind: "absent", reason });
      const next = Dock.nextRow(this.rows, row.key);
      if (next) this.go(next.key);
    }

    async sayPresent(row) {
      const reason = await this.reasonOnceSigned("It is on this rig", Dock.nameOf(row));
      if (reason !== null) await this.keep(row, { kind: "present", replaces: row.absent.token, reason });
    }

    /** Before the first signature a change needs no reason; after it one is asked for. Null where the person gives none. */
    reasonOnceSigned(title, sentence) {
      return this.state.signed_once ? Dock.question({ title, sentence, label: "Why", submit: "Do it" }) : Promise.resolve("");
    }

    /** Undo the last one: it never left, then it is simply gone; else the office takes it away. */
    async undo() {
      const { token, kind, place, take } = this.last;
      const row = this.rowLike(place);
      if (await this.store.takeBack("entries", token)) this.last = { undone: this.last };
      else if (kind === "take" && row) { await this.keep(row, { kind: "take_away", replaces: token, take, reason: "undone at once" }); this.last = { undone: { ...this.last, rowName: Dock.nameOf(row) } }; }
      await this.refresh();
      const back = this.rowLike(place) || row;
      if (back) this.go(back.key);
    }

    acts() {
      return {
        settle: async (conflict, choose) => {
          const row = this.rows.find((one) => one.key === conflict.row) || { key: conflict.row, name: conflict.row };
          const reason = await this.reasonOnceSigned("Choose between the two", `${Dock.nameOf(row)}, take ${conflict.take}.`);
          if (reason !== null) await this.keep(row, { kind: "settle", replaces: conflict.token, take: conflict.take, choose, reason });
        },
        changeRefused: async (entry) => { await this.store.remove("entries", [entry.token]); await this.refresh(); this.retype(entry); },
        retryRefused: async (entry) => { await this.store.change("entries", [entry.token], () => ({ status: "waiting", sentence: "" })); await this.sender.now(); },
        discardRefused: async (entry) => {
          const sure = await Dock.question({ title: "Throw this entry away", sentence: `${entry.rowName}: ${entry.text || entry.kind}. The office refused it, and it is kept nowhere else.`, submit: "Throw it away", grave: true });
          if (sure) { await this.store.remove("entries", [entry.token]); await this.refresh(); }
        },
        discardPhoto: async (photo) => { await this.store.remove("photos", [photo.token]); await this.refresh(); },
        insecureSentence: () => "This page is not reached by https, so it cannot be opened again while the office is out of reach: leave it open (what you type is kept here and sent later), or write on paper and type it in later.",
      };
    }

    /** A refused entry comes back into the readout, to be put right. */
    retype(entry) {
      const own = this.rows.find((one) => one.key === entry.row);
      const row = (own && entry.position && this.rowLike({ ...own, position: entry.position, open_position: false })) || own;
      if (!row) return;
      this.go(row.key, { focus: true, amending: entry.kind === "amend" ? row.takes.find((one) => one.token === entry.replaces) || null : null });
      const { value } = this.reading.keypad.inputs;
      if (value) { value.value = entry.text; this.reading.typed(); }
      if (this.reading.halyard) this.reading.halyard.value = entry.position;
    }

    async keepPhoto(photo) {
      await this.store.add("photos", { token: Dock.token(), ...photo, page: this.page, by: this.state.me.key, byName: this.state.me.name, title: this.state.title, address: location.pathname, typed_at: new Date().toISOString() });
      await this.refresh();
      this.sender.now();
    }

    signInAddress() {
      const address = new URL(this.sender.signIn || this.root.dataset.signInUrl, location.href);
      address.searchParams.set("next", location.pathname);
      return address.pathname + address.search;
    }

    saveFile() { Dock.saveFile(this.page, this.state?.title || "visit", [...this.groups.waiting, ...this.groups.refused]); }

    async readFile(input) {
      const file = input.files?.[0];
      if (!file) return;
      const { entries, error } = Dock.readFile(await file.text(), this.page, this.state?.title || "another");
      input.value = "";
      const here = new Set(this.entries.map((one) => one.token));
      const fresh = entries.filter((one) => !here.has(one.token));
      for (const one of fresh) await this.store.add("entries", { ...one, page: this.page });
      region("file-said").replaceChildren(error ? mark("stop", error, "signal") : mark("tick", `${Dock.count(entries.length, "reading")} in the file, ${fresh.length} of them new on this device.`));
      await this.refresh();
      this.sender.now();
    }
  }

  const start = () => {
    const root = document.getElementById("dock");
    if (!root) return;
    const { workerUrl, workerScope } = root.dataset;
    if (workerUrl && window.isSecureContext && navigator.serviceWorker) navigator.serviceWorker.register(workerUrl, { scope: workerScope }).catch(() => {});
    Dock.app = new App(root);
    Dock.app.begin();
  };

  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", start);
  else start();
})();
