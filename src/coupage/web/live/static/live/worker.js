// Opens a sheet that was open before while the network is away. The network goes first, always; what
// changes (data, pulse, touches) is never answered from here.
const KEPT = "coupage-sheet-1";
const PATIENCE_MS = 4000;
const ours = (url) => url.origin === location.origin && (/^\/seat\/[^/]+\/$/.test(url.pathname) || url.pathname.startsWith("/static/"));

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function answer(request) {
  const kept = await caches.open(KEPT);
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  try {
    const fresh = await fetch(request, { signal: stop.signal });
    if (fresh.ok) await kept.put(request, fresh.clone());
    // A server that is just starting, or its proxy, says no better than no network.
    if (fresh.status < 500) return fresh;
  } catch {
    // Below.
  } finally {
    clearTimeout(timer);
  }
  return (await kept.match(request, { ignoreSearch: true, ignoreVary: true })) ?? Response.error();
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method === "GET" && ours(new URL(request.url))) event.respondWith(answer(request));
});

// The first visit was fetched before this script was there: its files are fetched once more.
self.addEventListener("message", (event) => {
  const wanted = event.data?.keep;
  if (!Array.isArray(wanted)) return;
  event.waitUntil(caches.open(KEPT).then((kept) => Promise.allSettled(wanted.filter((each) => ours(new URL(each))).map((each) => kept.add(each)))));
});
