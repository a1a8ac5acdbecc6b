// Under HTTPS the judge's page survives a reload without signal: what it was made of the last time is kept here.
// Marks and cards are not: they stand in the page's own store, with or without this.
const KEPT = "fairbox-seat";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { method, url } = event.request;
  const path = new URL(url).pathname;
  const wanted = path.endsWith("/seat/") || path.startsWith("/static/");
  if (method === "GET" && wanted) event.respondWith(freshOrKept(event.request));
});

async function freshOrKept(request) {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    // A page that asks to sign in is no judge's page.
    if (answer.ok && !answer.redirected) await kept.put(request, answer.clone());
    return answer;
  } catch (failure) {
    const found = await kept.match(request, { ignoreSearch: true });
    if (found) return found;
    throw failure;
  }
}
