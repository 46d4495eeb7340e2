// Keeps an open page current and lets a device be told. Everything else works
// without this file.

const base = document.body.dataset.base;
const lang = document.documentElement.lang;
const title = document.title;
const lost = document.getElementById('lost');
// The sentences that this file says are the page's, in the page's language.
export const words = document.getElementById('words').dataset;

// --- live ---------------------------------------------------------------

// put replaces what is in an element, but not under somebody's fingers: open
// details stay open, focus stays where it was, and while a field is being
// filled in the news waits.
const waiting = new Map();

export function put(element, html) {
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
// and at once when the page wakes or the network is back. The server beats
// every 20 seconds: a stream that says nothing for longer is dead, though
// nothing may have told the browser so.
const silence = 50000;
const sleepy = 25000;

export function follow(address, last, on) {
  let source = null;
  let tries = 0;
  let timer = 0;
  let openedAt = 0;
  let heardAt = 0;

  const heard = (event) => {
    if (event.lastEventId) last = event.lastEventId;
    tries = 0;
    heardAt = Date.now();
    connected();
  };

  const open = () => {
    clearTimeout(timer);
    source?.close();
    const url = new URL(address, location.href);
    if (last) url.searchParams.set('last', last);
    source = new EventSource(url);
    openedAt = Date.now();
    source.addEventListener('beat', (event) => { heard(event); renew(event.data); });
    for (const [name, then] of Object.entries(on)) {
      source.addEventListener(name, (event) => { heard(event); then(event.data); });
    }
    source.onerror = () => {
      source.close();
      tries += 1;
      if (tries > 1 || keptAt) complain(heardAt || keptAt || loadedAt);
      const wait = Math.min(30000, 500 * 2 ** tries) * (0.75 + Math.random() / 2);
      clearTimeout(timer);
      timer = setTimeout(open, wait);
    };
  };

  const quietFor = () => Date.now() - Math.max(heardAt, openedAt);
  setInterval(() => {
    // A stream that was opened says something at once. One that does not may
    // have got a dead connection that the browser had kept.
    const most = heardAt < openedAt ? 8000 * 2 ** Math.min(tries, 3) : silence;
    if (source.readyState === EventSource.CLOSED || quietFor() < most) return;
    tries += 1;
    if (heardAt >= openedAt || tries > 1) complain(heardAt || keptAt || loadedAt);
    open();
  }, 4000);
  const wake = () => {
    if (document.visibilityState !== 'visible') return;
    if (source.readyState === EventSource.CLOSED || quietFor() > sleepy) open();
  };
  document.addEventListener('visibilitychange', wake);
  window.addEventListener('online', open);
  window.addEventListener('pageshow', (event) => { if (event.persisted) open(); });
  window.addEventListener('pagehide', () => source.close());
  open();
}

// renew loads the page anew when the server has other styles and scripts than
// the page was made with, but not while somebody fills in a field.
let renewing = false;

function renew(sum) {
  if (!sum || sum === document.body.dataset.sum || renewing) return;
  renewing = true;
  const active = document.activeElement;
  if (active?.matches('input, select, textarea')) {
    active.addEventListener('blur', () => location.reload(), { once: true });
  } else {
    location.reload();
  }
}

// What is shown is from then. A page that the worker kept says when that was.
const loadedAt = Date.now();
let keptAt = Number(document.body.dataset.kept ?? 0);
let lostSince = 0;

function complain(since) {
  lostSince = since;
  sayLost();
}

function sayLost() {
  if (!lostSince) return;
  const at = new Date(lostSince).toLocaleTimeString(lang, { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' });
  const minutes = Math.floor((Date.now() - lostSince) / 60000);
  const [many, unit] = minutes < 60 ? [minutes, 'minute'] : minutes < 48 * 60 ? [Math.floor(minutes / 60), 'hour'] : [Math.floor(minutes / 1440), 'day'];
  const ago = new Intl.RelativeTimeFormat(lang, { numeric: 'auto' }).format(-many, unit);
  const text = words.lost.replace('{at}', at).replace('{ago}', ago);
  if (lost.textContent !== text) lost.textContent = text;
  lost.hidden = false;
  document.body.classList.add('is-lost');
}
setInterval(sayLost, 15000);

function connected() {
  lostSince = 0;
  keptAt = 0;
  lost.hidden = true;
  document.body.classList.remove('is-lost');
}

// --- the last board ---------------------------------------------------------

// The worker keeps pages as they were loaded. What came since is kept beside
// them, at most every 20 seconds and when the page is put away.
const boards = 'caches' in window ? () => caches.open(`pages-${document.body.dataset.sum}`) : null;
const besides = (path) => `${path}?last-board`;
let news = null;
let keeping = 0;

async function keep() {
  clearTimeout(keeping);
  keeping = 0;
  if (!boards || !news) return;
  const text = JSON.stringify(news);
  news = null;
  const cache = await boards();
  await cache.put(besides(location.pathname), new Response(text));
}

function keepSoon() {
  news = { at: Date.now(), board: board.innerHTML, mine: mine.innerHTML };
  keeping ||= setTimeout(keep, 20000);
}

// restore shows what came after the kept page was loaded.
async function restore() {
  const later = await (await boards()).match(besides(location.pathname));
  const last = later ? await later.json() : null;
  if (last && last.at > keptAt && lostSince) {
    put(board, last.board);
    put(mine, last.mine);
    keptAt = last.at;
    complain(keptAt);
  }
}

// showLast puts the newest kept board of any room on the page that says that
// there is no connection.
async function showLast(place) {
  const cache = await boards();
  let newest = null;
  for (const request of await cache.keys()) {
    const path = new URL(request.url).pathname;
    if (!/\/r\/[^/]+$/.test(path) || new URL(request.url).search === '?last-board') continue;
    const kept = await cache.match(request);
    const page = new DOMParser().parseFromString(await kept.text(), 'text/html');
    const later = await (await cache.match(besides(path)))?.json();
    const at = Math.max(Number(kept.headers.get('x-kept')), later?.at ?? 0);
    if (newest && newest.at > at) continue;
    newest = { at, title: page.querySelector('h1').textContent, html: later?.board ?? page.getElementById('board').innerHTML };
  }
  if (!newest) return;
  place.querySelector('h2').textContent = newest.title;
  place.querySelector('.board').innerHTML = newest.html;
  place.hidden = false;
  complain(newest.at);
}

const board = document.getElementById('board');
const mine = document.getElementById('mine');
if (keptAt) complain(keptAt);
if (board) {
  if (keptAt && boards) restore();
  badge();
  follow(board.dataset.events, board.dataset.last, {
    board: (html) => { put(board, html); keepSoon(); },
    mine: (html) => { put(mine, html); announce(); badge(); keepSoon(); },
  });
  document.addEventListener('visibilitychange', () => { if (document.hidden) keep(); });
}
const lastBoard = document.getElementById('last-board');
if (lastBoard && boards) showLast(lastBoard);

// badge says in the title, and on the icon of an installed page, how many
// things wait for the visitor: calls and loads that are ready.
function badge() {
  const now = mine.querySelector('.mine')?.dataset ?? {};
  const count = Number(now.count ?? 0);
  document.title = count ? `(${count}) ${now.say}` : title;
  navigator.setAppBadge?.(count).catch(() => {});
}

// --- being told -----------------------------------------------------------

const canPush = 'serviceWorker' in navigator && 'PushManager' in window && 'Notification' in window;
// Some phones let a page notify only once it is on the home screen: they say
// whether it is (standalone), and have no notices for one that is not.
const needsHomeScreen = !canPush && navigator.standalone === false;

// The worker comes after the page: its files must not delay what is looked at.
const loaded = new Promise((resolve) => {
  if (document.readyState === 'complete') resolve();
  else window.addEventListener('load', resolve, { once: true });
});
const worker = 'serviceWorker' in navigator
  ? loaded.then(() => navigator.serviceWorker.register(`${base}/sw.js`, { scope: `${base}/`, updateViaCache: 'none' }))
  : Promise.reject(new Error(words.noPush));
worker.catch(() => {}); // Said when somebody asks to be told.

function bytes(base64url) {
  const text = atob(base64url.replace(/-/g, '+').replace(/_/g, '/'));
  return Uint8Array.from(text, (c) => c.charCodeAt(0));
}

async function subscribe(to) {
  if (!canPush) throw new Error(words.noPush);
  if (await Notification.requestPermission() !== 'granted') throw new Error(words.pushDenied);
  await worker;
  const { pushManager } = await navigator.serviceWorker.ready;
  const answer = await fetch(`${base}/push-key`);
  if (!answer.ok) throw new Error(words.noNotices);
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
  if (!kept.ok) throw new Error(words.pushFailed);
}

for (const button of document.querySelectorAll('[data-push]')) {
  if (needsHomeScreen) {
    button.hidden = true;
    continue;
  }
  button.addEventListener('click', async () => {
    const say = button.closest('section, aside').querySelector('.push-say');
    button.disabled = true;
    try {
      await subscribe(button.dataset.push);
      say.textContent = words.pushOn;
    } catch (err) {
      say.textContent = err.message;
      button.disabled = false;
    }
  });
}

for (const hint of document.querySelectorAll('[data-home-screen]')) hint.hidden = !needsHomeScreen;
for (const ask of document.querySelectorAll('[data-push-ask]')) {
  ask.hidden = !needsHomeScreen && (!canPush || Notification.permission === 'denied');
}
