// Waiting: looks every second how the asking stands, and goes on to the page of the device's own node once there is one.
import { morph } from './morph.js';
import { isOnItsWay, watch as watchStop } from './stop.js';

const root = document.documentElement;
const AGAIN_MS = 1000;
/** So often without an answer, and nobody answers any longer. */
const SILENT_MAX = 3;

let silent = 0;

/** The page as it is now. What was asked for before a press knows nothing of it, and is not shown. */
async function renew() {
  const answered = await fetch(location.pathname);
  if (!answered.ok) throw answered;
  const came = new DOMParser().parseFromString(await answered.text(), 'text/html');
  if (isOnItsWay()) return;
  const own = came.querySelector('.stage a');
  if (own) {
    location.replace(own.href);
    return;
  }
  for (const name of ['stage', 'call', 'pressed']) {
    const value = came.documentElement.dataset[name];
    if (value === undefined) delete root.dataset[name];
    else root.dataset[name] = value;
  }
  morph(document.querySelector('main'), came.querySelector('main'));
}

async function look() {
  try {
    await renew();
    silent = 0;
    delete root.dataset.gone;
  } catch {
    silent += 1;
    if (silent >= SILENT_MAX) root.dataset.gone = '';
  }
  // Told no, or failed: there is nothing more to come.
  if (!['refused', 'failed'].includes(root.dataset.stage)) setTimeout(look, AGAIN_MS);
}

watchStop({ taken: () => renew().catch(() => {}) });
look();
