// Reads a code with the camera, where the browser can; otherwise says why not.
"use strict";

(() => {
  const PAUSE = 200; // ms between two looks

  const whyNot = () => {
    if (!globalThis.isSecureContext) return "The camera is open to pages over https only. Paste the text instead.";
    if (!navigator.mediaDevices?.getUserMedia) return "This browser gives no camera to a page. Paste the text instead.";
    if (!globalThis.BarcodeDetector) return "This browser does not read square codes itself. Read it with another app and paste the text.";
    return "";
  };

  // Looks until a code is seen; `found` is called once with its text. Returns what stops it.
  const look = async (video, found) => {
    const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    const detector = new globalThis.BarcodeDetector({ formats: ["qr_code"] });
    let going = true;
    const stop = () => {
      going = false;
      stream.getTracks().forEach((track) => track.stop());
      video.hidden = true;
    };
    video.srcObject = stream;
    video.hidden = false;
    await video.play();
    const again = async () => {
      if (!going) return;
      const [code] = await detector.detect(video).catch(() => []);
      if (code && going) { stop(); found(code.rawValue); } else setTimeout(again, PAUSE);
    };
    again();
    return stop;
  };

  Object.assign(rigCheck, { whyNoCamera: whyNot, look });
})();
