// Keeps the page that checks certificates, with all it needs, and answers for it where the office cannot be reached.
"use strict";

const NAME = "check-{{ version }}";
const KEPT = [{% for address in kept %}"{{ address|escapejs }}", {% endfor %}];
const PAGE = "{{ page|escapejs }}";
const CODES = "{{ codes|escapejs }}";
const PATIENCE = 4000; // ms: a dead network often says nothing at all

// Kept as nobody in particular sees it: no cookie goes along.
const asked = (address) => new Request(address, { credentials: "omit", cache: "no-cache" });

self.addEventListener("install", (event) => event.waitUntil((async () => {
  const cache = await caches.open(NAME);
  await cache.addAll(KEPT.map(asked));
  await self.skipWaiting();
})()));

self.addEventListener("activate", (event) => event.waitUntil((async () => {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith("check-") && name !== NAME).map((name) => caches.delete(name)));
  await self.clients.claim();
})()));

const fromNetwork = (request) => Promise.race([
  fetch(request),
  new Promise((_, refuse) => { setTimeout(() => refuse(new Error("no answer")), PATIENCE); }),
]);

// The office first; what was kept where it does not answer, marked as such.
const freshest = async (request, address) => {
  const cache = await caches.open(NAME);
  try {
    const answer = await fromNetwork(request);
    if (!answer.ok) throw new Error(`the office answered ${answer.status}`);
    await cache.put(address, answer.clone());
    return answer;
  } catch (error) {
    const kept = await cache.match(address);
    if (!kept) throw error;
    const headers = new Headers(kept.headers);
    headers.set("X-Kept", "yes");
    return new Response(kept.body, { status: kept.status, headers });
  }
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    const mine = address.pathname === PAGE;
    const code = address.pathname.startsWith(CODES);
    if (mine) event.respondWith(freshest(asked(PAGE), PAGE));
    else if (code) event.respondWith(fromNetwork(request).catch(async () => (await caches.open(NAME)).match(PAGE)));
    return;
  }
  if (!KEPT.includes(address.pathname)) return;
  const list = address.pathname.endsWith(".json");
  event.respondWith(list
    ? freshest(asked(address.pathname), address.pathname)
    : caches.match(address.pathname).then((kept) => kept ?? fetch(request)));
});
