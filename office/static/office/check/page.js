// The page itself: contact with the office, what is pasted, chosen or dropped, and the answers.
"use strict";

(() => {
  const root = document.getElementById("anywhere");
  const at = (id) => document.getElementById(id);
  const { element } = rigCheck;
  const REMEMBERED = "rig-check-contact";
  const LARGEST = 20 * 1024 * 1024;
  const lists = { keys: null, ended: null };
  const seen = { code: null, file: null, amendment: null };

  // ---- Contact with the office ----

  const fetched = async (address) => {
    try {
      const answer = await fetch(address, { credentials: "omit" });
      if (!answer.ok) return null;
      return { document: await answer.json(), kept: answer.headers.has("X-Kept") };
    } catch { return null; }
  };

  const remembered = () => { try { return JSON.parse(localStorage.getItem(REMEMBERED)) ?? {}; } catch { return {}; } };
  const remember = (contact) => { try { localStorage.setItem(REMEMBERED, JSON.stringify(contact)); } catch { /* goes without */ } };

  const span = (ms) => {
    const minutes = Math.round(Math.abs(ms) / 60000);
    if (minutes < 2) return "a minute";
    if (minutes < 120) return `${minutes} minutes`;
    return minutes < 2880 ? `${Math.round(minutes / 60)} hours` : `${Math.round(minutes / 1440)} days`;
  };

  // What this device's clock says to the office's, one sentence each.
  const clockSays = (contact, now) => {
    const said = [];
    if (!contact.office) return said;
    const off = contact.here - Date.parse(contact.office);
    if (Math.abs(off) > rigCheck.LEEWAY) {
      said.push(`At the last contact this device's clock was ${span(off)} ${off > 0 ? "ahead of" : "behind"} the office's. Set it: what is said of today goes by it.`);
    }
    if (now + rigCheck.LEEWAY < contact.here) {
      said.push("This device's clock now shows a time before the last contact: it was set back. What is said of today cannot be relied on.");
    }
    return said;
  };

  const ask = async () => {
    at("contact-said").textContent = "Asking the office …";
    const [keys, ended] = await Promise.all([fetched(root.dataset.keys), fetched(root.dataset.ended)]);
    lists.keys = keys?.document ?? lists.keys;
    lists.ended = ended?.document ?? lists.ended;
    const now = Date.now();
    if (keys && ended && !keys.kept && !ended.kept) remember({ office: ended.document.as_of, here: now });
    tell(now, Boolean(keys?.kept || ended?.kept || !keys));
  };

  const tell = (now, kept) => {
    const { keys, ended } = lists;
    const more = [];
    if (!keys) {
      at("contact-said").textContent = "The office cannot be reached, and this browser has not kept its keys: nothing can be checked yet. Open this page once with a network.";
    } else if (!keys.keys.length) {
      at("contact-said").textContent = `${keys.office} has published no keys: it has sealed no certificate yet.`;
    } else {
      at("contact-said").textContent = kept
        ? `No contact now. Checked by what ${keys.office} said at ${ended?.as_of ?? keys.as_of}, ${span(now - Date.parse(ended?.as_of ?? keys.as_of))} ago.`
        : `${keys.office} answered just now, at ${keys.as_of}.`;
      more.push(`${keys.keys.length} keys, of which ${keys.keys.filter((key) => !key.retired_at).length} are in use.`);
      if (ended) more.push(`${ended.ended.length} certificates withdrawn, suspended or replaced before their printed last day.`);
    }
    more.push(...clockSays(remembered(), now));
    at("contact-more").replaceChildren(...more.map((sentence) => element("li", { textContent: sentence })));
  };

  const keepForLater = async () => {
    const line = element("li", { textContent: "" });
    if (!navigator.serviceWorker) line.textContent = "This browser keeps the page for later only over https: without a network it will not open here.";
    else {
      try {
        await navigator.serviceWorker.register(root.dataset.worker, { scope: root.dataset.scope });
        await navigator.serviceWorker.ready;
        root.dataset.ready = "yes";
        line.textContent = "This page is kept in this browser and opens without a network.";
      } catch { line.textContent = "This browser did not keep the page: without a network it will not open here."; }
    }
    at("contact-more").append(line);
  };

  // ---- Answers ----

  const answer = async (given, title, place) => {
    if (!lists.keys) { await ask(); }
    if (!lists.keys) {
      at("answers").replaceChildren(element("p", { textContent: "Without the office's keys nothing can be checked: open this page once with a network." }));
      return;
    }
    const now = Date.now();
    const verdict = await rigCheck.check(given, lists.keys, now);
    const mine = { verdict, title, given };
    seen[place === "file" && verdict.amends ? "amendment" : place] = mine;
    const shown = Object.values(seen).filter(Boolean);
    for (const one of shown) one.verdict = one === mine ? verdict : await rigCheck.check(one.given, lists.keys, now); // as if alone
    const { code, file, amendment } = seen;
    for (const one of [file, amendment]) if (code && one) rigCheck.compare(code.verdict, one.verdict);
    if (file && amendment) await rigCheck.compareAmendment(file.verdict, amendment.verdict);
    shown.forEach((one) => { one.verdict.today = rigCheck.standing(one.verdict, lists.ended, now); });
    at("answers").replaceChildren(...shown.map((one) => rigCheck.show(one.verdict, one.title)));
    at("answers").children[shown.indexOf(mine)]?.querySelector("h2").focus();
  };

  const checkFile = async (file) => {
    if (!file) return;
    if (file.size > LARGEST) {
      at("answers").replaceChildren(element("p", { textContent: `${file.name} is larger than any certificate.` }));
      return;
    }
    if (file.type.startsWith("image/")) {
      try {
        at("code").value = await rigCheck.readPicture(file);
        await answer(at("code").value, "", "code");
      } catch (error) { at("answers").replaceChildren(element("p", { textContent: error.message })); }
      return;
    }
    await answer(new Uint8Array(await file.arrayBuffer()), file.name, "file");
  };

  // ---- What people do ----

  at("code-form").addEventListener("submit", (event) => {
    event.preventDefault();
    answer(at("code").value, "", "code");
  });
  at("file").addEventListener("change", () => checkFile(at("file").files[0]));
  at("again").addEventListener("click", ask);
  at("forget").addEventListener("click", () => {
    Object.assign(seen, { code: null, file: null, amendment: null });
    at("code").value = "";
    at("file").value = "";
    at("answers").replaceChildren();
  });
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    const [file] = event.dataTransfer.files;
    if (file) checkFile(file);
    else if (event.dataTransfer.getData("text")) answer(event.dataTransfer.getData("text"), "", "code");
  });

  // ---- The camera ----

  const SAID = { starting: ["Stop the camera", "Starting the camera …"], looking: ["Stop the camera", "Hold the code of the paper before the camera."], off: ["Read it with the camera", ""] };
  const camera = new rigCheck.Camera(at("picture"), {
    found: (text) => { at("code").value = text; answer(text, "", "code"); },
    tell: (state, trouble = "") => {
      [at("camera").textContent] = SAID[state];
      at("camera-said").textContent = trouble || SAID[state][1];
    },
  });
  at("camera").addEventListener("click", () => { if (camera.on) camera.stop(); else camera.start(); });
  rigCheck.whyNoCamera().then((why) => {
    at("camera").disabled = Boolean(why);
    at("camera-said").textContent = why;
    if (why) at("camera").setAttribute("aria-describedby", "camera-said");
  });

  // Opened by a phone that read the code and found no office: the address holds all that is needed.
  const begin = async () => {
    await ask();
    if (location.hash.length > 1 && location.pathname !== root.dataset.scope && location.pathname.startsWith(`${root.dataset.scope}c/`)) {
      at("code").value = location.href;
      await answer(location.href, "", "code");
    }
    await keepForLater();
  };
  begin();
})();
