// Brings what waits to the office: in order, one sender at a time on this device, again and again until it has an answer.
// An entry leaves the device only when the office has said "stored", "already" or "conflict" (which it then keeps).
"use strict";

(() => {
  const FIRST_WAIT = 2000; // ms; doubled after each attempt without an answer
  const LONGEST_WAIT = 60_000;
  const PATIENCE = 20_000; // ms for one answer
  const PHOTO_PATIENCE = 120_000;
  const MOST = 100; // entries in one request; the office takes up to 500

  const cookie = (name) => decodeURIComponent(
    document.cookie.split("; ").find((one) => one.startsWith(`${name}=`))?.slice(name.length + 1) || "");

  /** A request with an end; the answer with its JSON document, or null where it is none. Throws if there is no answer. */
  const ask = async (url, options, patience = PATIENCE) => {
    const breaker = new AbortController();
    const timer = setTimeout(() => breaker.abort(), patience);
    try {
      const answer = await fetch(url, { credentials: "same-origin", redirect: "manual", cache: "no-store", ...options, signal: breaker.signal });
      const text = answer.status === 304 || answer.type === "opaqueredirect" ? "" : await answer.text();
      let document_ = null;
      try { document_ = text ? JSON.parse(text) : null; } catch { /* an error page */ }
      return { status: answer.status, etag: answer.headers.get("ETag") || "", document: document_ };
    } finally {
      clearTimeout(timer);
    }
  };

  // Only the fields the office knows travel.
  const FIELDS = ["token", "kind", "row", "position", "take", "text", "unit", "instrument", "remark", "reason", "typed_at", "by", "replaces", "choose"];
  const forOffice = (item) => Object.fromEntries(FIELDS.filter((name) => item[name] !== undefined && item[name] !== null).map((name) => [name, item[name]]));

  /**
   * @param {Dock.Store} store
   * @param {{page: string, stateUrl: string, sendUrl: string, photoUrl: string}} addresses
   * @param {{onState: function, onChange: function, onAnswers: function, onShut: function, me: function}} listeners
   */
  class Sender {
    constructor(store, addresses, listeners) {
      Object.assign(this, { store, addresses, listeners });
      this.etag = "";
      this.reach = "unknown"; // unknown | reached | dead | signed_out | refused
      this.signIn = "";
      this.refusal = ""; // what the office says against all of it
      this.reachedAt = "";
      this.wait = FIRST_WAIT;
      this.timer = 0;
      this.busy = false;
      this.again = false;
    }

    /** Send everything that waits, then look at the state once if nothing was sent. Never throws; calls in between add one round. */
    async now() {
      if (this.busy) { this.again = true; return; }
      this.busy = true;
      clearTimeout(this.timer);
      this.listeners.onChange();
      try {
        do { this.again = false; await this.alone(() => this.round()); } while (this.again);
      } finally {
        this.busy = false;
        this.plan();
        this.listeners.onChange();
      }
    }

    /** Tabs of one device take turns where the browser has locks; elsewhere the tokens keep a reading single. */
    alone(work) {
      return navigator.locks ? navigator.locks.request(`dock ${this.addresses.page}`, work) : work();
    }

    async round() {
      try {
        if (!this.listeners.me() && !(await this.fetchState())) return; // who is signed in is not known before the first state
        let sent = false;
        for (let batch = await this.mine("entries"); batch.length && this.listeners.me(); batch = await this.mine("entries")) {
          if (!(await this.sendBatch(batch))) return;
          sent = true;
        }
        for (const photo of await this.mine("photos")) {
          if (!(await this.sendPhoto(photo))) return;
          sent = true;
        }
        if (!sent) await this.fetchState();
      } catch (error) {
        this.noAnswer(error);
      }
    }

    async mine(kind) {
      const me = this.listeners.me()?.key;
      const waiting = (await this.store.all(kind)).filter((one) => one.page === this.addresses.page && one.status === "waiting" && one.by === me);
      return waiting.slice(0, Math.max(1, Math.min(MOST, this.most || MOST)));
    }

    async fetchState() {
      const answer = await ask(this.addresses.stateUrl, { headers: this.etag ? { "If-None-Match": this.etag } : {} });
      if (answer.status === 304) { this.reached(); return true; }
      if (!this.isDocument(answer, "rows")) return false;
      this.etag = answer.etag;
      this.reached();
      await this.listeners.onState(answer.document, answer.etag);
      return true;
    }

    post(url, body, headers = {}, patience = PATIENCE) {
      return ask(url, { method: "POST", body, headers: { "X-CSRFToken": cookie("csrftoken"), ...headers } }, patience);
    }

    /** After a new sign-in the form token is another: fetch the state, which brings it, and try once more. */
    async postTwice(...args) {
      const answer = await this.post(...args);
      if (answer.status !== 403 || !answer.document?.csrf) return answer;
      this.etag = "";
      if (!(await this.fetchState())) return null;
      return this.post(...args);
    }

    async sendBatch(batch) {
      const tokens = batch.map((one) => one.token);
      await this.store.change("entries", tokens, (one) => ({ attempts: one.attempts + 1 }));
      const body = JSON.stringify({ device: this.store.device, entries: batch.map(forOffice) });
      const answer = await this.postTwice(this.addresses.sendUrl, body, { "Content-Type": "application/json" });
      if (!answer) return false;
      if ([400, 413, 422].includes(answer.status)) return this.narrow(batch, answer);
      if (!this.isDocument(answer, "answers")) return false;
      this.most = MOST;
      const settled = await this.take("entries", answer.document, batch);
      this.etag = "";
      this.reached();
      if (answer.document.state) await this.listeners.onState(answer.document.state, "");
      this.listeners.onAnswers(answer.document.answers);
      return settled > 0; // an answer that settles nothing is not asked for again at once
    }

    /** The office cannot read the request: halve it, until the one entry is found that it cannot read. */
    async narrow(batch, answer) {
      this.most = Math.floor(batch.length / 2);
      if (batch.length === 1) {
        const sentence = answer.document?.refused || `The office could not read this entry (${answer.status}).`;
        await this.store.change("entries", [batch[0].token], () => ({ status: "refused", sentence }));
        this.most = MOST;
      }
      return true;
    }

    /** What the answers settle on this device; how many. A stranger's sign-in refuses nothing for good: its person can come back. */
    async take(kind, { answers, state }, asked) {
      const signedIn = state?.me?.key;
      const mine = answers.filter((one) => asked.some((item) => item.token === one.token && (!signedIn || item.by === signedIn)));
      const refused = new Map(mine.filter((one) => one.outcome === "refused").map((one) => [one.token, one.sentence]));
      const finished = mine.filter((one) => ["stored", "already", "conflict"].includes(one.outcome)).map((one) => one.token);
      await this.store.change(kind, [...refused.keys()], (one) => ({ status: "refused", sentence: refused.get(one.token) }));
      await this.store.remove(kind, finished);
      return refused.size + finished.length;
    }

    async sendPhoto(photo) {
      await this.store.change("photos", [photo.token], (one) => ({ attempts: one.attempts + 1 }));
      const form = new FormData();
      for (const name of ["token", "row", "remark"]) form.append(name, photo[name] || "");
      form.append("photo", photo.blob, photo.name || "photo.jpg");
      const answer = await this.postTwice(this.addresses.photoUrl, form, {}, PHOTO_PATIENCE);
      if (!answer) return false;
      if ([400, 413, 422].includes(answer.status)) {
        const sentence = answer.document?.refused || `The office could not take this photo (${answer.status}).`;
        await this.store.change("photos", [photo.token], () => ({ status: "refused", sentence }));
        return true;
      }
      if (answer.document?.outcome) answer.document = { answers: [answer.document], state: answer.document.state };
      if (!this.isDocument(answer, "answers")) return false;
      const settled = await this.take("photos", answer.document, [photo]);
      this.etag = "";
      this.reached();
      if (answer.document.state) await this.listeners.onState(answer.document.state, "");
      else await this.fetchState();
      return settled > 0;
    }

    /** Whether the answer is the document asked for; otherwise what it is becomes the state of the line. */
    isDocument(answer, field) {
      const { status, document: given } = answer;
      if (status === 200 && given && (!field || given[field])) return true;
      if (status === 401 || given?.sign_in) {
        this.reach = "signed_out";
        this.signIn = given?.sign_in || this.addresses.signInUrl;
      } else if (given?.refused) {
        this.reach = "refused";
        this.refusal = given.refused;
        if (status === 403 || status === 404) this.listeners.onShut(given.me);
      } else {
        this.noAnswer(new Error(status ? `the office answered with an error (${status})` : "the way to the office leads elsewhere"));
      }
      return false;
    }

    reached() {
      this.reach = "reached";
      this.refusal = "";
      this.reachedAt = new Date().toISOString();
      this.wait = FIRST_WAIT;
    }

    noAnswer(error) {
      this.reach = "dead";
      this.trouble = String(error?.message || error);
    }

    /** When to try again by itself: sooner while something waits, with pauses that grow; signed out, only a person helps. */
    plan() {
      clearTimeout(this.timer);
      if (this.reach === "signed_out" || (this.reach === "reached" && document.hidden)) return; // seen again, it asks at once
      const pause = this.reach === "reached" ? LONGEST_WAIT / 2 : this.wait;
      if (this.reach !== "reached") this.wait = Math.min(this.wait * 2, LONGEST_WAIT);
      this.timer = setTimeout(() => this.now(), pause * (0.8 + 0.4 * Math.random()));
    }
  }

  Object.assign(Dock, { Sender });
})();
