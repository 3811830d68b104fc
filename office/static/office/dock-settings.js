// What this device remembers for comfort: the instrument of each kind, the unit, one reading or the list. Losing it harms nothing.
"use strict";

(() => {
  const NAME = "dock-settings";

  class Settings {
    /** @param {function} state gives the document: the office's instruments and the viewer's units */
    constructor(state) {
      this.state = state;
      try { this.kept = JSON.parse(localStorage.getItem(NAME)) || {}; } catch { this.kept = {}; }
    }

    keep(changes) {
      Object.assign(this.kept, changes);
      try { localStorage.setItem(NAME, JSON.stringify(this.kept)); } catch { /* only comfort */ }
    }

    kindOf(identifier) { return this.state().instruments.find((one) => one.identifier === identifier)?.kind || ""; }

    /** What was last read with of the kind that suits the row; else what the office suggests. */
    instrumentFor(row) {
      const last = row.takes.at(-1)?.instrument;
      if (last) return last;
      const remembered = this.kept.instruments?.[this.kindOf(row.instrument) || row.instruments?.map((one) => this.kindOf(one))[0] || ""];
      const suits = !row.instruments || row.instruments.includes(remembered);
      return remembered && suits && this.kindOf(remembered) ? remembered : row.instrument || "";
    }

    rememberInstrument(row, identifier) {
      const kind = this.kindOf(identifier);
      if (kind) this.keep({ instruments: { ...this.kept.instruments, [kind]: identifier } });
    }

    unitFor(row) {
      if (row.unit === "mm") return this.kept.length || (this.state().units === "feet" ? "ft" : "mm");
      return this.kept.mass || row.unit;
    }

    rememberUnit(row, unit) { this.keep(row.unit === "mm" ? { length: unit } : { mass: unit }); }
  }

  Object.assign(Dock, { Settings });
})();
