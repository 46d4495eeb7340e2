// Keeps an open page current and lets a device be told. Everything else works
// without this file.

const base = document.body.dataset.base;
const lost = document.getElementById('lost');

// --- live ---------------------------------------------------------------

// put replaces what is in an element, but not under somebody's fingers: open
// details stay open, focus stays where it was, and while a field is being
// filled in the news waits.
const waiting = new Map();

function put(element, html) {
  const active = document.activeElement;
  const inside = element.contains(active);
  if (inside && active.matches('input, select, textarea')) {
    waiting.set(element, html);
    active.addEventListener('blur', () => {
      const last = waiting.get(element);
      waiting.delete(element);
      if (last !== undefined) put(element, last);
    }, { once: true });
    return;
  }
  waiting.delete(element);
  const open = [...element.querySelectorAll('details')].map((d) => d.open);
  const focusable = 'a[href], button, summary';
  const focused = inside ? [...element.querySelectorAll(focusable)].indexOf(active) : -1;
  element.innerHTML = html;
  const now = [...element.querySelectorAll('details')];
  if (now.length === open.length) now.forEach((d, i) => { d.open = open[i]; });
  if (focused >= 0) element.querySelectorAll(focusable)[focused]?.focus({ preventScroll: true });
}

// announce tells screen readers what changed about the visitor's own; what the
// page said when it was opened is no news.
const toSay = () => document.querySelector('#mine > .mine')?.dataset.say ?? '';
let saidLast = toSay();

function announce() {
  const text = toSay();
  if (text !== saidLast) document.getElementById('say').textContent = text;
  saidLast = text;
}

// follow keeps a stream open. A lost one is opened again, ever less often,
// and at once when the page wakes or the network is back.
function follow(address, last, on) {
  let source = null;
  let tries = 0;
  let timer = 0;
  let heardAt = new Date();

  const heard = (event) => {
    if (event.lastEventId) last = event.lastEventId;
    tries = 0;
    heardAt = new Date();
    lost.hidden = true;
    document.body.classList.remove('is-lost');
  };

  const open = () => {
    clearTimeout(timer);
    source?.close();
    const url = new URL(address, location.href);
    if (last) url.searchParams.set('last', last);
    source = new EventSource(url);
    source.onopen = () => heard({});
    for (const [name, then] of Object.entries(on)) {
      source.addEventListener(name, (event) => { heard(event); then(event.data); });
    }
    source.onerror = () => {
      source.close();
      tries += 1;
      if (tries > 1) complain(heardAt);
      const wait = Math.min(30000, 500 * 2 ** tries) * (0.75 + Math.random() / 2);
      timer = setTimeout(open, wait);
    };
  };

  const wake = () => {
    if (document.visibilityState === 'visible' && source.readyState === EventSource.CLOSED) open();
  };
  document.addEventListener('visibilitychange', wake);
  window.addEventListener('online', wake);
  window.addEventListener('pageshow', (event) => { if (event.persisted) open(); });
  window.addEventListener('pagehide', () => source.close());
  open();
}

function complain(since) {
  const at = since.toLocaleTimeString([], { hour: '2-digit', minute: '2-digit' });
  lost.textContent = `Not connected since ${at}. What you see may be old.`;
  lost.hidden = false;
  document.body.classList.add('is-lost');
}

const board = document.getElementById('board');
const mine = document.getElementById('mine');
if (board) {
  follow(board.dataset.events, board.dataset.last, {
    board: (html) => put(board, html),
    mine: (html) => { put(mine, html); announce(); },
  });
}

const wall = document.getElementById('wall');
if (wall) {
  const loaded = Date.now();
  follow(wall.dataset.events, wall.dataset.last, {
    wall: (html) => {
      put(wall, html);
      // The invitation beside the board may have changed.
      if (Date.now() - loaded > 10 * 60 * 1000) location.reload();
    },
  });
}

// --- being told -----------------------------------------------------------

const canPush = 'serviceWorker' in navigator && 'PushManager' in window && 'Notification' in window;

const worker = 'serviceWorker' in navigator
  ? navigator.serviceWorker.register(`${base}/sw.js`, { scope: `${base}/` })
  : Promise.reject(new Error('This browser has no worker to show notices.'));
worker.catch(() => {}); // Said when somebody asks to be told.

function bytes(base64url) {
  const text = atob(base64url.replace(/-/g, '+').replace(/_/g, '/'));
  return Uint8Array.from(text, (c) => c.charCodeAt(0));
}

async function subscribe(to) {
  if (!canPush) {
    throw new Error('This browser takes no notices here. On some phones it does once the page was added to the home screen.');
  }
  if (await Notification.requestPermission() !== 'granted') {
    throw new Error('Notices are switched off for this page in the browser’s settings.');
  }
  await worker;
  const { pushManager } = await navigator.serviceWorker.ready;
  const answer = await fetch(`${base}/push-key`);
  if (!answer.ok) throw new Error('This building sends no notices to phones.');
  const key = bytes((await answer.text()).trim());
  const ask = () => pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
  let device;
  try {
    device = await ask();
  } catch (err) {
    // Subscribed with a key that the building no longer has.
    await (await pushManager.getSubscription())?.unsubscribe();
    device = await ask();
  }
  const { endpoint, keys } = device.toJSON();
  const kept = await fetch(to, {
    method: 'POST',
    body: new URLSearchParams({ endpoint, p256dh: keys.p256dh, auth: keys.auth }),
  });
  if (!kept.ok) throw new Error('This device could not be noted. Please try again.');
}

for (const button of document.querySelectorAll('[data-push]')) {
  button.addEventListener('click', async () => {
    const say = button.closest('section, aside').querySelector('.push-say');
    button.disabled = true;
    try {
      await subscribe(button.dataset.push);
      say.textContent = 'This device will be told.';
    } catch (err) {
      say.textContent = err.message;
      button.disabled = false;
    }
  });
}

for (const ask of document.querySelectorAll('[data-push-ask]')) {
  ask.hidden = !canPush || Notification.permission === 'denied';
}
