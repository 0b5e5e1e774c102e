// Page: takes what the node sends, keeps the Hold picture away while it does, and says to the node that it lives.
import { morph } from './morph.js';
import { cancel, watch as watchConfirm } from './confirm.js';
import { shownByNode, watch as watchStop } from './stop.js';
import { heard } from './sound.js';
import { open as openSheet, restore, watch as watchSheets } from './sheets.js';
import { watch as watchWay } from './way.js';

const root = document.documentElement;
const STALE_MS = 1000;
/** Content that a person is typing, or that the page writes: the node does not write over it. */
const KEPT = 'input, output, .judge, .spoken, .note, .answer, .seen, .quote, .read, .beat i';

let stream = 0;
let last = -1e9;
let answering = false;

/** Whether the node was heard within the last second. */
export const isFresh = () => performance.now() - last < STALE_MS;
/** When it was heard last. */
export const heardAt = () => last;

/** Sends a form to the node. */
export async function send(path, fields) {
  const body = new URLSearchParams(fields);
  return fetch(path, { method: 'POST', body, credentials: 'same-origin' });
}

/** A note stays at least so long, and then until what is shown changes. */
const NOTE_MS = 3000;
let notedAt = 0;

/** Shows a few lines next to what they are about. */
export function note(lines) {
  notedAt = performance.now();
  const place = document.querySelector('.note');
  place.textContent = lines.join(' ');
  place.classList.toggle('on', lines.length > 0);
}

function notLive() {
  root.classList.remove('live-ok');
  last = -1e9;
  cancel('dead');
}

async function answer(tick) {
  if (answering || document.hidden) return;
  answering = true;
  try {
    await send('/alive', { s: stream, n: tick.n });
  } catch {
    // The next tick is answered, or there is none.
  }
  answering = false;
}

function show(html) {
  const holder = document.createElement('template');
  holder.innerHTML = html;
  const to = holder.content.firstElementChild;
  const from = document.querySelector('main');
  const before = [from.dataset.face, root.dataset.call];
  shownByNode(to);
  morph(from, to, KEPT);
  root.dataset.call = from.dataset.call;
  if (from.dataset.face !== before[0] || root.dataset.call !== before[1]) cancel('changed');
  if (from.dataset.face !== before[0] && performance.now() - notedAt > NOTE_MS) note([]);
  restore();
  offerCamera();
}

function tick(event) {
  const data = JSON.parse(event.data);
  stream = data.s;
  if (data.other) {
    source.close();
    root.dataset.other = '';
    notLive();
    return;
  }
  if (data.html) show(data.html);
  if (document.hidden) return;
  last = performance.now();
  root.classList.add('live-ok');
  heard();
  for (const one of document.querySelectorAll('.stale, .live')) {
    for (const animation of one.getAnimations()) animation.currentTime = 0;
  }
  const beat = document.querySelector('.beat i');
  if (beat) beat.style.translate = `${(data.n % 4) * 100}%`;
  answer(data);
}

/** The camera, on the one page that has a control for it. */
async function offerCamera() {
  if (document.querySelector('[data-control=camera]')) (await import('./camera.js')).offer();
}

let source;
function open() {
  delete root.dataset.other;
  const offset = -new Date().getTimezoneOffset();
  if (root.dataset.offset !== String(offset)) send('/setting', { offset, script: 1 }).catch(() => {});
  source = new EventSource(`/live?as=${root.dataset.page}&offset=${offset}`);
  source.onmessage = tick;
}

/** Shows another page of this device, without leaving this one: sound and full screen stay. */
export function turnTo(page) {
  root.dataset.page = page;
  notLive();
  source.close();
  open();
}

document.addEventListener('visibilitychange', () => {
  if (document.hidden) notLive();
});
addEventListener('pagehide', () => {
  notLive();
  navigator.sendBeacon('/closed', new URLSearchParams({ s: stream }));
});
addEventListener('pageshow', (event) => {
  if (!event.persisted) return;
  notLive();
  source.close();
  open();
});
// What was answered can lie over what is asked next: it goes when that is touched, or itself.
addEventListener('pointerdown', (event) => {
  if (event.target.closest?.('.note, input')) note([]);
});
addEventListener('contextmenu', (event) => event.preventDefault());

// What is confirmed after reading can be confirmed when its end was on the glass.
const end = document.querySelector('.read > :last-child');
if (end) {
  new IntersectionObserver((seen) => {
    if (seen.some((one) => one.isIntersecting)) root.dataset.read = '';
  }).observe(end);
}

watchStop({ pressed: () => note([]), shows: () => isFresh() && document.querySelector('.band[data-own]') });
watchConfirm();
watchSheets();
watchWay();
openSheet('start');
open();
