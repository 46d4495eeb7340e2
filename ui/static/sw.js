// Shows notices and opens the page that they are about.

const base = new URL(self.registration.scope).pathname.replace(/\/$/, '');

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));

// A push must always show something, or the browser says that the page misbehaved.
self.addEventListener('push', (event) => {
  let notice = {};
  try {
    notice = event.data?.json() ?? {};
  } catch {
    notice = {};
  }
  const url = notice.data?.url ?? notice.url ?? `${base}/`;
  const shown = self.registration.showNotification(notice.title || 'Laundry', {
    body: notice.body || 'Something has changed. Open the page to see it.',
    tag: notice.tag || 'laundry',
    renotify: Boolean(notice.tag),
    icon: `${base}/icons/icon-192.png`,
    badge: `${base}/icons/badge-96.png`,
    data: { url },
  }).then(() => {
    const channel = new BroadcastChannel('drumturn');
    channel.postMessage({ shown: notice.tag || 'laundry' });
    channel.close();
  });
  event.waitUntil(shown);
});

// ours keeps a notice from leading to another site.
function ours(address) {
  try {
    const url = new URL(address, self.registration.scope);
    if (url.origin === self.location.origin) return url.href;
  } catch {
    // Not an address: the front page will do.
  }
  return self.registration.scope;
}

self.addEventListener('notificationclick', (event) => {
  event.notification.close();
  const url = ours(event.notification.data?.url);
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
    const body = () => new URLSearchParams({ endpoint, p256dh: keys.p256dh, auth: keys.auth });
    for (const who of ['/me/devices', '/manager/devices']) {
      const kept = await fetch(base + who, { method: 'POST', body: body(), credentials: 'same-origin' });
      if (kept.ok) return;
    }
  })());
});
