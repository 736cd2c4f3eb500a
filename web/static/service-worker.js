// Keeps the alarm page, and nothing else, so that it opens without a network. Forgets it when people change.
const PARTS = 'ringtell-parts';
const PAGES = 'ringtell-pages';
const PAGE = '/alarms';
const PART_OF_PAGE = '/alarms#part';
const PERSON = '/alarms?person';
const PATIENCE_MS = 6000;

self.addEventListener('install', (event) => event.waitUntil(self.skipWaiting()));
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));

self.addEventListener('message', (event) => {
  if (event.data?.forget) event.waitUntil(forget());
  if (event.data?.keep) event.waitUntil(keep(event.data.keep, event.data.person ?? ''));
});

self.addEventListener('notificationclick', (event) => {
  event.notification.close();
  event.waitUntil(self.clients.openWindow(event.notification.data?.href ?? PAGE));
});

self.addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== 'GET' || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith('/static/')) event.respondWith(part(event.request));
  else if (url.pathname === PAGE && url.search === '') event.respondWith(page(event.request));
});

async function forget() { await caches.delete(PAGES); }

// The page that is open is fetched once more for keeping, with every part it is made of; older parts go.
async function keep(parts, person) {
  await belongTo(person);
  const shelf = await caches.open(PARTS);
  const wanted = new Set(parts);
  for (const request of await shelf.keys()) {
    if (!wanted.has(new URL(request.url).pathname)) await shelf.delete(request);
  }
  for (const path of wanted) {
    if (!await shelf.match(path)) await shelf.add(path).catch(() => undefined);
  }
  await store(PAGE, await fetch(PAGE, { credentials: 'same-origin' }));
}

// What was kept for somebody else goes before anything is kept for this one.
async function belongTo(person) {
  const known = await (await caches.open(PAGES)).match(PERSON);
  if (known && await known.text() === person) return;
  await forget();
  await (await caches.open(PAGES)).put(PERSON, new Response(person));
}

async function part(request) {
  const kept = await caches.match(request.url);
  return kept ?? fetch(request);
}

async function page(request) {
  const key = request.headers.get('X-Fragment') === '1' ? PART_OF_PAGE : PAGE;
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    await store(key, answer.clone());
    return answer;
  } catch (trouble) {
    const kept = await (await caches.open(PAGES)).match(keyOf(key));
    if (!kept) throw trouble;
    const headers = new Headers(kept.headers);
    headers.set('X-Kept', '1');
    return new Response(await kept.blob(), { status: 200, headers });
  }
}

// The address of a shelf: an address has no part behind '#'.
function keyOf(key) { return key.replace('#', '?'); }

async function store(key, answer) {
  // Sent to the login: whoever it was is here no more.
  if (answer.redirected || answer.status === 401 || answer.status === 403 || answer.type === 'opaqueredirect') return forget();
  if (answer.ok) await (await caches.open(PAGES)).put(keyOf(key), answer);
}
