"use strict";
/* Keeps the pocket page in the phone, so that it opens without a network. A new version replaces the old one. */
const NAME = "tautwire-pocket-aaa438c64cc3", FILES = ["./", "index.html", "manifest.webmanifest", "icon.svg"];
self.addEventListener("install", (e) => e.waitUntil(caches.open(NAME).then((c) => c.addAll(FILES)).then(() => self.skipWaiting())));
self.addEventListener("activate", (e) => e.waitUntil(caches.keys()
  .then((names) => Promise.all(names.filter((n) => n.startsWith("tautwire-pocket-") && n !== NAME).map((n) => caches.delete(n))))
  .then(() => self.clients.claim())));
self.addEventListener("fetch", (e) => {
  if (e.request.method === "GET") e.respondWith(caches.match(e.request, { ignoreSearch: true }).then((kept) => kept ?? fetch(e.request)));
});
