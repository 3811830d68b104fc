// Figures in words and with thin spaces, so that what was typed can be read back aloud. Pure functions; no page needed.
// Every file of the dock page adds its functions to the one object `Dock`; dock.js, the last of them, begins.
"use strict";

var Dock = globalThis.Dock || {};

(() => {
  const ONES = ("nought one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
    + "seventeen eighteen nineteen").split(" ");
  const TENS = "nought ten twenty thirty forty fifty sixty seventy eighty ninety".split(" ");
  const THIN = "\u202f"; // narrow no-break space

  /** A whole number below a hundred in words. */
  const belowHundred = (n) => (n < 20 ? ONES[n] : TENS[Math.floor(n / 10)] + (n % 10 ? `-${ONES[n % 10]}` : ""));

  const belowThousand = (n) => {
    if (n < 100) return belowHundred(n);
    const rest = n % 100;
    return `${ONES[Math.floor(n / 100)]} hundred${rest ? ` and ${belowHundred(rest)}` : ""}`;
  };

  /**
   * A whole number in words, as the office says it: 15286 -> "fifteen thousand two hundred and eighty-six".
   * @param {number} n from 0 to 999 999
   */
  const wholeInWords = (n) => {
    if (n < 1000) return belowThousand(n);
    const rest = n % 1000;
    const tail = rest ? ` ${rest < 100 ? "and " : ""}${belowThousand(rest)}` : "";
    return `${belowThousand(Math.floor(n / 1000))} thousand${tail}`;
  };

  const PLAIN = /^([-\u2212+]?)(\d{1,9})(?:[.,](\d+))?$/;

  /**
   * A figure as typed in words: "-142,5" -> "minus one hundred and forty-two point five"; "" if it is no plain number,
   * or too great to be a reading.
   * @param {string} text decimal point or comma, no thousands separator
   */
  const inWords = (text) => {
    const found = PLAIN.exec(text.trim());
    if (!found || Number(found[2]) > 999_999) return "";
    const decimals = found[3] ? ` point ${[...found[3]].map((digit) => ONES[Number(digit)]).join(" ")}` : "";
    const sign = found[1] === "-" || found[1] === "\u2212" ? "minus " : "";
    return sign + wholeInWords(Number(found[2])) + decimals;
  };

  /** The number a plain text stands for, or NaN. */
  const numberOf = (text) => (PLAIN.test(text.trim()) ? Number(text.trim().replace(",", ".").replace("\u2212", "-")) : NaN);

  /** Digits with thousands set off by a thin space, decimals as they were typed: "15286" -> "15 286". */
  const spaced = (text) => {
    const found = /^([-\u2212+]?)(\d+)((?:[.,]\d+)?)$/.exec(String(text).trim());
    if (!found) return String(text);
    const sign = found[1] === "-" ? "\u2212" : found[1];
    return sign + found[2].replace(/\B(?=(\d{3})+$)/g, THIN) + found[3].replace(",", ".");
  };

  /** A converted value: at most so many decimals, none that say nothing. */
  const figure = (value, decimals = 1) => {
    const text = String(Number(value.toFixed(decimals)));
    return spaced(text);
  };

  /** Sixteenths in lowest terms: 10 -> "5/8". */
  const fraction = (sixteenths) => {
    let over = 16;
    let above = sixteenths;
    while (above % 2 === 0 && over > 1) { above /= 2; over /= 2; }
    return `${above}/${over}`;
  };

  /**
   * Feet, inches and sixteenths as the office reads them: "50 ft 1 13/16 in"; "" if nothing was typed.
   * @param {{feet: string, inches: string, sixteenths: string, minus: boolean}} parts
   */
  const feetText = ({ feet, inches, sixteenths, minus }) => {
    if (!feet && !inches && !sixteenths) return "";
    const small = Number(sixteenths || 0);
    const inch = small ? `${Number(inches || 0) ? `${Number(inches)} ` : ""}${fraction(small)}` : String(Number(inches || 0));
    return `${minus ? "-" : ""}${Number(feet || 0)} ft ${inch} in`;
  };

  /** What feet, inches and sixteenths are in millimetres, exactly but for the float. */
  const feetInMillimetres = ({ feet, inches, sixteenths, minus }) =>
    (Number(feet || 0) * 12 + Number(inches || 0) + Number(sixteenths || 0) / 16) * 25.4 * (minus ? -1 : 1);

  const PARTS = { 4: "quarter", 8: "eighth", 16: "sixteenth" };

  const fractionInWords = (sixteenths) => {
    const [above, over] = fraction(sixteenths).split("/").map(Number);
    if (over === 2) return "a half";
    return `${wholeInWords(above)} ${PARTS[over]}${above > 1 ? "s" : ""}`;
  };

  const feetInWords = (parts) => {
    const feet = Number(parts.feet || 0);
    const inches = Number(parts.inches || 0);
    const small = Number(parts.sixteenths || 0);
    const words = [];
    if (feet) words.push(`${wholeInWords(feet)} ${feet === 1 ? "foot" : "feet"}`);
    const inch = [inches || !small ? wholeInWords(inches) : "", small ? fractionInWords(small) : ""].filter(Boolean).join(" and ");
    words.push(inch + (small && !inches ? " of an inch" : inches === 1 && !small ? " inch" : " inches"));
    return (parts.minus ? "minus " : "") + words.join(" ");
  };

  const UNIT_WORDS = { mm: "millimetres", kg: "kilograms", lb: "pounds", in: "inches", ft: "feet", m: "metres", cm: "centimetres" };

  /** One reading as a person says it: "15 286 mm: fifteen thousand two hundred and eighty-six millimetres". */
  const readBack = (text, unit) => {
    const words = inWords(text);
    return words ? `${spaced(text)} ${unit}: ${words} ${UNIT_WORDS[unit] || unit}` : text;
  };

  /** How a take is shown: as it was written, with its unit where the writing has none. */
  const written = (take) => (PLAIN.test(String(take.text).trim()) ? `${spaced(take.text)} ${take.unit || "mm"}` : take.text);

  /** "3 readings", "1 reading". */
  const count = (n, noun) => `${n} ${noun}${n === 1 ? "" : "s"}`;

  /** A clock time of this device for an ISO moment, or "" where there is none. */
  const clock = (iso) => {
    const at = new Date(iso || NaN);
    return Number.isNaN(at.getTime()) ? "" : at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
  };

  /** What a reason is asked for with. A visit's first signature makes it a must; where there are takes only it never is. */
  const whyLabel = (words, state) => {
    if (state.signed_once) return words;
    return `${words} (may stay empty${state.takes_only ? "" : " until the visit is signed"})`;
  };

  Object.assign(Dock, {
    inWords, numberOf, spaced, figure, feetText, feetInMillimetres, feetInWords, readBack, written, count, clock, whyLabel, THIN,
  });
  globalThis.Dock = Dock;
})();
