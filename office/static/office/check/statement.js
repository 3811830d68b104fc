// The compact signed statement in a paper's code: how it is laid out is told in the office's own code, statement.py.
"use strict";

(() => {
  const DIMENSIONS = [
    "luff", "foot", "forestay_height", "foretriangle_base", "spinnaker_hoist", "tack_reach", "pole_length",
    "boom_above_sheer", "forestay_length", "mast_weight",
  ];
  const STATED = 7, HEAD = 53, SIGNATURE = 64, LONGEST_TEXT = 60;
  const day = (number) => new Date(Date.UTC(2000, 0, 1 + number)).toISOString().slice(0, 10);
  const damaged = () => { throw new Error("The statement is damaged: its parts do not fit together."); };

  // Address with its #, what is signed behind it, the signature. Throws one sentence.
  const split = (given) => {
    const whole = given.trim();
    const mark = whole.indexOf("#");
    if (mark < 0) throw new Error("It has no # with a signed statement behind: it is an address only, or something else.");
    let content;
    try { content = rigCheck.unpacked(whole.slice(mark + 1)); } catch (error) {
      throw new Error(`What stands behind the # is no statement of a certificate: ${error.message}.`);
    }
    if (content.length <= HEAD + SIGNATURE) {
      throw new Error("What stands behind the # is too short for a statement: a part of the code is missing.");
    }
    const end = content.length - SIGNATURE;
    return { address: whole.slice(0, mark + 1), body: content.slice(0, end), signature: content.slice(end) };
  };

  const unpack = (body) => {
    if (body[0] !== 1) throw new Error(`The statement has the form ${body[0]}, which this check does not know; it knows 1.`);
    const view = new DataView(body.buffer, body.byteOffset, body.length);
    let at = HEAD;
    const next = () => {
      const end = at + 1 + body[at];
      if (!(end <= body.length)) damaged();
      let word;
      try { word = rigCheck.text(body.slice(at + 1, end)); } catch { damaged(); }
      at = end;
      return word;
    };
    const stated = {
      key: rigCheck.hex(body.slice(1, 9)),
      issuedAt: new Date(view.getUint32(9) * 1000).toISOString().replace(".000Z", "Z"),
      from: day(view.getUint16(13)), until: day(view.getUint16(15)),
      trailNumber: view.getUint32(17), trailHead: rigCheck.hex(body.slice(21, HEAD)),
      number: next(), boat: next(), sailNumber: next(), dimensions: [],
    };
    if (body.length !== at + 1 + 4 * body[at]) damaged();
    for (at += 1; at < body.length; at += 4) {
      const slug = DIMENSIONS[body[at] % 64];
      if (!slug) damaged();
      stated.dimensions.push({ slug, mast: body[at] >> 6, hundredths: view.getUint32(at) & 0xffffff });
    }
    return stated;
  };

  const cut = (word) => {
    if (rigCheck.utf8(word).length <= LONGEST_TEXT) return word;
    const room = rigCheck.utf8(word).slice(0, LONGEST_TEXT - 3);
    return `${new TextDecoder("utf-8", { ignoreBOM: true }).decode(room, { stream: true })}…`;
  };

  // "13246.4" -> 1324640; a third decimal is rounded to even.
  const hundredths = (value) => {
    const [whole, fraction = ""] = value.split(".");
    const kept = Number(whole) * 100 + Number(`${fraction}00`.slice(0, 2));
    const rest = Number(`0.${fraction.slice(2) || "0"}`);
    return rest > 0.5 || (rest === 0.5 && kept % 2) ? kept + 1 : kept;
  };

  // What the code of a certificate states, from its snapshot: the same object as `unpack` makes.
  const ofSnapshot = (document, key) => {
    const masts = document.rig.description.masts.map((mast) => mast.name);
    const rows = new Map(document.dimensions.map((row) => [`${row.slug} ${masts.indexOf(row.mast)}`, row.value]));
    const dimensions = DIMENSIONS.slice(0, STATED).flatMap((slug) => masts.map((_, mast) => ({ slug, mast })))
      .filter(({ slug, mast }) => rows.has(`${slug} ${mast}`) && !rows.get(`${slug} ${mast}`).startsWith("-"))
      .map(({ slug, mast }) => ({ slug, mast, hundredths: hundredths(rows.get(`${slug} ${mast}`)) }))
      .filter((one) => one.hundredths < 2 ** 24);
    return {
      key, issuedAt: document.issued_at, from: document.validity.from, until: document.validity.until,
      trailNumber: document.trail.number, trailHead: document.trail.head, number: document.number,
      boat: cut(document.boat.name), sailNumber: cut(document.boat.sail_number), dimensions,
    };
  };

  Object.assign(rigCheck, { splitCode: split, unpackCode: unpack, statedBySnapshot: ofSnapshot });
})();
