// What this device keeps: entries and photos that wait (database "dock-waiting"), and the last state of each page
// (database "dock-kept", which a sign-out deletes). Where the browser refuses to keep something, it stays in this page's
// memory and is counted as not kept, which the page says loudly.
"use strict";

(() => {
  const asPromise = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  const open = (name, build) => new Promise((resolve, reject) => {
    if (!globalThis.indexedDB) { reject(new Error("this browser has no database")); return; }
    const request = indexedDB.open(name, 1);
    request.onupgradeneeded = () => build(request.result);
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      const database = request.result;
      database.onversionchange = () => database.close();
      resolve(database);
    };
  });

  const PATIENCE = 5000; // ms; a database that does not open by then is asked once more, then it counts as refused

  /** Browsers have been seen to leave a request to open a database without any answer. */
  const openSoon = async (name, build) => {
    const limit = () => new Promise((resolve, reject) => { setTimeout(() => reject(new Error("its database does not answer")), PATIENCE); });
    try { return await Promise.race([open(name, build), limit()]); }
    catch { return Promise.race([open(name, build), limit()]); }
  };

  const done = (transaction) => new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error || new Error("the device refused"));
    transaction.onerror = () => reject(transaction.error);
  });

  /** Random and url-safe, 22 characters of 128 bits: works without a secure context, where randomUUID does not exist. */
  const token = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return btoa(String.fromCharCode(...bytes)).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
  };

  /**
   * The device's store. An item is what is sent plus what only this device needs: `page` (key of the document), `seq`
   * (order of typing), `attempts`, `status` ("waiting" or "refused"), `sentence`, `byName`, `title`, `address`.
   */
  class Store {
    constructor() {
      this.database = null;
      this.kept = null;
      this.trouble = ""; // why the device keeps nothing
      this.unkept = { entries: new Map(), photos: new Map() };
      this.device = token();
      this.channel = globalThis.BroadcastChannel ? new BroadcastChannel("dock") : null;
    }

    async open() {
      try {
        this.database = await openSoon("dock-waiting", (database) => {
          database.createObjectStore("entries", { keyPath: "token" });
          database.createObjectStore("photos", { keyPath: "token" });
          database.createObjectStore("device", { keyPath: "name" });
        });
        this.device = await this.deviceName();
      } catch (error) {
        this.database = null;
        this.trouble = String(error?.message || error);
      }
      try {
        this.kept = await openSoon("dock-kept", (database) => database.createObjectStore("states", { keyPath: "page" }));
      } catch { this.kept = null; } // only comfort: without it a dead network shows no former state
    }

    async deviceName() {
      const found = await asPromise(this.database.transaction("device").objectStore("device").get("device"));
      if (found) return found.value;
      const transaction = this.database.transaction("device", "readwrite");
      transaction.objectStore("device").put({ name: "device", value: this.device });
      await done(transaction);
      return this.device;
    }

    /** Keep an item; true if the device did, false if only this page's memory has it. */
    async add(kind, item) {
      const whole = { attempts: 0, status: "waiting", sentence: "", ...item };
      try {
        await this.write(kind, async (items) => {
          const last = Math.max(0, ...(await asPromise(items.getAll())).map((one) => one.seq || 0));
          items.add({ ...whole, seq: last + 1 });
        });
        this.tell();
        return true;
      } catch (error) {
        if (error?.name === "ConstraintError") return true; // this very token is kept already
        this.trouble = String(error?.message || error);
        this.unkept[kind].set(whole.token, { ...whole, seq: Date.now(), unkept: true });
        return false;
      }
    }

    async write(kind, change) {
      if (!this.database) throw new Error(this.trouble || "the device keeps nothing");
      const transaction = this.database.transaction(kind, "readwrite", { durability: "strict" });
      const finished = done(transaction);
      finished.catch(() => {}); // also thrown below, where it is waited for
      await change(transaction.objectStore(kind));
      await finished;
    }

    /** Everything that waits, in the order of typing. */
    async all(kind) {
      let items = [];
      if (this.database) {
        try { items = await asPromise(this.database.transaction(kind).objectStore(kind).getAll()); }
        catch (error) { this.trouble = String(error?.message || error); }
      }
      return [...items, ...this.unkept[kind].values()].sort((one, other) => one.seq - other.seq);
    }

    /** Change an item that is still here; whatever another tab has finished meanwhile stays finished. */
    async change(kind, tokens, changes) {
      const wanted = new Set(tokens);
      this.unkept[kind].forEach((item, name) => { if (wanted.has(name)) Object.assign(item, changes(item)); });
      const kept = tokens.filter((name) => !this.unkept[kind].has(name));
      if (!kept.length || !this.database) return;
      await this.write(kind, async (items) => {
        for (const name of kept) {
          const item = await asPromise(items.get(name));
          if (item) items.put({ ...item, ...changes(item) });
        }
      });
    }

    async remove(kind, tokens) {
      tokens.forEach((name) => this.unkept[kind].delete(name));
      if (this.database && tokens.length) {
        await this.write(kind, async (items) => tokens.forEach((name) => items.delete(name)));
      }
      this.tell();
    }

    /** Take an item back that was never sent; false if it has been on its way, so the office may have it. */
    async takeBack(kind, name) {
      if (this.unkept[kind].get(name)?.attempts === 0) return this.unkept[kind].delete(name);
      let gone = false;
      if (!this.database) return false;
      await this.write(kind, async (items) => {
        const item = await asPromise(items.get(name));
        if (item && item.attempts === 0) { items.delete(name); gone = true; }
      });
      this.tell();
      return gone;
    }

    async keepState(page, state, etag) {
      if (!this.kept) return;
      try {
        const transaction = this.kept.transaction("states", "readwrite");
        transaction.objectStore("states").put({ page, state, etag });
        await done(transaction);
      } catch { /* the next answer of the office tries again */ }
    }

    async keptState(page) {
      if (!this.kept) return null;
      try { return await asPromise(this.kept.transaction("states").objectStore("states").get(page)) || null; }
      catch { return null; }
    }

    async forgetState(page) {
      if (!this.kept) return;
      try { this.kept.transaction("states", "readwrite").objectStore("states").delete(page); } catch { /* closed by a sign-out: gone anyway */ }
    }

    /** Another tab of this device looks again. */
    tell() { this.channel?.postMessage("changed"); }
    onTold(listen) { if (this.channel) this.channel.onmessage = listen; }
  }

  Object.assign(Dock, { Store, token });
})();
