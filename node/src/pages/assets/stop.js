// Stop: one press, in every state. It is shown here at once, and sent again until the node has it.
import { note, send } from './page.js';

const root = document.documentElement;
/** A touch shorter than this is a drop of rain, not a finger. */
const CONTACT_MS = 40;
/** And so long after the first touch it counts, lifted or not. */
const PRESS_MS = 120;
const AGAIN_MS = 250;
/** After so long without the node's answer the page says that it has not left. */
const UNSENT_MS = 1000;
/** One press is one stop, however the finger trembles. */
const SAME_PRESS_MS = 600;

/** The press on its way: when it was made. */
let pressedAt = null;
let lastPress = -1e9;

/** Shows Stop work from what came with the page, before anybody has answered. */
function showOwn() {
  note([]);
  root.dataset.call = 'stop';
  root.dataset.pressed = 'sent';
  delete root.dataset.sheet;
  const main = document.querySelector('main');
  main.dataset.call = 'stop';
  const own = document.querySelector('#pressed').content.firstElementChild.cloneNode(true);
  main.querySelector('.band').replaceWith(own);
}

/** What the node shows takes the place of the own picture as soon as the node knows of a stop. */
export function shownByNode(to) {
  if (pressedAt === null) return;
  if (to.dataset.call === 'stop') {
    return;
  }
  to.dataset.call = 'stop';
  to.querySelector('.band').replaceWith(document.querySelector('main .band').cloneNode(true));
}

function unsent() {
  root.dataset.pressed = 'unsent';
  const words = document.querySelector('.band .sent');
  if (words) words.textContent = root.dataset.unsent;
}

async function deliver(fields, button) {
  const at = performance.now();
  pressedAt = at;
  for (;;) {
    const late = setTimeout(unsent, Math.max(0, UNSENT_MS - (performance.now() - at)));
    try {
      const answered = await send('/press', fields);
      if (answered.ok) {
        clearTimeout(late);
        break;
      }
    } catch {
      // Not reached: again.
    }
    if (performance.now() - at < UNSENT_MS) clearTimeout(late);
    await new Promise((again) => setTimeout(again, AGAIN_MS));
  }
  if (pressedAt === at) {
    pressedAt = null;
    delete root.dataset.pressed;
  }
  button?.classList.remove('pressed');
}

function fire(button) {
  const now = performance.now();
  if (now - lastPress < SAME_PRESS_MS) return;
  lastPress = now;
  const form = button.closest('form');
  const fields = Object.fromEntries(new FormData(form));
  const name = Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16)).join('');
  showOwn();
  button.classList.add('pressed');
  navigator.vibrate?.([800, 200, 800]);
  deliver({ ...fields, name, script: 1 }, button);
}

export function watch() {
  let downAt = 0;
  let timer = null;
  const stopOf = (event) => event.target.closest?.('[data-control=stop], [data-control=allstop], [data-control=emergency]');
  addEventListener('pointerdown', (event) => {
    const button = stopOf(event);
    if (!button) return;
    downAt = performance.now();
    clearTimeout(timer);
    timer = setTimeout(() => fire(button), PRESS_MS);
  });
  addEventListener('pointerup', (event) => {
    const button = stopOf(event);
    clearTimeout(timer);
    if (button && performance.now() - downAt >= CONTACT_MS) fire(button);
  });
  addEventListener('pointercancel', () => clearTimeout(timer));
  // The form is for pages without scripts.
  addEventListener('submit', (event) => {
    if (stopOf(event) || event.target.matches('.stopform')) event.preventDefault();
  });
  addEventListener('keydown', (event) => {
    if (event.repeat) return;
    const button = stopOf(event);
    if (button && (event.key === 'Enter' || event.key === ' ')) {
      event.preventDefault();
      fire(button);
    }
    if (event.key === 'F9') {
      event.preventDefault();
      fire(document.querySelector('[data-control=stop]'));
    }
  });
}
