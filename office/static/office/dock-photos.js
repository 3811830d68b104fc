// Photos as evidence: taken or chosen, kept on this device until the office has them, shown small.
"use strict";

(() => {
  const { make, mark, fill } = Dock;
  const GREATEST = 12 * 1024 * 1024;
  const SMALL = 160; // px of a thumbnail made here

  const thumbs = new Map(); // token -> data address; the pages' policy allows no blob: pictures

  /** A small picture of a file that waits; "" where this browser cannot draw it. */
  const thumbOf = async (photo) => {
    if (thumbs.has(photo.token)) return thumbs.get(photo.token);
    thumbs.set(photo.token, "");
    try {
      const bitmap = await createImageBitmap(photo.blob, { imageOrientation: "from-image" });
      const scale = Math.min(1, SMALL / Math.max(bitmap.width, bitmap.height));
      const canvas = make("canvas", { width: Math.max(1, Math.round(bitmap.width * scale)), height: Math.max(1, Math.round(bitmap.height * scale)) });
      canvas.getContext("2d").drawImage(bitmap, 0, 0, canvas.width, canvas.height);
      thumbs.set(photo.token, canvas.toDataURL("image/jpeg", 0.7));
    } catch { /* the office may still be able to read it */ }
    return thumbs.get(photo.token);
  };

  const picture = (address, words, state, href) => make("li", {},
    href ? make("a", { href }, make("img", { src: address, alt: words, loading: "lazy" })) : address ? make("img", { src: address, alt: words }) : make("span.dock-no-thumb", {}, words),
    make("span.small", {}, words), state);

  class Photos {
    constructor(root, app) {
      this.app = app;
      this.input = make("input", { type: "file", id: "dock-photo", accept: "image/*", multiple: true, onchange: () => this.chosen() });
      this.about = make("select", { id: "dock-photo-row" });
      this.remark = make("input", { id: "dock-photo-remark", maxlength: 200, autocomplete: "off" });
      this.error = make("p.field-error", { role: "alert", hidden: true });
      this.list = make("ul.dock-thumbs");
      this.form = make("div.dock-photo-form", {},
        make("div.field", {}, make("label", { for: "dock-photo-row" }, "What it shows"), this.about),
        make("div.field", {}, make("label", { for: "dock-photo-remark" }, "Remark"), this.remark),
        make("div.field", {}, make("label", { for: "dock-photo" }, "Take or choose a photo"), this.input));
      root.append(this.list, this.form, this.error);
    }

    update(state, waiting, rows, current) {
      this.form.hidden = !state.writable;
      const chosen = this.about.value || current || "";
      this.about.replaceChildren(make("option", { value: "" }, "the boat, the rig or the place"), ...rows.filter((row) => !row.sendRow).map((row) => make("option", { value: row.key }, Dock.nameOf(row))));
      this.about.value = rows.some((row) => row.key === chosen) ? chosen : "";
      const nameOf = (key) => { const row = rows.find((one) => one.key === key); return row ? Dock.nameOf(row) : "The visit"; };
      const words = (one) => nameOf(one.row) + (one.remark ? `: ${one.remark}` : "");
      fill(this.list, (state.photos || []).map((one) => picture(one.thumb || one.url, words(one), mark("disc", "with the office", "quiet"), one.url)),
        waiting.map((one) => picture(thumbs.get(one.token) || "", words(one), mark("sand", "waits here"))));
      waiting.filter((one) => !thumbs.has(one.token)).forEach(async (one) => { if (await thumbOf(one)) this.app.render(); });
    }

    async chosen() {
      const files = [...this.input.files];
      this.error.hidden = true;
      for (const file of files) {
        if (file.size > GREATEST) { this.complain(`${file.name} is larger than 12 MB; the office takes smaller ones only.`); continue; }
        if (file.type && !file.type.startsWith("image/")) { this.complain(`${file.name} is no picture.`); continue; }
        await this.app.keepPhoto({ blob: file, name: file.name, row: this.about.value, remark: this.remark.value.trim() });
      }
      this.input.value = "";
      this.remark.value = "";
    }

    complain(sentence) {
      this.error.hidden = false;
      this.error.replaceChildren(Dock.shape("stop"), make("span", {}, sentence));
    }
  }

  Object.assign(Dock, { Photos });
})();
