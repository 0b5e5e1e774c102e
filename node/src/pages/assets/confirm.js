// Confirm: a control is kept pressed until its time is over, a tick of the node came meanwhile, and nothing changed.
import { heardAt, isFresh, note, send } from './page.js';
import { anew, given, typed } from './sheets.js';
import * as twice from './twice.js';
import { deed, forget } from './deed.js';

const root = document.documentElement;
/** A finger that slides further than 15 mm means something else. */
const SLIDE_MM = 15;

let going = null;

/** Lets go of whatever is being pressed. `why` is said to who looks for the cause. */
export function cancel(why) {
  twice.letGo(why);
  if (!going) return;
  clearTimeout(going.timer);
  going.button.classList.remove('going');
  going.button.dataset.last = why;
  const kept = performance.now() - going.at;
  if (why === 'early' && kept > 150) {
    note([root.dataset.kept.replace('{s}', (kept / 1000).toFixed(1))]);
  }
  going = null;
}

async function give(button, held) {
  button.dataset.last = 'sent';
  if (button.form?.matches('.deed')) return deed(button.form, { held: Math.round(held) });
  const fields = {
    do: 'give',
    script: 1,
    at: button.dataset.give,
    face: button.dataset.face,
    held: Math.round(held),
    ...typed(button),
  };
  if (button.dataset.answer) fields.answer = button.dataset.answer;
  try {
    const answered = await send('/press', fields);
    const answer = await answered.json();
    note(answer.lines ?? [answer.message]);
    if (answer.good) {
      navigator.vibrate?.(60);
      given();
    } else if (answer.recorded) {
      anew();
    }
  } catch {
    note([root.dataset.nodeSilent]);
  }
  return undefined;
}

function start(button, event) {
  if (going || !isFresh()) return;
  note([]);
  forget(button.form);
  const hold = Number(button.dataset.hold);
  const heard = heardAt();
  const at = performance.now();
  button.style.setProperty('--held', `${hold}ms`);
  button.classList.add('going');
  navigator.vibrate?.(30);
  const timer = setTimeout(finish, hold);
  going = { button, timer, at, hold, heard, x: event.clientX, y: event.clientY, pointer: event.pointerId };
}

/** The time is over. */
function finish() {
  if (!going) return;
  const { button, timer, at, heard } = going;
  // A page that has not heard its node during the press confirms nothing.
  if (!isFresh() || heardAt() === heard) {
    cancel('dead');
    return;
  }
  clearTimeout(timer);
  going = null;
  button.classList.remove('going');
  give(button, performance.now() - at);
}

/** The finger is lifted: a timer that a busy machine fires late is no reason to have it kept pressed again. */
function lifted() {
  if (!going) return;
  if (performance.now() - going.at >= going.hold) finish();
  else cancel('early');
}

export function watch() {
  const confirmOf = (event) => event.target.closest?.('[data-control=confirm]');
  addEventListener('pointerdown', (event) => {
    // Whatever is pressed between the two presses means something else.
    if (twice.isGoing() && !event.target.closest?.('[data-control=second]')) twice.letGo('elsewhere');
    if (going) return cancel('two');
    const button = confirmOf(event);
    if (!button || !event.isPrimary || twice.wanted()) return;
    button.setPointerCapture(event.pointerId);
    start(button, event);
  });
  addEventListener('click', (event) => {
    if (!twice.wanted()) return;
    const button = confirmOf(event);
    if (button) {
      note([]);
      navigator.vibrate?.(30);
      return twice.first(button);
    }
    if (!event.target.closest?.('[data-control=second]')) return;
    const sent = twice.both();
    if (sent) give(sent.button, sent.held);
  });
  addEventListener('pointermove', (event) => {
    if (!going || going.pointer !== event.pointerId) return;
    const mm = parseFloat(getComputedStyle(root).getPropertyValue('--mm'));
    if (Math.hypot(event.clientX - going.x, event.clientY - going.y) > SLIDE_MM * mm) cancel('slid');
  });
  addEventListener('pointerup', lifted);
  addEventListener('pointercancel', () => cancel('taken'));
  addEventListener('blur', () => cancel('blur'));
  addEventListener('keydown', (event) => {
    const button = confirmOf(event);
    // With two presses the keyboard presses as it does elsewhere.
    if (!button || twice.wanted() || (event.key !== 'Enter' && event.key !== ' ')) return;
    event.preventDefault();
    if (!event.repeat) start(button, event);
  });
  addEventListener('keyup', lifted);
  document.addEventListener('visibilitychange', () => cancel('hidden'));
}
