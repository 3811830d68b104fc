// Keeps the dock pages and their files, so that they open where the network or the office is dead. Readings are not its
// business: they wait in the page's own database. It answers for nothing but the files below and pages that end in /dock/.
"use strict";

const VERSION = "{{ version|escapejs }}";
const FILES = {{ files_json|safe }};
const FILES_KEPT = `dock-files-${VERSION}`;
const PAGES_KEPT = "dock-pages"; // a sign-out deletes it
const PATIENCE = 3000; // ms, then the kept page is shown

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(FILES_KEPT).then((kept) => kept.addAll(FILES)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (name) => name.startsWith("dock-files-") && name !== FILES_KEPT;
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name))))
    .then(() => self.clients.claim())
    .then(keepOpenPages));
});

// The page that brought this worker was loaded without it: keep it now, or the first dead network would find nothing.
const keepOpenPages = async () => {
  const pages = await self.clients.matchAll({ type: "window" });
  await Promise.all(pages.filter((page) => isDock(new URL(page.url))).map((page) => fromOffice(plain(page.url)).catch(() => null)));
};

const isDock = (url) => url.origin === self.location.origin && url.pathname.endsWith("/dock/");
const plain = (address) => { const url = new URL(address); return url.origin + url.pathname; };

const fromOffice = async (request) => {
  const answer = await fetch(request, { credentials: "same-origin" });
  if (answer.ok && !answer.redirected) {
    const kept = await caches.open(PAGES_KEPT);
    await kept.put(plain(answer.url), answer.clone());
  }
  return answer;
};

const patience = () => new Promise((resolve) => { setTimeout(() => resolve(null), PATIENCE); });

const showDock = async (request) => {
  const asked = fromOffice(request).catch(() => null);
  const quick = await Promise.race([asked, patience()]);
  if (quick && quick.status < 500) return quick;
  const kept = await caches.match(plain(request.url), { cacheName: PAGES_KEPT });
  return kept || quick || (await asked) || Response.error();
};

const showFile = async (request) => (await caches.match(request, { cacheName: FILES_KEPT })) || fetch(request);

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (event.request.mode === "navigate") {
    if (isDock(url)) event.respondWith(showDock(event.request));
  } else if (FILES.includes(url.pathname)) {
    event.respondWith(showFile(event.request));
  }
});
