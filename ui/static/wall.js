// The screen in the laundry room: current, heard when somebody is called, dark
// outside opening hours, and never quite still.

import { follow, put } from './app.js';

const wall = document.getElementById('wall');
const main = document.getElementById('main');
const lang = document.documentElement.lang;

// The worker keeps what every page needs, and this file is not among that.
window.caches?.open(`files-${document.body.dataset.sum}`).then((files) => files.add(import.meta.url)).catch(() => {});

// --- calls that are heard -----------------------------------------------------

// What sounds is chosen at each screen, by its button or by ?sound= in its
// link. Some browsers make no sound before the screen was touched once.
const sounds = ['off', 'chime', 'voice'];
const button = document.getElementById('sound');
const asked = new URL(location.href).searchParams.get('sound');
let sound = sounds.includes(asked) ? asked : localStorage.getItem('wall-sound') ?? 'off';
let audio = null;

function choose(next) {
  sound = sounds.includes(next) ? next : 'off';
  localStorage.setItem('wall-sound', sound);
  button.textContent = button.dataset[sound];
  if (sound !== 'off' && 'AudioContext' in window) audio ??= new AudioContext();
  audio?.resume();
}

// chime plays two tones, a fourth apart, that ring out.
function chime() {
  if (!audio) return;
  [660, 880].forEach((pitch, i) => {
    const at = audio.currentTime + i * 0.35;
    const tone = audio.createOscillator();
    const loud = audio.createGain();
    tone.frequency.value = pitch;
    loud.gain.setValueAtTime(0.0001, at);
    loud.gain.exponentialRampToValueAtTime(0.3, at + 0.02);
    loud.gain.exponentialRampToValueAtTime(0.0001, at + 1.2);
    tone.connect(loud).connect(audio.destination);
    tone.start(at);
    tone.stop(at + 1.3);
  });
}

function say(text) {
  if (sound !== 'voice' || !('speechSynthesis' in window)) return;
  const words = new SpeechSynthesisUtterance(text);
  words.lang = lang;
  speechSynthesis.speak(words);
}

const calls = () => new Map([...wall.querySelectorAll('[data-call]')].map((c) => [c.dataset.call, c.dataset.say]));
let called = calls(); // Those of when the page was opened were heard, or nobody was there.

function hear() {
  const now = calls();
  const fresh = [...now].filter(([call]) => !called.has(call));
  called = now;
  if (fresh.length === 0 || sound === 'off') return;
  chime();
  for (const [, text] of fresh) say(text);
}

button.parentElement.hidden = false;
button.addEventListener('click', () => choose(sounds[(sounds.indexOf(sound) + 1) % sounds.length]));
choose(sound);

// --- the light -----------------------------------------------------------------

function light() { document.body.classList.toggle('is-shut', wall.querySelector('.shut') !== null); }
light();

// A picture that stands for years burns in. This one goes around a small circle,
// a step a minute, too slowly to be seen.
const radius = 8;
let step = 0;
export function shift() {
  step = (step + 1) % 12;
  const angle = (step / 12) * 2 * Math.PI;
  main.style.translate = `${Math.round(radius * Math.cos(angle))}px ${Math.round(radius * Math.sin(angle))}px`;
}
setInterval(shift, 60000);

// --- current ---------------------------------------------------------------------

// The invitation beside the board may have changed; a page loaded anew would be
// silent until somebody touches it.
async function refresh() {
  const answer = await fetch(location.href);
  if (!answer.ok) return;
  const next = new DOMParser().parseFromString(await answer.text(), 'text/html');
  for (const part of ['.wall-invite', '.wall-way']) {
    const [old, now] = [document.querySelector(part), next.querySelector(part)];
    if (old && now && old.innerHTML !== now.innerHTML) old.innerHTML = now.innerHTML;
  }
}
setInterval(() => refresh().catch(() => {}), 10 * 60 * 1000);

follow(wall.dataset.events, wall.dataset.last, {
  wall: (html) => { put(wall, html); hear(); light(); },
});
