// The page as the measurer has to see it: the office's last state with everything on top that waits on this device.
// Pure functions: the state document and the queue in, a new document out.
"use strict";

(() => {
  const findRow = (rows, entry) => {
    const row = rows.find((one) => one.key === entry.row);
    if (!row || !row.open_position || !entry.position) return row;
    return rows.find((one) => samePlace(one, { ...row, position: entry.position, open_position: false })) || nameOne(rows, row, entry.position);
  };

  /** Whether two rows are one place on the rig, whatever their keys. */
  const samePlace = (one, other) => one.slug === other.slug && one.mast === other.mast
    && Boolean(one.open_position) === Boolean(other.open_position) && (one.position || "") === (other.position || "");

  /** A halyard that the office does not know yet gets a row of its own before the open one. */
  const nameOne = (rows, open, position) => {
    const named = {
      ...open, key: `${open.key}:${position}`, position, open_position: false, sendRow: open.key, takes: [],
      required: false, absent: null, previous: null, takes_known: 0,
    };
    rows.splice(rows.indexOf(open), 0, named);
    open.required = false;
    return named;
  };

  const asTake = (entry, former = {}) => ({
    ...former, token: entry.token, take: former.take || entry.take, text: entry.text, unit: entry.unit, instrument: entry.instrument,
    remark: entry.remark, by: entry.byName, by_me: true, at: entry.typed_at, local: entry.status,
    sentence: entry.sentence, unkept: Boolean(entry.unkept), amended: entry.kind === "amend",
  });

  const APPLY = {
    take: (row, entry) => { row.takes.push(asTake(entry)); },
    amend: (row, entry) => {
      const at = row.takes.findIndex((take) => take.token === entry.replaces);
      if (at >= 0) row.takes[at] = asTake(entry, row.takes[at]);
    },
    take_away: (row, entry) => { row.takes = row.takes.filter((take) => take.token !== entry.replaces); },
    absent: (row, entry) => { row.absent = { token: entry.token, reason: entry.reason, by: entry.byName, at: entry.typed_at, local: entry.status }; },
    present: (row) => { row.absent = null; },
  };

  /**
   * @param {object} state the office's document
   * @param {object[]} entries of this page, in order of typing; refused ones do not change the takes of the office
   * @returns {{rows: object[], conflicts: object[]}} rows with `takes[].local`, `refused`, `waits` and `conflict` on top
   */
  const merge = (state, entries) => {
    const rows = state.rows.map((row) => ({ ...row, takes: row.takes.map((take) => ({ ...take })), refused: [], waits: 0 }));
    const known = new Set(rows.flatMap((row) => row.takes.map((take) => take.token)));
    for (const entry of entries) {
      if (entry.kind === "settle" || known.has(entry.token)) continue;
      const row = findRow(rows, entry);
      if (!row) continue;
      if (entry.status === "refused") { row.refused.push(entry); continue; }
      row.waits += 1;
      APPLY[entry.kind]?.(row, entry);
      row.takes.sort((one, other) => one.take - other.take);
    }
    const chosen = new Set(entries.filter((one) => one.kind === "settle" && one.status === "waiting").map((one) => one.replaces));
    const conflicts = (state.conflicts || []).map((one) => ({ ...one, chosen: chosen.has(one.token) }));
    rows.forEach((row) => { row.conflict = conflicts.some((one) => one.row === row.key && !one.chosen); });
    return { rows, conflicts };
  };

  /** The first take number nobody has used in the row, as far as this device knows. */
  const nextTake = (row) => Math.max(0, ...row.takes.map((take) => take.take)) + 1;

  // Word and shape of a row, in the order in which they matter.
  const STATES = {
    refused: { word: "refused", shape: "stop" },
    conflict: { word: "two differ", shape: "swap" },
    waits: { word: "waits here", shape: "sand" },
    read: { word: "read", shape: "disc" },
    absent: { word: "not on this rig", shape: "dash" },
    needed: { word: "to read", shape: "ring" },
    open: { word: "if there is one", shape: "ring_dotted" },
  };

  const stateOf = (row) => {
    if (row.refused.length) return "refused";
    if (row.conflict) return "conflict";
    if (row.waits) return "waits";
    if (row.takes.length) return "read";
    if (row.absent) return "absent";
    return row.required ? "needed" : "open";
  };

  /** What still has to be read: neither read nor said to be absent. */
  const isOpen = (row) => !row.takes.length && !row.absent && !row.refused.length;

  /** The next row in the measurer's order that has to be read, after this one and then from the top; or null. */
  const nextRow = (rows, key) => {
    const at = rows.findIndex((row) => row.key === key);
    const round = [...rows.slice(at + 1), ...rows.slice(0, Math.max(at, 0))];
    return round.find((row) => row.required && isOpen(row)) || null;
  };

  Object.assign(Dock, { merge, samePlace, nextTake, stateOf, STATES, isOpen, nextRow });
})();
