// Sheets: what lies over the page while something is chosen or typed. Nothing is filled in, dropped or cleared here
// but by a press.
import { note, send } from './page.js';
import { choose, pressed } from './start.js';
import { deed } from './deed.js';

const root = document.documentElement;
/** What was typed, by box; and what about. */
const digits = new Map();
let about = null;
/** The number that was put away unsaid: it does not come back by itself while it is asked. */
let putAway = null;
/** The sheet that is open opened by itself. */
let byItself = false;

const named = (name) => document.querySelector(`.sheet[data-name="${CSS.escape(name)}"]`);

export function close() {
  byItself = false;
  delete root.dataset.sheet;
  for (const one of document.querySelectorAll('.sheet.on')) one.classList.remove('on');
}

export function open(name) {
  close();
  const sheet = named(name);
  if (!sheet) return;
  note([]);
  root.dataset.sheet = name;
  sheet.classList.add('on');
  if (sheet.matches('.number')) {
    if (about !== sheet.dataset.about) digits.clear();
    about = sheet.dataset.about;
    select(sheet, sheet.querySelector('.val').dataset.box);
    draw(sheet);
  }
}

/** After the page has changed: a sheet that is not there any longer is closed; a number that is asked alone opens, and
    makes room in a Hold for what is to be kept secure. What was typed of it stays over a Hold, and not over a stop,
    after which it is read anew. */
export function restore() {
  if (root.dataset.sheet && !named(root.dataset.sheet)) close();
  if (root.dataset.call === 'stop') about = null;
  const { opens } = document.querySelector('main').dataset;
  if (!opens) {
    putAway = null;
    if (byItself) close();
  } else if (!root.dataset.sheet && !root.dataset.pressed && named(opens)?.dataset.about !== putAway) {
    open(opens);
    byItself = true;
  }
}

/** It was recorded. */
export function given() {
  about = null;
  close();
}

/** It was recorded and does not count: what is read next is another number. */
export function anew() {
  digits.clear();
  const sheet = document.querySelector('.number.on');
  if (sheet) draw(sheet);
}

/** What was typed on the sheet of a control. */
export function typed(button) {
  const sheet = button.closest('.sheet');
  if (!sheet) return {};
  const inputs = [...sheet.querySelectorAll('input')].map((one) => [one.name, one.value]);
  return { ...Object.fromEntries(inputs), ...boxes(sheet) };
}

const boxes = (sheet) =>
  Object.fromEntries([...sheet.querySelectorAll('.val')].map(({ dataset: { box } }) => [box, digits.get(box) ?? '']));

function select(sheet, box) {
  for (const one of sheet.querySelectorAll('.val')) one.classList.toggle('cur', one.dataset.box === box);
}

async function draw(sheet) {
  for (const one of sheet.querySelectorAll('.val')) {
    one.querySelector('output').textContent = digits.get(one.dataset.box) ?? '';
  }
  const judge = sheet.querySelector('.judge');
  const values = boxes(sheet);
  const typed = Object.values(values).some((value) => value !== '');
  sheet.classList.toggle('typed', typed);
  if (!typed) return;
  try {
    const answered = await send('/judge', { limit: sheet.dataset.limit, ...values });
    const judged = await answered.json();
    // A later key has its own answer on the way.
    if (JSON.stringify(boxes(sheet)) !== JSON.stringify(values)) return;
    judge.textContent = judged.words;
    sheet.querySelector('.spoken').textContent = judged.spoken;
  } catch {
    judge.textContent = root.dataset.nodeSilent;
  }
}

function key(sheet, pressed) {
  const all = [...sheet.querySelectorAll('.val')].map((one) => one.dataset.box);
  const current = sheet.querySelector('.val.cur')?.dataset.box ?? all[0];
  const now = digits.get(current) ?? '';
  if (pressed === 'box') {
    select(sheet, all[(all.indexOf(current) + 1) % all.length]);
  } else if (pressed === 'clear') {
    // With nothing left to clear it is the way back.
    if (now === '' && all.every((box) => !digits.get(box))) {
      putAway = sheet.dataset.about;
      return close();
    }
    digits.set(current, now.slice(0, -1));
  } else {
    digits.set(current, now + pressed);
  }
  draw(sheet);
}

export function watch() {
  addEventListener('click', (event) => {
    const control = event.target.closest?.('[data-control]');
    if (!control) return;
    const sheet = control.closest('.sheet');
    switch (control.dataset.control) {
      case 'open':
      case 'cannot':
      case 'withdraw':
      case 'decline':
      case 'saywhy':
      case 'other':
      case 'role':
        return open(control.dataset.sheet);
      case 'back':
        return close();
      case 'key':
        note([]);
        return key(sheet, control.dataset.key);
      case 'box':
        return select(sheet, control.dataset.box);
      case 'fill':
        sheet.querySelector(`[name="${control.dataset.into}"]`).value = control.dataset.fill;
        return undefined;
      default:
        return pressed(control);
    }
  });
  // Reasons and choices: plain forms, sent without leaving the page.
  addEventListener('submit', async (event) => {
    const form = event.target;
    if (form.matches('.stopform')) return;
    if (form.matches('.setting')) return choose(event);
    event.preventDefault();
    // Kept pressed, or not at all.
    if (event.submitter?.dataset.control === 'confirm') return;
    if (form.matches('.deed')) {
      deed(form, {});
      return;
    }
    const fields = Object.fromEntries(new FormData(form, event.submitter));
    try {
      const answered = await send('/press', { ...fields, script: 1 });
      const answer = await answered.json();
      close();
      note(answer.lines ?? [answer.message]);
    } catch {
      note([root.dataset.nodeSilent]);
    }
  });
}
