// Start: the first press on a page, and what is set once on each device. Nothing here has to be done before a stop.
import { close, open } from './sheets.js';
import { test, start as soundOn } from './sound.js';
import { note, send, turnTo } from './page.js';

const root = document.documentElement;
/** How much a press makes the card larger or smaller, CSS px to a real mm, and what is possible. */
const STEP = 0.1, LEAST = 2.5, MOST = 12;

const first = () => root.dataset.begin !== undefined;

async function keep(fields) {
  try {
    await send('/setting', { ...fields, script: 1 });
  } catch {
    note([root.dataset.nodeSilent]);
  }
}

async function fullScreen() {
  try {
    await root.requestFullscreen({ navigationUI: 'hide' });
    root.dataset.full = 'yes';
  } catch {
    // Not given: the browser's bar stays, and the sheet says so.
  }
}

const px = () => parseFloat(getComputedStyle(root).getPropertyValue('--mm'));

function size(by) {
  const mm = Math.min(MOST, Math.max(LEAST, px() + by));
  root.style.setProperty('--mm', `${mm.toFixed(1)}px`, 'important');
}

/** After the sheet that is done: the next one of the start, or the page. */
function next(name) {
  if (first() && document.querySelector(`.sheet[data-name=${name}]`)) return open(name);
  delete root.dataset.begin;
  return close();
}

/** Whether a press on this control is the start's, and what it does. */
export function pressed(control) {
  switch (control.dataset.control) {
    case 'start':
      if (navigator.vibrate?.(60)) root.dataset.shakes = 'yes';
      soundOn();
      fullScreen();
      return next('heard');
    case 'play':
      return test();
    case 'heard':
    case 'unheard':
      root.dataset.heard = control.dataset.control;
      return next('fit');
    case 'smaller':
      return size(-STEP);
    case 'larger':
      return size(STEP);
    case 'presses':
      root.dataset.presses = root.dataset.presses === 'two' ? 'kept' : 'two';
      return keep({ presses: root.dataset.presses }).then(() => turnTo(root.dataset.page));
    case 'fits':
      keep({ mm: Math.round(px() * 10) });
      return next('role');
    case 'as':
      turnTo(control.dataset.as);
      delete root.dataset.begin;
      return close();
    default:
      return undefined;
  }
}

/** Sun, night or a language, without leaving the page. */
export function choose(event) {
  event.preventDefault();
  const fields = Object.fromEntries(new FormData(event.target, event.submitter));
  if (fields.theme) root.dataset.theme = fields.theme;
  // Another language is the whole page in other words.
  keep(fields).then(() => fields.language && location.reload());
}
