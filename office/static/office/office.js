// Small helps for every page; each page works without them.
"use strict";

// An answer that could not be had is said where messages are said, and nothing on the page is lost.
const sayInMessages = (text) => {
  const region = document.getElementById("messages");
  if (!region) return;
  const list = document.createElement("ul");
  const item = document.createElement("li");
  list.className = "messages";
  item.className = "error";
  item.textContent = text;
  list.append(item);
  region.replaceChildren(list);
};

document.addEventListener("htmx:sendError", () =>
  sayInMessages("The office could not be reached. Nothing on this page is lost; try again."));

document.addEventListener("htmx:responseError", (event) => {
  const status = event.detail.xhr.status;
  sayInMessages(status === 403
    ? "Not allowed, or the sign-in has run out. Reload the page and sign in again."
    : `The office answered with an error (${status}). Nothing was stored; try again.`);
});

// A passkey that was not used, or a browser that has none.
document.addEventListener("allauth.error", (event) => {
  event.preventDefault();
  sayInMessages("No passkey was used: the browser has none for this office, or it was put away. Another way works too.");
});

// Errors of a form that came back are read out first.
document.addEventListener("DOMContentLoaded", () => document.querySelector(".form-errors")?.focus());

// A form is sent once, however often its button is pressed.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post") return;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  setTimeout(() => delete form.dataset.sent, 5000);
});
window.addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach((form) => delete form.dataset.sent));

// Feet and inches beside the millimetres: the address asks, this browser remembers.
const beside = new URLSearchParams(location.search).get("beside");
if (beside) document.cookie = `beside=${beside === "feet" ? "feet" : "none"}; path=/; max-age=31536000; samesite=lax`;

// Signing out takes along what this browser kept for a dead network: pages and figures. Readings that wait stay; the dock
// page shows them to the person who typed them.
document.addEventListener("submit", (event) => {
  if (!event.target.action?.endsWith("/sign-out/")) return;
  globalThis.indexedDB?.deleteDatabase("dock-kept");
  globalThis.caches?.delete("dock-pages");
});
