// One reading at a time: what is measured and how, where it lies on the rig, the takes there are, the readout and its keys.
"use strict";

(() => {
  const { make, fill, button, mark } = Dock;
  const UNITS = { mm: [["mm", "millimetres"], ["ft", "feet, inches, sixteenths"]], kg: [["kg", "kilograms"], ["lb", "pounds"]] };

  /** "Luff between the bands", with the side or halyard. */
  const nameOf = (row) => row.name + (row.position && !row.name.endsWith(`, ${row.position}`) ? `, ${row.position}` : "");

  const takeState = (take) => {
    if (take.unkept) return mark("stop", "not kept by this device", "signal");
    if (take.local) return mark("sand", "waits here");
    return mark("disc", "with the office");
  };

  class Reading {
    /** @param {object} app what this view may ask for: store, amend, takeAway, sayAbsent, sayPresent, go, settings */
    constructor(root, app) {
      this.root = root;
      this.app = app;
      this.row = null;
      this.amending = null;
    }

    /** Build the form for a row; `focus` puts the cursor into the readout. */
    show(row, { focus = false, amending = null } = {}) {
      this.row = row;
      this.amending = amending;
      this.doubted = "";
      const labelled = "dock-name dock-take";
      this.unit = this.app.settings.unitFor(row);
      this.keypad = new Dock.Keypad({ row, unit: this.unit, labelledby: labelled, describedby: "dock-how dock-error", onType: () => this.typed(), onStep: (step) => this.app.step(step) });
      this.place = make("div.dock-place", { hidden: true });
      this.takes = make("div.dock-takes");
      this.said = make("section.dock-said", { id: "dock-said", "aria-label": "What was done last", hidden: true });
      this.words = make(`p.dock-words${this.unit === "ft" ? ".dock-words-long" : ""}`);
      this.tape = make("div.dock-tape-box");
      this.error = make("p.field-error", { id: "dock-error", role: "alert", hidden: true });
      this.takeWord = make("span", { id: "dock-take" });
      const form = make("form.dock-form", { novalidate: true, onsubmit: (event) => { event.preventDefault(); this.store(); } },
        make("div.dock-head", {}, make("header.dock-what", {}, make("p.dock-station", {}, this.app.whereInOrder(row)),
          make("h2.dock-name", { id: "dock-name", tabindex: "-1" }, nameOf(row), row.symbol ? make("span.symbol", {}, row.symbol) : ""),
          row.mast_label ? make("p.dock-station", {}, row.mast_label) : "",
          make("p.dock-how", { id: "dock-how" }, row.how)), this.place),
        this.takes, this.said, this.position(row),
        make("div.dock-readout", {}, make("p.dock-take", {}, this.takeWord), this.keypad.fields, this.tape, this.words, this.error, this.why()),
        make("div.dock-keys", { role: "group", "aria-label": "Keys" }, this.keypad.keys, this.storeButton()),
        this.choices(row));
      this.more = make("div.dock-more");
      this.root.replaceChildren(form, this.more);
      this.update(row);
      this.typed();
      this.app.showSaid();
      if (focus) (this.halyard && !this.halyard.value ? this.halyard : this.keypad.active).focus({ preventScroll: true });
    }

    position(row) {
      this.halyard = null;
      if (!row.open_position) return "";
      this.halyard = make("input", { id: "dock-position", maxlength: 40, autocomplete: "off" });
      return make("div.field.dock-position", {}, make("label", { for: "dock-position" }, "Which halyard"), this.halyard);
    }

    why() {
      this.reason = null;
      if (!this.amending) return "";
      this.reason = make("input", { id: "dock-reason", maxlength: 200, autocomplete: "off" });
      return make("div.field", {}, make("label", { for: "dock-reason" }, Dock.whyLabel("Why it is amended", this.app.state)), this.reason);
    }

    storeButton() {
      this.submit = make("button.dock-store", { type: "submit", "aria-describedby": "dock-error" }, this.amending ? "Amend" : "Store");
      return this.submit;
    }

    choices(row) {
      this.instrument = make("select", { id: "dock-instrument" }, make("option", { value: "" }, "not said"),
        this.app.instrumentsFor(row).map((one) => make("option", { value: one.identifier }, one.label || one.identifier)));
      this.instrument.value = this.amending ? this.amending.instrument || "" : this.app.settings.instrumentFor(row);
      this.instrument.addEventListener("change", () => this.app.settings.rememberInstrument(row, this.instrument.value));
      const units = make("select", { id: "dock-unit" }, (UNITS[row.unit] || [[row.unit, row.unit]]).map(([value, word]) => make("option", { value }, word)));
      units.value = this.unit;
      units.addEventListener("change", () => { this.app.settings.rememberUnit(row, units.value); this.show(this.row, { amending: this.amending }); document.getElementById("dock-unit").focus(); });
      this.remark = make("input", { id: "dock-remark", maxlength: 200, autocomplete: "off", value: this.amending?.remark || "" });
      return make("div.dock-choices", {},
        make("div.field", {}, make("label", { for: "dock-instrument" }, "Read with"), this.instrument),
        make("div.field", {}, make("label", { for: "dock-unit" }, "Typed in"), units),
        make("div.field.dock-wide", {}, make("label", { for: "dock-remark" }, "Remark"), this.remark));
    }

    /** What may change while the person types: takes and their states, never the readout. */
    update(row) {
      this.row = row;
      const take = this.amending ? this.amending.take : Dock.nextTake(row);
      this.submit.disabled = !this.app.state.writable || Boolean(row.absent && !row.takes.length);
      this.takeWord.textContent = this.amending ? `Amend take ${take}, now ${Dock.written(this.amending)}` : `Take ${take}`;
      fill(this.takes, row.absent ? this.absence(row) : "", row.takes.length ? make("ul", {}, row.takes.map((one) => this.take(one))) : "",
        row.previous ? make("p.small", {}, `Before, ${row.previous.date || "last visit"}: ${row.previous.text}`) : "",
        this.amending ? button("Leave it as it is", () => this.show(this.row, { focus: true }), { data: { focus: "leave" } }) : "");
      fill(this.more, this.app.state.writable && !this.app.state.takes_only && !row.takes.length && !row.absent ? button("Not on this rig", () => this.app.sayAbsent(row), { data: { focus: "absent" } }) : "",
        button("‹ Back", () => this.app.step(-1), { data: { focus: "back" }, hidden: "one reading in the measurer's order" }),
        button("On ›", () => this.app.step(1), { data: { focus: "on" }, hidden: "one reading in the measurer's order" }));
      this.app.drawPlace(this.place, row);
    }

    take(one) {
      const several = this.row.takes.length > 1 || one.take > 1;
      const about = `take ${one.take} of ${nameOf(this.row)}`;
      return make("li", {}, make("span.dock-take-figure", {}, several ? make("span.small", {}, `take ${one.take} `) : "", Dock.written(one)),
        one.instrument ? make("span.small", {}, one.instrument) : "", takeState(one), one.by_me ? "" : make("span.small", {}, one.by),
        one.remark ? make("span.small.dock-remark", {}, one.remark) : "",
        this.app.state.writable ? make("span.dock-take-acts", {},
          button("Amend", () => this.show(this.row, { focus: true, amending: one }), { link: true, hidden: about, data: { focus: `amend-${one.token}` } }),
          button("Take away", () => this.app.takeAway(this.row, one), { link: true, hidden: about, data: { focus: `away-${one.token}` } })) : "");
    }

    absence(row) {
      return make("p.note", {}, mark("dash", "Not on this rig"), ` ${row.absent.reason || ""} `,
        this.app.state.writable ? button("It is on this rig", () => this.app.sayPresent(row), { link: true, data: { focus: "present" } }) : "");
    }

    typed() {
      const read = this.keypad.read();
      this.complain("");
      this.doubted = "";
      const bare = !read.text;
      this.words.textContent = bare || read.error ? "" : read.words;
      this.tape.replaceChildren(Dock.tape(bare || read.error ? NaN : read.ticks, this.keypad.feet));
      this.tape.hidden = this.row.unit !== "mm" || this.unit === "lb";
    }

    complain(sentence) {
      this.error.hidden = !sentence;
      this.error.replaceChildren(...(sentence ? [Dock.shape("stop"), make("span", {}, sentence)] : []));
      Object.values(this.keypad.inputs).forEach((input) => (sentence ? input.setAttribute("aria-invalid", "true") : input.removeAttribute("aria-invalid")));
    }

    /** A figure out of the plausible is asked for twice, not refused: the rig may be unusual. */
    isDoubtful(read) {
      const { least, greatest } = this.row;
      const outside = (typeof least === "number" && read.value < least) || (typeof greatest === "number" && read.value > greatest);
      if (!outside || this.doubted === read.text) return "";
      this.doubted = read.text;
      const range = `${typeof least === "number" ? Dock.figure(least) : "less"} and ${typeof greatest === "number" ? Dock.figure(greatest) : "more"} ${this.row.unit}`;
      return `${Dock.figure(read.value)} ${this.row.unit} is unusual: between ${range} is expected. Look again; Store once more keeps it.`;
    }

    async store() {
      if (this.submit.disabled || this.storing) return;
      const read = this.keypad.read();
      const position = this.halyard ? this.halyard.value.trim() : this.row.position || "";
      const sentence = read.error || (this.halyard && !position ? "Name the halyard first: “masthead” or “fractional”, for example." : "")
        || (this.reason && this.app.state.signed_once && !this.reason.value.trim() ? "Say why it is amended: the visit has been signed once." : "")
        || this.isDoubtful(read);
      if (sentence) {
        this.complain(sentence);
        (this.halyard && !position && !read.error ? this.halyard : this.keypad.active).focus();
        return;
      }
      this.storing = true;
      try {
        const typed = { text: read.text, unit: read.unit, instrument: this.instrument.value, remark: this.remark.value.trim(), position };
        this.app.settings.rememberInstrument(this.row, this.instrument.value);
        if (this.amending) await this.app.amend(this.row, this.amending, { ...typed, reason: this.reason.value.trim() });
        else await this.app.take(this.row, typed);
      } finally {
        this.storing = false;
      }
    }
  }

  Object.assign(Dock, { Reading, nameOf });
})();
