// Deed: sends a form of a page beside the own one, and shows the answer next to it. What was typed stays, unless it was
// taken.
import { note, send } from './page.js';
import { go } from './way.js';

const root = document.documentElement;

/** The answer to the press before. */
export function forget(form) {
  const place = form?.querySelector('.answer');
  if (place) place.textContent = '';
}

/** Sends a form; `more` are fields that it has not itself. */
export async function deed(form, more) {
  const place = form.querySelector('.answer');
  forget(form);
  try {
    const fields = new FormData(form);
    for (const [name, value] of Object.entries({ ...more, script: 1 })) fields.set(name, value);
    const photo = form.enctype.includes('multipart') && await import('./photo.js');
    const answered = await (photo ? photo.sent(fields) : send('/press', fields));
    const answer = await answered.json();
    if (answer.to) return go(answer.to);
    const lines = answer.lines ?? [answer.message];
    if (answer.good) {
      form.reset();
      navigator.vibrate?.(60);
      // The form itself may be gone at the next change.
      note(lines);
    } else {
      place.textContent = lines.join(' ');
    }
  } catch {
    place.textContent = root.dataset.nodeSilent;
  }
  return undefined;
}
