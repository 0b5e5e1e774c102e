// Stop: one press, in every state and on every page. It is shown here at once, and sent again until it is taken.

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
/** What the page does about it besides: `pressed` at once, `taken` when it is; `shows`: whether its node shows the stop. */
let page = {};

/** A stop was pressed here, and is not taken yet. */
export const isOnItsWay = () => pressedAt !== null;

/** Shows Stop work from what came with the page, before anybody has answered. */
function showOwn() {
  page.pressed?.();
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

/** After a while without an answer: it has not left this screen, unless the node shows it as its own. Then the node
    says who has it; it is not yet on a disk, and is sent again should the node end before it is. */
function tell(at) {
  if (performance.now() - at < UNSENT_MS) return;
  root.dataset.pressed = page.shows?.() ? 'sent' : 'unsent';
  const words = document.querySelector('.band .sent');
  if (words) words.textContent = root.dataset.unsent;
}

async function deliver(form, fields, button) {
  const at = performance.now();
  pressedAt = at;
  const telling = setInterval(tell, AGAIN_MS, at);
  for (;;) {
    try {
      const answered = await fetch(form.getAttribute('action'), { method: 'POST', body: new URLSearchParams(fields) });
      if (answered.ok) break;
    } catch {
      // Not reached: again.
    }
    await new Promise((again) => setTimeout(again, AGAIN_MS));
  }
  clearInterval(telling);
  if (pressedAt === at) {
    pressedAt = null;
    delete root.dataset.pressed;
    page.taken?.();
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
  deliver(form, { ...fields, name, script: 1 }, button);
}

/** `doing`: what the page does about a press besides. */
export function watch(doing) {
  page = doing;
  /** Each finger that came down on a stop, by its pointer: no other finger's lifting says anything about it. */
  const down = new Map();
  const stopOf = (event) => event.target.closest?.('[data-control=stop], [data-control=allstop], [data-control=emergency]');
  /** The finger is off; what it pressed, and for how long. A finger that came down on something else pressed no stop,
      wherever it is lifted: the page may have changed under it. */
  const off = (event) => {
    const press = down.get(event.pointerId);
    down.delete(event.pointerId);
    clearTimeout(press?.timer);
    return press;
  };
  addEventListener('pointerdown', (event) => {
    const button = stopOf(event);
    if (!button) return;
    off(event);
    down.set(event.pointerId, { button, at: performance.now(), timer: setTimeout(() => fire(button), PRESS_MS) });
  });
  addEventListener('pointerup', (event) => {
    const press = off(event);
    if (press && performance.now() - press.at >= CONTACT_MS) fire(press.button);
  });
  addEventListener('pointercancel', off);
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
