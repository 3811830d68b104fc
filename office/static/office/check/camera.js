// Reads a code with the camera or from a picture, where the browser can; otherwise says why not and what helps.
"use strict";

(() => {
  const PAUSE = 200; // ms between two looks
  const MOST_FAULTS = 10; // one after another, then the reader is given up
  const INSTEAD = "The phone's own camera app can: it opens the address in the code, and a browser that has kept this page answers there without a network too. Or paste the text of the code below.";
  const NO_READER = `This browser cannot read a square code itself. ${INSTEAD}`;

  // Whether this browser reads square codes; some have the reader by name only.
  const hasReader = async () => {
    try { return (await globalThis.BarcodeDetector.getSupportedFormats()).includes("qr_code"); } catch { return false; }
  };

  const whyNot = async () => {
    if (!globalThis.isSecureContext) return `The camera is open to pages over https only. ${INSTEAD}`;
    if (!navigator.mediaDevices?.getUserMedia) return `This browser gives no camera to a page. ${INSTEAD}`;
    return (await hasReader()) ? "" : NO_READER;
  };

  const reader = () => new globalThis.BarcodeDetector({ formats: ["qr_code"] });

  // The text of a code in a picture. Throws one sentence.
  const readPicture = async (file) => {
    if (!(await hasReader())) throw new Error(NO_READER);
    let codes;
    try { codes = await reader().detect(await createImageBitmap(file)); } catch { throw new Error("This picture cannot be read."); }
    if (!codes.length) throw new Error("No square code was found in this picture. Take it from nearer, straight from above and in good light.");
    return codes[0].rawValue;
  };

  /** Looks until a code is seen, then stops the camera. `tell` hears "starting", "looking", "off", and a trouble in words. */
  class Camera {
    constructor(video, { found, tell }) {
      Object.assign(this, { video, found, tell, stream: null, turn: 0 });
      const whenAway = () => { if (document.hidden) this.stop(); };
      document.addEventListener("visibilitychange", whenAway);
      window.addEventListener("pagehide", () => this.stop());
    }

    get on() { return Boolean(this.stream) || this.starting; }

    async start() {
      const turn = this.turn += 1;
      this.starting = true;
      this.tell("starting");
      try {
        const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
        if (turn !== this.turn) { stream.getTracks().forEach((track) => track.stop()); return; } // stopped meanwhile
        this.stream = stream;
        this.video.srcObject = stream;
        this.video.hidden = false;
        await this.video.play();
      } catch {
        if (turn === this.turn) this.stop("The camera was not allowed, is in use or is missing. Paste the text of the code instead.");
        return;
      } finally {
        if (turn === this.turn) this.starting = false;
      }
      if (turn !== this.turn) return; // stopped while the picture began
      this.tell("looking");
      await this.look(turn, reader());
    }

    async look(turn, detector) {
      let faults = 0;
      while (turn === this.turn) {
        let codes = [];
        try { codes = await detector.detect(this.video); faults = 0; } catch { faults += 1; }
        if (turn !== this.turn) return;
        if (codes.length) { this.stop(); this.found(codes[0].rawValue); return; }
        if (faults >= MOST_FAULTS) { this.stop(NO_READER); return; }
        await new Promise((resolve) => { setTimeout(resolve, PAUSE); });
      }
    }

    stop(trouble = "") {
      const was = this.on;
      this.turn += 1;
      this.starting = false;
      this.stream?.getTracks().forEach((track) => track.stop());
      this.stream = this.video.srcObject = null;
      this.video.hidden = true;
      if (was) this.tell("off", trouble);
    }
  }

  Object.assign(rigCheck, { whyNoCamera: whyNot, readPicture, Camera });
})();
