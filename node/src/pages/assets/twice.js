// Twice: a confirmation by two presses, for who cannot keep a control pressed: the second at another place, a second or
// more after the first, with a tick of the node in between.
import { heardAt, isFresh } from './page.js';

/** Between the two presses at least, ms; and at most. */
const LEAST_MS = 1000, MOST_MS = 15000;

let going = null;

export const wanted = () => document.documentElement.dataset.presses === 'two';
export const isGoing = () => going !== null;

const second = () => document.querySelector('.second');

/** Lets go; says whether there was anything. */
export function letGo(why) {
  if (!going) return false;
  clearTimeout(going.ready);
  clearTimeout(going.late);
  going.button.classList.remove('pressed');
  going.button.dataset.last = why;
  second()?.classList.remove('on', 'high');
  going = null;
  return true;
}

/** The first press. */
export function first(button) {
  if (letGo('again') || !isFresh()) return;
  const { top, height } = button.getBoundingClientRect();
  const text = [...button.querySelector('.tx').childNodes].filter((node) => node.nodeName !== 'SMALL');
  going = {
    button,
    at: performance.now(),
    heard: heardAt(),
    late: setTimeout(() => letGo('late'), MOST_MS),
    // The second place is not there before its time, so that a double press is not two.
    ready: setTimeout(() => {
      const place = second();
      place.querySelector('.quote').textContent = text.map((node) => node.textContent).join('');
      place.classList.add('on');
      place.classList.toggle('high', top + height / 2 > innerHeight / 2 || !button.closest('.sheet'));
      place.focus();
    }, Math.max(LEAST_MS, Number(button.dataset.hold) || 0)),
  };
  button.classList.add('pressed');
}

/** The second press: the control that is confirmed and the time between, or nothing. */
export function both() {
  if (!going) return null;
  const { button, at, heard } = going;
  const live = isFresh() && heardAt() !== heard;
  letGo(live ? 'sent' : 'dead');
  return live ? { button, held: performance.now() - at } : null;
}
