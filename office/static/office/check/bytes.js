// Bytes and texts, as the office writes them. Each file of this folder adds to the one object `rigCheck`.
"use strict";

globalThis.rigCheck = {};

(() => {
  const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ$+-/:";

  // Base 41: three signs for two bytes, two signs for a last single one.
  const unpacked = (text) => {
    const values = [...text].map((sign) => SIGNS.indexOf(sign));
    if (values.includes(-1)) throw new Error("a sign does not belong here");
    const bytes = [];
    for (let at = 0; at < values.length; at += 3) {
      const [first, second, third] = values.slice(at, at + 3);
      if (second === undefined) throw new Error("a sign is missing at the end");
      const value = third === undefined ? first * 41 + second : (first * 41 + second) * 41 + third;
      if (value > (third === undefined ? 255 : 65535)) throw new Error("signs stand for more than they may");
      if (third !== undefined) bytes.push(value >> 8);
      bytes.push(value & 255);
    }
    return Uint8Array.from(bytes);
  };

  const fromBase64 = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));

  // base64url without padding, in its shortest form only.
  const fromBase64Url = (text) => {
    const bytes = fromBase64(text.replaceAll("-", "+").replaceAll("_", "/"));
    const again = btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
    if (again !== text) throw new Error("not in its shortest form");
    return bytes;
  };

  const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const fromHex = (text) => Uint8Array.from(text.match(/../g) ?? [], (pair) => parseInt(pair, 16));
  const utf8 = (text) => new TextEncoder().encode(text);
  const text = (bytes) => new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(bytes);
  const equal = (one, other) => one.length === other.length && one.every((byte, at) => byte === other[at]);

  const joined = (...parts) => {
    const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
    let at = 0;
    for (const part of parts) { whole.set(part, at); at += part.length; }
    return whole;
  };

  const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));

  // RFC 8785: names in the order of their UTF-16 units; numbers and texts as this language writes them.
  const canonical = (value) => {
    if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
    if (value === null || typeof value !== "object") return JSON.stringify(value);
    return `{${Object.keys(value).sort().map((name) => `${JSON.stringify(name)}:${canonical(value[name])}`).join(",")}}`;
  };

  // A JSON object whose bytes are its canonical form; otherwise null.
  const canonicalObject = (bytes) => {
    try {
      const written = text(bytes);
      const value = JSON.parse(written);
      return value && typeof value === "object" && canonical(value) === written ? value : null;
    } catch { return null; }
  };

  Object.assign(rigCheck, {
    unpacked, fromBase64, fromBase64Url, hex, fromHex, utf8, text, equal, joined, sha256, canonical, canonicalObject,
  });
})();
