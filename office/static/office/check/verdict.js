// A code, a JSON file or a paper held against the office's published keys: what holds, what does not, what cannot be
// told here. `keys` and `ended` are the office's published lists as this browser last had them.
"use strict";

(() => {
  const HOLDS = "holds", FAILS = "fails", UNKNOWN = "unknown";
  const LEEWAY = 5 * 60 * 1000;
  const FORMATS = { certificate: "rig-certificate-1", amendment: "rig-certificate-amendment-1" };
  const SIGNED_FORMATS = { certificate: "rig-certificate-signed-1", amendment: "rig-amendment-signed-1" };
  const NO_CRYPTOGRAPHY = "This browser gives a page its cryptography only over https or on the machine itself; no signature was checked.";

  const fresh = (kind) => ({ kind, number: "", amends: "", points: [], document: null, stated: null, days: null });
  const say = (verdict, mark, sentence) => verdict.points.push({ mark, sentence });
  const isGenuine = ({ points }) => points.some((one) => one.mark === HOLDS) && !points.some((one) => one.mark === FAILS);
  const instant = (moment) => new Date(moment).toISOString().replace(/\.\d+Z$/, "Z");
  const find = (keys, id, purpose) => keys.keys.find((key) => key.id === id && key.purpose === purpose);

  // true, false, or null where this browser cannot do it.
  const ed25519 = async (key, signature, signed) => {
    try {
      const known = await crypto.subtle.importKey("spki", rigCheck.fromBase64(key.public), { name: "Ed25519" }, false, ["verify"]);
      return await crypto.subtle.verify({ name: "Ed25519" }, known, signature, signed);
    } catch { return null; }
  };

  const ecdsa = async (key, signature, signed) => {
    const algorithm = { name: "ECDSA", namedCurve: "P-256", hash: "SHA-256" };
    const known = await crypto.subtle.importKey("spki", rigCheck.fromBase64(key.public), algorithm, false, ["verify"]);
    return crypto.subtle.verify(algorithm, known, signature, signed);
  };

  const whyNotAt = (key, moment) => {
    const at = Date.parse(moment);
    if (at < Date.parse(key.used_from)) return `that the office uses only since ${key.used_from}`;
    if (key.retired_at && at > Date.parse(key.retired_at)) return `that the office retired at ${key.retired_at}`;
    return at > Date.parse(key.expires_at) ? `that ran out at ${key.expires_at}` : "";
  };

  const inUse = (verdict, key, issued, now, clock = true) => {
    const why = whyNotAt(key, issued);
    if (why) say(verdict, FAILS, `It says it was issued at ${issued}, under a key ${why}: do not rely on it.`);
    if (clock && Date.parse(issued) > now + LEEWAY) {
      say(verdict, UNKNOWN, `It was issued at ${issued}, which by this clock (${instant(now)}) is still to come: set the clock before anything is said of today.`);
    }
  };

  const unknownKey = (id, keys, names) => names
    ? `It ${names} and bears a key that ${keys.office} never published: it is of another office, whose keys would be needed, or forged.`
    : `It is signed with a key (${id}) that is not among those that ${keys.office} had published by ${keys.as_of}: it is forged, or the list of keys is older than the key.`;

  const host = (address) => { try { return new URL(address).host; } catch { return "no address"; } };

  const noEd25519 = (verdict) =>
    say(verdict, UNKNOWN, "This browser cannot check Ed25519 signatures; whether the office signed what is stated was not checked here. A newer browser can.");

  const checkCode = async (text, keys, now) => {
    const verdict = fresh("code");
    let parts, stated;
    try { parts = rigCheck.splitCode(text); stated = rigCheck.unpackCode(parts.body); } catch (error) {
      say(verdict, FAILS, error.message);
      return verdict;
    }
    const key = find(keys, stated.key, "statement");
    if (!key) {
      const other = host(parts.address);
      say(verdict, FAILS, unknownKey(stated.key, keys, other === host(keys.address) ? "" : `names ${other}`));
      return verdict;
    }
    const holds = await ed25519(key, parts.signature, rigCheck.joined(rigCheck.utf8(parts.address), parts.body));
    if (holds === false) {
      say(verdict, FAILS, "The code's signature does not hold: it was altered, or the office never signed it.");
      return verdict;
    }
    Object.assign(verdict, { stated, number: stated.number, days: [stated.from, stated.until] });
    if (holds) say(verdict, HOLDS, `${keys.office} signed what the code says, to the last sign, with its key ${stated.key}.`);
    else noEd25519(verdict);
    inUse(verdict, key, stated.issuedAt, now);
    return verdict;
  };

  const nameAmendment = (verdict, document) => {
    Object.assign(verdict, { document, amends: document.certificate, number: `${document.certificate}/A${document.number}` });
    say(verdict, HOLDS, `It is amendment ${document.number} to certificate ${document.certificate}, not a certificate.`);
  };

  // What a certificate or an amendment states, with its own signature.
  const signedSnapshot = async (verdict, document, signature, keys, now, what = "certificate") => {
    if (signature.algorithm !== "Ed25519" || Object.keys(signature).length !== 3) {
      say(verdict, FAILS, "Its signature is not one by Ed25519.");
      return;
    }
    const key = find(keys, signature.key, "statement");
    if (!key) {
      const office = String(document.office?.name);
      const names = office === keys.office ? "" : `names “${office.slice(0, 80)}” as its office`;
      say(verdict, FAILS, unknownKey(String(signature.key).slice(0, 16), keys, names));
      return;
    }
    let holds = false;
    try {
      holds = await ed25519(key, rigCheck.fromBase64Url(signature.value), rigCheck.utf8(rigCheck.canonical(document)));
    } catch { /* a value that is none does not hold */ }
    if (holds === false) {
      say(verdict, FAILS, "The signature of what it states does not hold: it was altered, or is another's.");
      return;
    }
    if (document.format !== FORMATS[what]) {
      say(verdict, UNKNOWN, `It states ${what === "amendment" ? "an" : "a"} ${what} in another form than this check knows, ${FORMATS[what]}.`);
      return;
    }
    if (holds) say(verdict, HOLDS, `${keys.office} signed what it states, to the last byte, with its key ${key.id}.`);
    else noEd25519(verdict);
    if (what === "amendment") nameAmendment(verdict, document);
    else Object.assign(verdict, { document, number: document.number, days: [document.validity.from, document.validity.until] });
    inUse(verdict, key, document.issued_at, now);
  };

  const checkFile = async (bytes, keys, now) => {
    const verdict = fresh("file");
    const whole = rigCheck.canonicalObject(bytes);
    const what = Object.keys(SIGNED_FORMATS).find((one) => whole?.format === SIGNED_FORMATS[one] && whole[one]);
    if (!whole) say(verdict, FAILS, "The file is not JSON as the office writes it, byte for byte.");
    else if (!what || !whole.signature || Object.keys(whole).length !== 3) {
      say(verdict, FAILS, `It is JSON, but no certificate in the form ${SIGNED_FORMATS.certificate} and no amendment.`);
    } else await signedSnapshot(verdict, whole[what], whole.signature, keys, now, what);
    return verdict;
  };

  const checkPaper = async (bytes, keys, now) => {
    const verdict = fresh("paper");
    let found;
    try { found = await rigCheck.readSignature(bytes); } catch (error) {
      say(verdict, FAILS, error.message);
      return verdict;
    }
    const key = keys.keys.find((one) => one.purpose === "paper" && rigCheck.equal(rigCheck.fromBase64(one.certificate), found.certificate));
    if (!key) {
      say(verdict, FAILS, `It is signed, but not by ${keys.office}: the signer calls itself “${rigCheck.signerName(found.certificate).slice(0, 120)}”.`);
      return verdict;
    }
    if (!await ecdsa(key, found.signature, found.signed)) {
      say(verdict, FAILS, "The signature does not hold: the file was altered after it was signed.");
      return verdict;
    }
    say(verdict, HOLDS, `${keys.office} signed the whole file, to the last byte, with its key ${key.id}.`);
    const files = (await rigCheck.attached(bytes)).map(rigCheck.canonicalObject);
    const stated = files.filter((one) => one?.format), signatures = files.filter((one) => one?.algorithm);
    const what = stated[0]?.format === FORMATS.amendment ? "amendment" : "certificate";
    const ofOld = what === "amendment" && !signatures.length; // before amendments had a signature of their own
    if (stated.length !== 1 || signatures.length !== (ofOld ? 0 : 1)) {
      say(verdict, FAILS, "It does not carry what the office attaches to a certificate.");
      return verdict;
    }
    if (ofOld) nameAmendment(verdict, stated[0]);
    else await signedSnapshot(verdict, stated[0], signatures[0], keys, now, what);
    if (verdict.document) inUse(verdict, key, verdict.document.issued_at, now, false);
    return verdict;
  };

  const check = async (given, keys, now) => {
    if (!globalThis.crypto?.subtle) {
      const verdict = fresh("file");
      say(verdict, UNKNOWN, NO_CRYPTOGRAPHY);
      return verdict;
    }
    if (typeof given === "string") return checkCode(given, keys, now);
    const begin = String.fromCharCode(...given.slice(0, 5));
    if (begin === "%PDF-") return checkPaper(given, keys, now);
    if (begin.startsWith("{")) return checkFile(given, keys, now);
    const verdict = fresh("file");
    say(verdict, FAILS, "It is neither a PDF nor a certificate's JSON file.");
    return verdict;
  };

  // A genuine code and a genuine paper: of the same certificate?
  const compare = (code, other) => {
    if (!isGenuine(code) || !isGenuine(other) || !code.stated || !other.document) return;
    if (other.amends) {
      if (other.amends === code.number) say(other, HOLDS, `The code beside it is of the certificate that it amends, ${code.number}.`);
      else say(other, FAILS, `The code beside it is genuine, but not of the certificate that it amends: ${code.number}.`);
      return;
    }
    const mine = rigCheck.statedBySnapshot(other.document, code.stated.key);
    if (rigCheck.canonical(mine) === rigCheck.canonical(code.stated)) {
      say(other, HOLDS, `The code beside it is of the same certificate, ${code.number}, and states the same.`);
    } else if (code.number !== other.number) {
      say(other, FAILS, `The code beside it is genuine, but of another certificate: ${code.number}.`);
    } else say(other, FAILS, `The code beside it is of ${code.number} too, but does not state the same.`);
  };

  // A genuine amendment and a genuine certificate of the number it names: the very one, by its hash?
  const compareAmendment = async (certificate, amendment) => {
    if (!isGenuine(certificate) || !isGenuine(amendment) || !certificate.document || !amendment.document || amendment.amends !== certificate.number) return;
    const what = { paper: "PDF", file: "JSON file" }[certificate.kind];
    const hash = rigCheck.hex(await rigCheck.sha256(rigCheck.utf8(rigCheck.canonical(certificate.document))));
    if (hash === amendment.document.certificate_sha256) say(amendment, HOLDS, `The ${what} beside it is the certificate that it amends, by its hash.`);
    else say(amendment, FAILS, `The ${what} beside it states something else than it amends.`);
  };

  // How it stands today by its own words, and by the office's list of what ended, as of the last contact.
  const standing = (verdict, ended, now) => {
    const points = [];
    if (!isGenuine(verdict) || !(verdict.days || verdict.amends)) return points;
    const tell = (mark, sentence) => points.push({ mark, sentence });
    const today = instant(now).slice(0, 10);
    const of = verdict.amends || verdict.number, it = verdict.amends ? `the certificate ${of}` : "it";
    if (verdict.days) {
      const [from, until] = verdict.days;
      const word = today < from ? "it has not begun" : today > until ? "it has expired" : "that holds";
      tell(today > until || today < from ? FAILS : HOLDS, `By its own words it is in force from ${from} to ${until}; on ${today} ${word}.`);
    }
    const known = ended?.ended.find(([number]) => number === of);
    if (known) {
      const [, what, since, successor] = known;
      const after = successor ? ` The certificate after it is ${successor}.` : "";
      tell(since <= today ? FAILS : UNKNOWN, `The office said at ${ended.as_of} that ${it} is ${what}, not in force from ${since} on.${after}`);
    } else if (ended) {
      tell(UNKNOWN, `At ${ended.as_of}, the last contact, the office had not withdrawn, suspended or replaced ${it}; what happened since cannot be told here.`);
    } else tell(UNKNOWN, `Whether ${it} was withdrawn, suspended or replaced cannot be told without contact with the office.`);
    const amended = ended?.amended?.find(([number]) => number === of);
    if (amended) tell(HOLDS, `By ${ended.as_of} the office had amended ${it}: ${Array.from({ length: amended[1] }, (_, at) => `${of}/A${at + 1}`).join(", ")}, to be read with it.`);
    return points;
  };

  Object.assign(rigCheck, { check, compare, compareAmendment, standing, isGenuine, instant, LEEWAY });
})();
