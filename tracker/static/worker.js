// Keeps the public shell only: files by their content's hash, and one empty page. No page of a person is ever kept.
const NAME = `washbell-${VERSION}`;

self.addEventListener("install", (event) => {
  const page = new Request(SHELL[0], { credentials: "omit", cache: "no-store" });
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll([page, ...SHELL.slice(1)])).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (names) => names.filter((name) => name.startsWith("washbell-") && name !== NAME);
  event.waitUntil(
    caches.keys().then((names) => Promise.all(old(names).map((name) => caches.delete(name)))).then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (address.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(() => caches.match(SHELL[0])));
  } else if (request.method === "GET" && SHELL.indexOf(address.pathname + address.search) > 0) {
    event.respondWith(caches.match(request).then((kept) => kept || fetch(request)));
  }
});
