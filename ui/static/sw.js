// Shows notices and opens the page that they are about; keeps the last board
// for when there is no connection. The server writes the sum of all styles and
// scripts before these lines, as self.sum: with each set of them comes another
// worker, with caches of its own.

const base = new URL(self.registration.scope).pathname.replace(/\/$/, '');

const filesCache = `files-${self.sum}`;
const pagesCache = `pages-${self.sum}`; // app.js writes to it, too
const offline = `${base}/offline`;

self.addEventListener('install', (event) => {
  self.skipWaiting();
  event.waitUntil((async () => {
    const files = await caches.open(filesCache);
    const wanted = ['app.css', 'app.js'].map((name) => `${base}/static/${self.sum}/${name}`);
    // Notices must work even where nothing can be kept.
    await files.addAll([new Request(offline, { cache: 'reload' }), ...wanted]).catch(() => {});
  })());
});

self.addEventListener('activate', (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) {
    if (name !== filesCache && name !== pagesCache) await caches.delete(name);
  }
  await self.registration.navigationPreload?.enable();
  await self.clients.claim();
  // Pages that are open were loaded before this worker could keep them.
  for (const client of await self.clients.matchAll({ type: 'window' })) {
    const url = new URL(client.url);
    if (!keeps(url)) continue;
    await fetch(nameOf(url), { credentials: 'same-origin' }).then((answer) => keepPage(url, answer)).catch(() => {});
  }
})()));

// keeps says which pages are worth keeping: those with a board.
function keeps(url) {
  return url.origin === self.location.origin && /^\/(r\/[^/]+(\/wall)?)?$/.test(url.pathname.slice(base.length));
}

// nameOf is a page's address without what only one visit is about: what was just
// done, the code that was scanned.
function nameOf(url) {
  const name = new URL(url);
  name.searchParams.delete('done');
  name.searchParams.delete('code');
  name.hash = '';
  return name.href;
}

async function keepPage(url, answer) {
  if (!answer.ok || answer.redirected) return;
  const headers = new Headers(answer.headers);
  headers.delete('content-encoding');
  headers.set('x-kept', String(Date.now()));
  const pages = await caches.open(pagesCache);
  await pages.put(nameOf(url), new Response(await answer.blob(), { headers }));
}

// kept is the page as it was, marked with its time; the front page of a
// building may be the page of its room.
async function kept(url) {
  const pages = await caches.open(pagesCache);
  let found = await pages.match(nameOf(url));
  if (!found && url.pathname === `${base}/`) {
    const rooms = (await pages.keys()).filter((r) => /\/r\/[^/]+$/.test(r.url));
    if (rooms.length) return Response.redirect(rooms.at(-1).url);
  }
  if (!found) return null;
  const text = await found.text();
  const at = Number(found.headers.get('x-kept'));
  return new Response(text.replace('<body ', `<body data-kept="${at}" `), { headers: found.headers });
}

const patience = 6000; // with a connection that answers nothing, when there is something to show

async function navigate(event) {
  const { request } = event;
  const url = new URL(request.url);
  const reads = request.method === 'GET';
  const arrives = (async () => (await event.preloadResponse) ?? fetch(request))();
  arrives.then((answer) => {
    if (reads && keeps(url)) event.waitUntil(keepPage(url, answer.clone()));
    if (!reads && /\/(sign-out|forget)$/.test(url.pathname)) event.waitUntil(caches.delete(pagesCache));
  }).catch(() => {});
  const before = reads ? await kept(url) : null;
  const late = before && new Promise((resolve) => { setTimeout(() => resolve(before), patience); });
  try {
    const answer = await (late ? Promise.race([arrives, late]) : arrives);
    const gone = [502, 503, 504].includes(answer.status); // what a proxy says of a program that is not there
    return gone && before ? before : answer;
  } catch {
    return before ?? await caches.match(offline) ?? Response.error();
  }
}

async function file(request) {
  const files = await caches.open(filesCache);
  const found = await files.match(request);
  if (found) return found;
  const answer = await fetch(request);
  if (answer.ok && request.url.includes(`/static/${self.sum}/`)) await files.put(request, answer.clone());
  return answer;
}

self.addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (url.origin !== self.location.origin || !url.pathname.startsWith(`${base}/`)) return;
  if (event.request.mode === 'navigate') event.respondWith(navigate(event));
  else if (url.pathname.startsWith(`${base}/static/`)) event.respondWith(file(event.request));
});

const looks = { icon: `${base}/icons/icon-192.png`, badge: `${base}/icons/badge-96.png` };

// told remembers which notice a tag last showed: a notice that is sent twice
// replaces itself, and must not ring twice.
const told = new Map();

// A push must always show something, or the browser says that the page misbehaved.
self.addEventListener('push', (event) => {
  let notice = {};
  try {
    notice = event.data?.json() ?? {};
  } catch {
    // Not ours to read: the general sentence will do.
  }
  const tag = notice.tag || 'laundry';
  const repeated = notice.at !== undefined && told.get(tag) === notice.at;
  told.set(tag, notice.at);
  const post = typeof notice.post === 'string' ? ours(notice.post) : undefined;
  const shown = self.registration.showNotification(notice.title || 'Laundry', {
    ...looks,
    body: notice.body || 'Something has changed. Open the page to see it.',
    tag,
    renotify: !repeated,
    actions: post ? buttons(notice.buttons) : [],
    data: { url: ours(notice.url ?? notice.data?.url), post },
  }).then(() => {
    const channel = new BroadcastChannel('drumturn');
    channel.postMessage({ shown: tag });
    channel.close();
  });
  event.waitUntil(shown);
});

// ours makes the whole address of a page of these pages: a notice cannot lead
// to another site, and its path need not know under which prefix we live.
function ours(path) {
  if (typeof path !== 'string' || !path.startsWith('/')) return self.registration.scope;
  const below = base && !path.startsWith(`${base}/`) ? base + path : path;
  const url = new URL(below, self.location.origin);
  return url.origin === self.location.origin ? url.href : self.registration.scope;
}

// buttons are the actions of a notice, as many as this browser shows.
function buttons(list) {
  if (!Array.isArray(list)) return [];
  return list.filter((b) => b?.do && b?.title).slice(0, self.Notification?.maxActions ?? 0)
    .map((b) => ({ action: b.do, title: b.title }));
}

self.addEventListener('notificationclick', (event) => {
  const { notification, action } = event;
  notification.close();
  event.waitUntil(action && notification.data?.post ? press(notification, action) : open(notification));
});

// open shows the page that a notice is about.
async function open(notification) {
  const url = notification.data?.url ?? self.registration.scope;
  const windows = await self.clients.matchAll({ type: 'window', includeUncontrolled: true });
  const same = windows.find((client) => client.url === url);
  return same ? same.focus() : self.clients.openWindow(url);
}

// press does what a button says, and shows in a sentence what came of it. Who
// is no longer signed in gets the page; who has no connection the notice again, too.
async function press(notification, action) {
  const { title, body, tag, actions, data } = notification;
  let answer;
  try {
    answer = await fetch(data.post, {
      method: 'POST', body: new URLSearchParams({ do: action }), headers: { Accept: 'application/json' },
      credentials: 'same-origin', redirect: 'error', signal: AbortSignal.timeout(4000),
    });
  } catch {
    await self.registration.showNotification(title, { ...looks, body, tag, actions, data, silent: true });
    return open(notification);
  }
  const said = await answer.json().catch(() => null);
  if (!said?.title) return open(notification);
  return self.registration.showNotification(said.title, {
    ...looks, body: said.body, tag, actions: buttons(said.buttons), data, silent: true,
  });
}

// The push service has given the device another address: tell the building.
self.addEventListener('pushsubscriptionchange', (event) => {
  event.waitUntil((async () => {
    const answer = await fetch(`${base}/push-key`);
    if (!answer.ok) return;
    const text = (await answer.text()).trim().replace(/-/g, '+').replace(/_/g, '/');
    const key = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const device = event.newSubscription ??
      await self.registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
    const { endpoint, keys } = device.toJSON();
    const old = event.oldSubscription?.endpoint ?? '';
    const body = () => new URLSearchParams({ endpoint, p256dh: keys.p256dh, auth: keys.auth, old });
    for (const who of ['/me/devices', '/manager/devices']) {
      const kept = await fetch(base + who, { method: 'POST', body: body(), credentials: 'same-origin' });
      if (kept.ok) return;
    }
  })());
});
