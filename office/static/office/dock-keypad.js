// The readout and its keys: one figure in millimetres (or kilograms), or feet, inches and sixteenths. The keys are buttons;
// a real keyboard types into the same inputs, and a phone's own keyboard stays away (inputmode none).
"use strict";

(() => {
  const { make } = Dock;
  const PARTS = { feet: ["ft", 4], inches: ["in", 2], sixteenths: ["/16", 2] };

  class Keypad {
    /**
     * @param {{row: object, unit: string, labelledby: string, onType: function, onStep: function}} options
     * unit: "mm", "kg", "lb" or "ft" (feet, inches, sixteenths)
     */
    constructor({ row, unit, labelledby, describedby, onType, onStep }) {
      Object.assign(this, { row, unit, onType, onStep });
      this.feet = unit === "ft";
      this.minus = false;
      this.inputs = this.feet
        ? Object.fromEntries(Object.entries(PARTS).map(([name, [word, most]]) => [name, this.input(`dock-${name}`, word, labelledby, describedby, most)]))
        : { value: this.input("dock-value", unit, labelledby, describedby, 12) };
      this.active = Object.values(this.inputs)[0];
      this.sign = make("span.dock-sign", { "aria-hidden": "true" });
      this.fields = make("div.dock-fields", {}, this.sign, ...Object.values(this.inputs).flatMap((input) => [input, input.word]));
      this.keys = this.makeKeys();
    }

    input(id, word, labelledby, describedby, most) {
      const name = make("span.dock-unit", { id: `${id}-unit` }, word);
      const input = make(`input.dock-figure.dock-figure-${this.feet ? "part" : "whole"}`, {
        id, inputmode: "none", autocomplete: "off", autocapitalize: "off", spellcheck: "false", maxlength: most, enterkeyhint: "done",
        "aria-labelledby": `${labelledby} ${id}-unit`, "aria-describedby": describedby,
        oninput: () => this.onType(), onfocus: () => { this.active = input; },
        onkeydown: (event) => this.onKey(event),
      });
      input.word = name;
      return input;
    }

    onKey(event) {
      if (event.key === "ArrowDown" || event.key === "ArrowUp") {
        event.preventDefault();
        this.onStep(event.key === "ArrowDown" ? 1 : -1);
      } else if (this.feet && event.key === "-") {
        event.preventDefault();
        this.turnSign();
      } else if (this.feet && (event.key === " " || event.key === "/")) {
        event.preventDefault();
        this.nextField();
      }
    }

    makeKeys() {
      const digit = (n) => this.key(String(n), () => this.type(String(n)), { data: { key: n } });
      const last = this.feet
        ? this.key("next", () => this.nextField(), { "aria-label": "Next: feet, inches, sixteenths" }, "dock-key-word")
        : this.key(".", () => this.type("."), { "aria-label": "Decimal point" });
      const minus = this.key("\u2212", () => this.turnSign(), { "aria-label": "Minus", disabled: !this.mayBeNegative() });
      const back = this.key("\u232b", () => this.back(), { "aria-label": "Take back the last digit" });
      return [1, 2, 3, back, 4, 5, 6, minus, 7, 8, 9, null, last, 0].map((one) =>
        one === null ? null : typeof one === "number" ? digit(one) : one).filter(Boolean);
    }

    key(word, act, more = {}, extra = "") {
      return make(`button.dock-key${extra ? `.${extra}` : ""}`, { onclick: act, ...more }, word);
    }

    mayBeNegative() {
      const { may_be_negative: may, least } = this.row;
      return may === undefined ? least === null || least === undefined || least < 0 : may;
    }

    type(text) {
      const input = this.active;
      if (input.value.length >= input.maxLength) return;
      if (text === "." && /[.,]/.test(input.value)) return;
      input.value += text;
      this.onType();
    }

    back() {
      const inputs = Object.values(this.inputs);
      let at = inputs.indexOf(this.active);
      if (!this.active.value && at > 0) { at -= 1; this.active = inputs[at]; }
      this.active.value = this.active.value.slice(0, -1);
      this.onType();
    }

    turnSign() {
      if (!this.mayBeNegative()) return;
      if (this.feet) this.minus = !this.minus;
      else {
        const { value } = this.inputs;
        value.value = /^[-\u2212]/.test(value.value) ? value.value.slice(1) : `-${value.value}`;
      }
      this.sign.textContent = this.feet && this.minus ? "\u2212" : "";
      this.onType();
    }

    nextField() {
      const inputs = Object.values(this.inputs);
      this.active = inputs[(inputs.indexOf(this.active) + 1) % inputs.length];
      this.active.focus();
    }

    clear() {
      Object.values(this.inputs).forEach((input) => { input.value = ""; });
      this.minus = false;
      this.sign.textContent = "";
      this.active = Object.values(this.inputs)[0];
    }

    parts() {
      const { feet, inches, sixteenths } = this.inputs;
      return { feet: feet.value.trim(), inches: inches.value.trim(), sixteenths: sixteenths.value.trim(), minus: this.minus };
    }

    /**
     * What is typed now.
     * @returns {{text: string, unit: string, words: string, value: number, ticks: number, error: string}} value in mm or kg
     */
    read() {
      if (this.feet) return readFeet(this.parts());
      const text = this.inputs.value.value.trim().replace("\u2212", "-").replace(",", ".");
      const value = Dock.numberOf(text);
      const read = { text, unit: this.unit, words: Dock.inWords(text), value: this.unit === "lb" ? value * 0.45359237 : value, ticks: this.unit === "mm" ? value : NaN, error: "" };
      if (!text) read.error = "Nothing is typed yet: the figure first, then Store.";
      else if (Number.isNaN(value)) read.error = `“${text}” is no figure: digits are expected, with a decimal point or comma where needed.`;
      else if (value < 0 && !this.mayBeNegative()) read.error = "This reading cannot be negative.";
      return read;
    }
  }

  const readFeet = (parts) => {
    const text = Dock.feetText(parts);
    const read = { text, unit: "", words: "", value: NaN, ticks: NaN, error: "" };
    const bad = Object.entries(parts).find(([name, value]) => name !== "minus" && value && !/^\d+$/.test(value));
    if (!text) read.error = "Nothing is typed yet: feet, inches and sixteenths, then Store.";
    else if (bad) read.error = `“${bad[1]}” is no whole number: digits are expected in each of the three.`;
    else if (Number(parts.inches) > 11) read.error = "Inches go from 0 to 11; twelve are a foot.";
    else if (Number(parts.sixteenths) > 15) read.error = "Sixteenths go from 0 to 15; sixteen are an inch.";
    else {
      read.value = Dock.feetInMillimetres(parts);
      read.words = `${Dock.feetInWords(parts)}, ${Dock.figure(read.value)} mm`;
      read.ticks = (read.value / 25.4) * 16;
    }
    return read;
  };

  Object.assign(Dock, { Keypad });
})();
