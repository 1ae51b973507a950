// Keeps a page for the field on the phone, so that it opens with no signal. KEEP is put before this by the
// server: what to keep, and a version that changes when any of it does.
const CACHE = `kept ${KEEP.page} ${KEEP.version}`;
const PATIENCE_MS = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil(keepAll().then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(dropOld().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && url.pathname === KEEP.page) {
    event.respondWith(pageNow(request));
  } else if (KEEP.shell.includes(url.pathname) || KEEP.faces.includes(url.pathname)) {
    event.respondWith(keptFirst(request));
  }
});

async function keepAll() {
  const cache = await caches.open(CACHE);
  await cache.addAll(KEEP.shell.map((url) => new Request(url, { cache: "reload" })));
  // A face that is missing is replaced by the phone's own; the page must still be kept.
  await Promise.allSettled(KEEP.faces.map((url) => cache.add(url)));
  await keepPage(await fetch(KEEP.page, { credentials: "same-origin" }));
}

// Only the page itself: not a sign-in page that came in its place, nor an error.
async function keepPage(answer) {
  if (!answer.ok || answer.redirected || answer.type !== "basic") return;
  const cache = await caches.open(CACHE);
  await cache.put(KEEP.page, answer.clone());
}

async function dropOld() {
  const mine = `kept ${KEEP.page} `;
  for (const name of await caches.keys()) {
    if (name.startsWith(mine) && name !== CACHE) await caches.delete(name);
  }
}

async function pageNow(request) {
  const kept = await caches.match(KEEP.page, { cacheName: CACHE });
  const fresh = fetch(request).then(async (answer) => {
    await keepPage(answer);
    return answer;
  });
  if (!kept) return fresh;
  const patience = new Promise((resolve) => setTimeout(() => resolve(kept), PATIENCE_MS));
  return Promise.race([fresh.then((answer) => (answer.status >= 500 ? kept : answer)), patience]).catch(
    () => kept,
  );
}

async function keptFirst(request) {
  return (await caches.match(request, { cacheName: CACHE })) || fetch(request);
}
