// Shows notices and opens the page that they are about.

const base = new URL(self.registration.scope).pathname.replace(/\/$/, '');

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));

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
  const shown = self.registration.showNotification(notice.title || 'Laundry', {
    body: notice.body || 'Something has changed. Open the page to see it.',
    tag,
    renotify: !repeated,
    icon: `${base}/icons/icon-192.png`,
    badge: `${base}/icons/badge-96.png`,
    data: { url: ours(notice.url ?? notice.data?.url) },
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

self.addEventListener('notificationclick', (event) => {
  event.notification.close();
  const url = event.notification.data?.url ?? self.registration.scope;
  event.waitUntil((async () => {
    const open = await self.clients.matchAll({ type: 'window', includeUncontrolled: true });
    const same = open.find((client) => client.url === url);
    if (same) return same.focus();
    return self.clients.openWindow(url);
  })());
});

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
