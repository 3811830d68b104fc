// What was found, as a part of the page: words and shapes, never colour alone.
"use strict";

(() => {
  const KINDS = { code: "The code", file: "The file", paper: "The PDF" };
  const UNITS = { m2: "m²", "kg.m": "kg·m", "kg m": "kg·m", 1: "" };
  const names = JSON.parse(document.getElementById("dimension-names")?.textContent ?? "{}");
  const MASTS = ["", ", second mast", ", third mast", ", fourth mast"];

  const element = (tag, given = {}, ...inside) => {
    const made = Object.assign(document.createElement(tag), given);
    made.append(...inside);
    return made;
  };
  const mark = (name) => document.getElementById(`mark-${name}`).content.cloneNode(true);

  const point = ({ mark: name, sentence }) => element("li", {}, mark(name), " ", sentence);

  // "13246.4" -> "13 246.4", with thin spaces.
  const spaced = (value) => {
    const [whole, ...fraction] = value.split(".");
    return [whole.replace(/\B(?=(\d{3})+$)/g, "\u2009"), ...fraction].join(".");
  };
  const millimetres = (hundredths) => spaced((hundredths / 100).toFixed(2).replace(/0$/, ""));
  const figure = ({ value, expanded_uncertainty: expanded, unit }) =>
    `${spaced(value)}${expanded ? ` ± ${expanded}` : ""} ${UNITS[unit] ?? unit}`.trim();

  const fact = (list, name, value) => {
    if (value) list.append(element("dt", { textContent: name }), element("dd", {}, element("bdi", { textContent: value })));
  };

  const stated = (verdict) => {
    const { document: whole, stated: short } = verdict;
    const list = element("dl", { className: "facts" });
    if (verdict.amends) fact(list, "Amendment", verdict.number);
    fact(list, verdict.amends ? "Of certificate" : "Certificate", verdict.amends || verdict.number);
    fact(list, "Boat", whole?.boat.name ?? short?.boat);
    fact(list, "Sail number", whole?.boat.sail_number ?? short?.sailNumber);
    if (verdict.days) fact(list, "In force, as printed", `${verdict.days[0]} to ${verdict.days[1]}`);
    fact(list, "Issued", whole?.issued_at ?? short?.issuedAt);
    if (verdict.amends) {
      fact(list, "To be read with it", whole.text);
      fact(list, "Reason", whole.reason);
      return list;
    }
    const rows = whole
      ? whole.dimensions.map((row) => [`${row.name}${row.mast === "main" ? "" : `, ${row.mast} mast`}`, figure(row)])
      : (short?.dimensions ?? []).map((row) => [`${names[row.slug]?.name ?? row.slug}${MASTS[row.mast]}`, `${millimetres(row.hundredths)} mm`]);
    rows.forEach(([name, value]) => fact(list, name, value));
    return list;
  };

  const show = (verdict, title) => {
    const genuine = rigCheck.isGenuine(verdict);
    const failed = verdict.points.some((one) => one.mark === "fails");
    const word = genuine ? "genuine" : failed ? "not-genuine" : "not-checked";
    const section = element("section", { className: "sheet" });
    const heading = element("h2", { textContent: `${KINDS[verdict.kind]}${title ? `: ${title}` : ""}`, tabIndex: -1 });
    section.append(heading, element("p", { className: "lead" }, mark(word)));
    section.append(element("ul", { className: "plain" }, ...verdict.points.map(point)));
    if (verdict.today?.length) {
      section.append(element("h3", { textContent: "In force?" }), element("ul", { className: "plain" }, ...verdict.today.map(point)));
    }
    if (!failed && verdict.number) section.append(element("h3", { textContent: "What it states" }), stated(verdict));
    return section;
  };

  Object.assign(rigCheck, { show, element });
})();
