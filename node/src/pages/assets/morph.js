// Morph: makes what stands on the page equal to what came, and keeps every element that stays what it is, so that a
// finger on a control, the focus and the clock of the Hold picture survive.

/** Attributes that the page sets by itself; what comes from the node knows nothing of them. */
const OWN = new Set(['style', 'data-last', 'hidden']);
const OWN_CLASSES = ['going', 'pressed', 'on', 'cur', 'typed'];

function attributes(from, to) {
  for (const { name, value } of [...to.attributes]) {
    if (name === 'class') {
      const own = OWN_CLASSES.filter((one) => from.classList.contains(one));
      const wanted = [value, ...own].join(' ');
      if (from.getAttribute('class') !== wanted) from.setAttribute('class', wanted);
    } else if (from.getAttribute(name) !== value) {
      from.setAttribute(name, value);
    }
  }
  for (const { name } of [...from.attributes]) {
    if (!to.hasAttribute(name) && !OWN.has(name) && name !== 'class') from.removeAttribute(name);
  }
}

/** Whether two elements are the same thing at two times. */
function same(from, to) {
  if (from.nodeType !== to.nodeType || from.nodeName !== to.nodeName) return false;
  if (from.nodeType !== 1) return true;
  return ['data-name', 'data-control', 'data-give', 'data-answer', 'name', 'type', 'href'].every(
    (name) => from.getAttribute(name) === to.getAttribute(name),
  ) && from.classList[0] === to.classList[0]
    // Of several to choose from each is its own, with what was chosen.
    && (!/^(radio|checkbox)$/.test(to.type) || from.value === to.value);
}

/** `kept`: elements whose content is the page's own. */
export function morph(from, to, kept) {
  if (from.nodeType === 1) attributes(from, to);
  if (kept && from.nodeType === 1 && from.matches(kept)) return;
  if (from.nodeType !== 1) {
    if (from.nodeValue !== to.nodeValue) from.nodeValue = to.nodeValue;
    return;
  }
  let at = from.firstChild;
  for (const wanted of [...to.childNodes]) {
    let found = at;
    while (found && !same(found, wanted)) found = found.nextSibling;
    if (!found) {
      from.insertBefore(wanted, at);
      continue;
    }
    while (at !== found) {
      const gone = at;
      at = at.nextSibling;
      gone.remove();
    }
    morph(found, wanted, kept);
    at = found.nextSibling;
  }
  while (at) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}
