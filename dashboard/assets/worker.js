// Keeps the last Water page and its files, so that a phone without a network still shows the last
// known state. The page itself says that it is old (water.js): nothing here makes it look fresh.
"use strict";
const PAGES = "pages-1", FILES = "files-1", MOST_FILES = 40;
const ours = (url) => url.origin === location.origin;
const water = (url) => /^\/$|^\/at\/[^/]+\/$/.test(url.pathname);

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (e) => e.waitUntil((async () => {
  for (const name of await caches.keys()) if (![PAGES, FILES].includes(name)) await caches.delete(name);
  await self.clients.claim();
})()));

async function file(request) {
  const kept = await caches.open(FILES), held = await kept.match(request);
  if (held) return held;  // named by its content: it never changes
  const fresh = await fetch(request);
  if (fresh.ok) {
    await kept.put(request, fresh.clone());
    const all = await kept.keys();
    for (const old of all.slice(0, Math.max(0, all.length - MOST_FILES))) await kept.delete(old);
  }
  return fresh;
}

// The network first; within four seconds, or when it fails, what was kept.
async function page(request) {
  const kept = await caches.open(PAGES), held = await kept.match(request.url);
  const net = fetch(request).then(async (fresh) => {
    if (fresh.ok && !fresh.redirected) await kept.put(request.url, fresh.clone());
    else if (fresh.redirected || fresh.type === "opaqueredirect") await kept.delete(request.url);  // signed out
    return fresh;
  });
  if (!held) return net;
  net.catch(() => {});
  return Promise.race([
    net.catch(() => held),
    new Promise((done) => setTimeout(() => done(held), 4000)),
  ]);
}

// Any other page without a network: a word, and the way to what is kept.
async function other(request) {
  try { return await fetch(request); } catch (error) {
    const base = (new URL(request.url).pathname.match(/^\/at\/[^/]+\//) || ["/"])[0];
    const words = "<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content='width=device-width'>"
      + "<title>Not reachable</title><body style='font:1.2rem/1.5 system-ui;margin:2rem;max-width:34em'>"
      + "<h1>Holdwater cannot be reached</h1><p>This page needs the server. <a href='" + base
      + "'>The water as it was last seen</a> is kept on this phone.</p>";
    return new Response(words, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
  }
}

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (!ours(url) || e.request.method !== "GET") return;
  if (url.pathname.startsWith("/kept/")) e.respondWith(file(e.request));
  else if (e.request.mode === "navigate") e.respondWith(water(url) ? page(e.request) : other(e.request));
});
