// Replay: moves the cursor without leaving the page: to an entry by a press on its link, or by itself. What stands there at
// each moment is the node's page for that moment, as it is without scripts.
import { morph } from './morph.js';
import { note } from './page.js';

const root = document.documentElement;
/** A tick of it: nothing on the page changes more often than twice a second. */
const TICK_MS = 500;

let timer = null;
let pace = null;
/** Of several pictures asked for only the newest is shown. */
let newest = 0;

const cursor = () => document.querySelector('.read .cursor');
const all = (selector) => [...cursor().querySelectorAll(selector)];
const paces = () => all('[data-control=pace] [data-pace]');

/** Shows what a script can do, and how it stands. */
function arm() {
  for (const one of all('[hidden][data-control]')) one.hidden = false;
  pace ??= Number(cursor().dataset.pace);
  paces().forEach((one, at) => { one.hidden = at !== pace; });
  const runs = timer !== null;
  for (const one of all('.still')) one.hidden = runs;
  for (const one of all('.runs')) one.hidden = !runs;
}

async function show(url) {
  const own = ++newest;
  try {
    const answered = await fetch(url, { credentials: 'same-origin' });
    const page = new DOMParser().parseFromString(await answered.text(), 'text/html');
    const to = page.querySelector('.read .cursor')?.closest('.read');
    if (!to || own !== newest) return;
    morph(document.querySelector('.read'), to);
    history.replaceState(history.state, '', url);
  } catch {
    pause();
    note([root.dataset.nodeSilent]);
  }
  arm();
}

function moment(at) {
  const url = new URL(location.href);
  url.searchParams.set('at', Math.round(at));
  return url;
}

function pause() {
  clearTimeout(timer);
  timer = null;
}

async function tick() {
  const { at, to } = cursor().dataset;
  const next = Math.min(Number(at) + TICK_MS * Number(paces()[pace].dataset.pace), Number(to));
  const own = timer;
  await show(moment(next));
  if (timer !== own) return;
  if (next >= Number(to)) pause();
  else timer = setTimeout(tick, TICK_MS);
  arm();
}

/** From where it is; from the beginning when it is at the end. */
async function play() {
  const { at, from, to } = cursor().dataset;
  timer = 0;
  if (Number(at) >= Number(to)) await show(moment(Number(from)));
  if (timer === 0) timer = setTimeout(tick, TICK_MS);
}

addEventListener('click', (event) => {
  const control = event.target.closest?.('.read [data-control]');
  switch (control?.dataset.control) {
    case 'run':
      if (timer === null) play();
      else pause();
      break;
    case 'pace':
      pace = (pace + 1) % paces().length;
      break;
    case 'step':
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      pause();
      show(new URL(control.href));
      break;
    default:
      return;
  }
  arm();
});
arm();
