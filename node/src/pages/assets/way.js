// Way: from one page of this device to another without leaving: what sounds, the screen that stays on and the full
// screen all stay. Without scripts the same links load a page of their own.
import { note, turnTo } from './page.js';
import { close } from './sheets.js';

const root = document.documentElement;
/** The own page that somebody came from: who has two roles has two. */
let own = '';

function show(name) {
  close();
  note([]);
  // Nothing that was typed or answered on one page stands on another.
  document.querySelector('.under')?.remove();
  turnTo(name);
}

/** Goes to a path of this device. */
export function go(path) {
  const name = path.replace(/^\//, '');
  if (name === root.dataset.page) return;
  if (!document.querySelector('.under')) own = root.dataset.page;
  history.pushState({ page: name }, '', path);
  show(name);
}

export function watch() {
  history.replaceState({ page: root.dataset.page }, '');
  addEventListener('popstate', (event) => show(event.state?.page ?? root.dataset.page));
  addEventListener('click', (event) => {
    const link = event.target.closest?.('a[data-control=go]');
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go((link.dataset.own !== undefined && own) || link.getAttribute('href'));
  });
}
