// The whole list: every reading of this rig in the measurer's order, with its takes and its state; a touch goes there.
"use strict";

(() => {
  const { make, mark } = Dock;
  const TONES = { refused: "signal", conflict: "signal", waits: "firm", read: "quiet", absent: "quiet", needed: "firm", open: "quiet" };

  const line = (row, current, go) => {
    const state = Dock.stateOf(row);
    const { word, shape } = Dock.STATES[state];
    const values = row.takes.map((take) => Dock.written(take)).join(" · ");
    return make("li", {}, make(`button.dock-line${row.key === current ? ".is-current" : ""}`, {
      onclick: () => go(row.key), "aria-current": row.key === current ? "true" : null, data: { focus: row.key, row: row.key, state },
    }, make("span.dock-line-name", {}, Dock.nameOf(row), row.symbol ? make("span.symbol", {}, row.symbol) : "", row.mast_label ? make("span.small", {}, ` ${row.mast_label}`) : ""),
    make("span.dock-line-figure", {}, values), mark(shape, word, TONES[state])));
  };

  /** How a station stands: "4 of 12 read". */
  const tally = (rows) => {
    const wanted = rows.filter((row) => row.required);
    const done = wanted.filter((row) => !Dock.isOpen(row)).length;
    return `${done} of ${wanted.length} done`;
  };

  /**
   * @param {Element} root
   * @param {object[]} stations of the state
   * @param {object[]} rows merged
   */
  const showList = (root, stations, rows, current, go) => {
    Dock.fill(root, stations.map((station) => {
      const own = rows.filter((row) => row.station === station.slug);
      if (!own.length) return "";
      return make("section", {}, make("h3", {}, station.name, make("span.small", {}, ` ${tally(own)}`)), make("ul.dock-lines", {}, own.map((row) => line(row, current, go))));
    }));
  };

  Object.assign(Dock, { showList });
})();
