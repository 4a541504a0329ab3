// Runs in the browser beside the pages where they come by TLS: a page that cannot
// be fetched says so at once, instead of an old copy that looks like the present.
// Files under /static never change under one address and are kept.
const KEPT = "padlark-static";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (e) => e.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) e.respondWith(kept(e.request));
  else if (e.request.mode === "navigate") e.respondWith(fetch(e.request).catch(away));
});

async function kept(request) {
  const cache = await caches.open(KEPT);
  const found = await cache.match(request);
  if (found) return found;
  const reply = await fetch(request);
  if (reply.ok) {
    const version = new URL(request.url).pathname.split("/")[2];
    for (const old of await cache.keys()) if (new URL(old.url).pathname.split("/")[2] !== version) await cache.delete(old);
    await cache.put(request, reply.clone());
  }
  return reply;
}

const away = () => new Response(`<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>No station</title>
<h1>NOT LIVE: the station does not answer</h1><p>Are you in the field's Wi-Fi? Is the station on? Then load this page again.</p>`,
{ status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
