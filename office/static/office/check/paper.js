// A paper read strictly: the signature covers the whole file, its CMS (RFC 5652) is as the office writes it, and what
// is attached comes out. Throws one sentence for whatever is not so.
"use strict";

(() => {
  const { fromHex, equal, joined } = rigCheck;
  const SIGNED_DATA = fromHex("06092a864886f70d010702"), DATA = fromHex("300b06092a864886f70d010701");
  const SHA256 = fromHex("300d06096086480165030402010500"), ECDSA = fromHex("300a06082a8648ce3d040302");
  const ONE = fromHex("020101");
  const DIGEST = fromHex("06092a864886f70d010904"), SIGNER = fromHex("060b2a864886f70d010910022f");
  const altered = () => { throw new Error("Its signature was altered: it cannot be read."); };

  // ---- DER (X.690) ----

  const read = (bytes, at = 0) => {
    let length = bytes[at + 1], head = 2;
    if (length > 127) {
      const more = length & 127;
      if (more < 1 || more > 3) altered();
      length = 0;
      for (let index = 0; index < more; index += 1) length = length * 256 + bytes[at + 2 + index];
      head += more;
    }
    const end = at + head + length;
    if (!(end <= bytes.length)) altered();
    return { tag: bytes[at], whole: bytes.slice(at, end), content: bytes.slice(at + head, end), end };
  };

  const children = (content) => {
    const found = [];
    for (let at = 0; at < content.length; at = found.at(-1).end) found.push(read(content, at));
    return found;
  };

  const written = (tag, ...parts) => {
    const content = joined(...parts), size = content.length;
    const length = size < 128 ? [size] : size < 256 ? [0x81, size] : size < 65536 ? [0x82, size >> 8, size & 255]
      : [0x83, size >> 16, (size >> 8) & 255, size & 255];
    return joined(Uint8Array.of(tag, ...length), content);
  };

  // ---- The signature ----

  const parts = (der) => {
    try {
      const signed = children(children(children(der)[0].content)[1].content)[0];
      const [, , , certificates, infos] = children(signed.content);
      const info = children(children(infos.content)[0].content);
      return { attributes: info[3], signature: info[5].content, certificate: children(certificates.content)[0].whole };
    } catch { return altered(); }
  };

  const rebuilt = ({ attributes, signature, certificate }) => {
    const tbs = children(children(children(certificate)[0].content)[0].content);
    const info = written(0x30, ONE, written(0x30, tbs[3].whole, tbs[1].whole), SHA256, attributes.whole, ECDSA, written(4, signature));
    const signed = written(0x30, ONE, written(0x31, SHA256), DATA, written(0xa0, certificate), written(0x31, info));
    return written(0x30, SIGNED_DATA, written(0xa0, signed));
  };

  const attribute = (attributes, name) => {
    const found = children(attributes.content).map((one) => children(one.content)).find(([type]) => equal(type.whole, name));
    return found ? found[1].content : altered();
  };

  const contains = (bytes, part) => {
    for (let at = 0; at + part.length <= bytes.length; at += 1) if (equal(bytes.slice(at, at + part.length), part)) return true;
    return false;
  };

  // Two DER integers as the 64 bytes that WebCrypto takes.
  const raw = (signature) => {
    const pair = read(signature);
    const numbers = children(pair.content);
    if (pair.end !== signature.length || numbers.length !== 2) altered();
    return joined(...numbers.map(({ tag, content }) => {
      const needed = content[0] === 0 ? content.slice(1) : content;
      if (tag !== 2 || needed.length > 32 || content[0] > 127 || (content[0] === 0 && !(needed[0] > 127))) altered();
      return joined(new Uint8Array(32 - needed.length), needed);
    }));
  };

  // ---- The file ----

  const latin = (bytes) => {
    const pieces = [];
    for (let at = 0; at < bytes.length; at += 8192) pieces.push(String.fromCharCode(...bytes.subarray(at, at + 8192)));
    return pieces.join("");
  };

  const covered = (file, plain) => {
    const ranges = [...plain.matchAll(/\/ByteRange \[(\d{1,9}) (\d{1,9}) (\d{1,9}) (\d{1,9})\] *\n/g)];
    const named = plain.split("/ByteRange").length - 1;
    if (!named) throw new Error("It bears no signature.");
    if (ranges.length !== 1 || named !== 1) throw new Error("Its signature was altered, or somebody signed it once more.");
    const [begin, first, second, rest] = ranges[0].slice(1).map(Number);
    if (begin || first >= second || second + rest !== file.length) {
      throw new Error("Its signature does not cover the whole file: something was added or taken away.");
    }
    const room = plain.slice(first, second);
    if (!/^<[0-9A-F]+>$/.test(room) || room.length % 2) throw new Error("The room of its signature was altered.");
    const whole = fromHex(room.slice(1, -1));
    const { tag, end } = read(whole);
    if (tag !== 0x30 || whole.slice(end).some(Boolean)) {
      throw new Error("Something lies in the room of its signature beside the signature.");
    }
    return { content: joined(file.slice(0, first), file.slice(second)), der: whole.slice(0, end) };
  };

  // What was signed, ready for the key of `certificate`, which is not known yet to be one of the office's.
  const readSignature = async (file) => {
    const { content, der } = covered(file, latin(file));
    const found = parts(der);
    let same = false;
    try { same = equal(rebuilt(found), der); } catch { altered(); }
    if (!same) throw new Error("The signature's frame was altered.");
    const digest = attribute(found.attributes, DIGEST);
    if (!equal(children(digest)[0].content, await rigCheck.sha256(content))) {
      throw new Error("The file was altered after it was signed: its content is not what the signature covers.");
    }
    if (!contains(attribute(found.attributes, SIGNER), await rigCheck.sha256(found.certificate))) {
      throw new Error("The signature names another certificate than the one it carries.");
    }
    const signed = joined(Uint8Array.of(0x31), found.attributes.whole.slice(1));
    return { certificate: found.certificate, signature: raw(found.signature), signed };
  };

  const signerName = (certificate) => {
    try {
      const names = children(children(children(children(certificate)[0].content)[0].content)[5].content);
      return rigCheck.text(children(children(names.at(-1).content)[0].content)[1].content);
    } catch { return "no name that can be read"; }
  };

  const inflated = async (bytes) => {
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  };

  // The files attached to a PDF whose own signature holds, as the office attaches them.
  const attached = async (file) => {
    const plain = latin(file), found = [];
    for (const one of plain.matchAll(/<<\/Type \/EmbeddedFile[^\n]*?\/Filter \/FlateDecode\/Length (\d+)>>\nstream\n/g)) {
      const start = one.index + one[0].length;
      found.push(await inflated(file.slice(start, start + Number(one[1]))));
    }
    return found;
  };

  Object.assign(rigCheck, { readSignature, signerName, attached });
})();
