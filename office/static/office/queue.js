// Through the queue by keyboard: j and k follow the page's "next" and "before" links, or step through the queue's rows.
// Never while something is typed, never with Ctrl, Alt or Meta; whoever does not want single letters switches them off.
"use strict";

(() => {
  const STORE = "queue-keys";
  const line = document.querySelector("[data-queue-keys]");
  if (!line) return;
  const button = line.querySelector("button");
  const listens = () => { try { return localStorage.getItem(STORE) !== "off"; } catch { return true; } };
  const say = () => { button.textContent = listens() ? "Switch the keys off" : "Switch the keys on"; };
  button.addEventListener("click", () => {
    try { localStorage.setItem(STORE, listens() ? "off" : "on"); } catch { /* nothing is remembered, then */ }
    say();
  });
  say();
  line.hidden = false;

  const rows = () => [...document.querySelectorAll("[data-queue-row]")];
  const step = (by) => {
    const link = document.querySelector(`a[rel=${by > 0 ? "next" : "prev"}]`);
    if (link) { link.click(); return; }
    const all = rows();
    if (!all.length) return;
    const here = all.indexOf(document.activeElement);
    all[here < 0 ? (by > 0 ? 0 : all.length - 1) : Math.min(all.length - 1, Math.max(0, here + by))].focus();
  };

  document.addEventListener("keydown", (event) => {
    const typing = event.target.closest?.("input, select, textarea, [contenteditable]");
    if (typing || event.ctrlKey || event.altKey || event.metaKey || !listens()) return;
    if (event.key === "j") step(1);
    else if (event.key === "k") step(-1);
    else return;
    event.preventDefault();
  });
})();
