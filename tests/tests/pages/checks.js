// Checks: what of a page can be seen by a machine; answers a list of everything that is wrong.
// `arguments[0]`: { words: of the three calls, observer, nothingAsked, stale, sheet, long, change: '' | 'longer' | 'zoomed' }
const want = arguments[0];
const root = document.documentElement;
const wrong = [];
const must = (so, words) => { if (!so) wrong.push(words); };
const all = (selector, from = document) => [...from.querySelectorAll(selector)];
const box = (element) => element.getBoundingClientRect();
const seen = (element) => {
  const { width, height } = box(element);
  return width > 0 && height > 0 && element.checkVisibility({ opacityProperty: true, visibilityProperty: true });
};
const name = (element) =>
  `${element.tagName.toLowerCase()}.${[...element.classList].join('.')}[${element.dataset.control ?? ''}] "${element.textContent.trim().slice(0, 30)}"`;
const style = (element) => getComputedStyle(element);
const mm = parseFloat(style(root).getPropertyValue('--mm'));
const call = root.dataset.call;
const W = innerWidth, H = innerHeight;

// ---- 40 % longer words, or text at 130 %: put back at the end, before anything is painted.
const undo = [];
const texts = () => {
  const walker = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
  const found = [];
  while (walker.nextNode()) if (walker.currentNode.nodeValue.trim()) found.push(walker.currentNode);
  return found;
};
if (want.change === 'longer') {
  for (const text of texts()) {
    const before = text.nodeValue;
    // Digits and the three words stay: they do not grow in another language, or are measured as they are.
    if (text.parentElement.closest('.word, .pad, .strip, .links, .since')) continue;
    undo.push(() => { text.nodeValue = before; });
    const extra = Math.ceil(before.trim().length * 0.4);
    text.nodeValue = before + ' ' + 'und mehr '.repeat(20).slice(0, Math.max(0, extra - 1)).trim();
  }
}
if (want.change === 'zoomed') {
  // The largest words are as large as they get: a browser's text setting leaves them (text-size-adjust).
  const sizes = all('main *').filter((one) => !one.closest('.word, .val, .pad, .stopbar, .graph'))
    .filter((one) => [...one.childNodes].some((node) => node.nodeType === 3 && node.nodeValue.trim()))
    .map((one) => [one, parseFloat(style(one).fontSize)]);
  for (const [one, size] of sizes) {
    undo.push(() => { one.style.fontSize = ''; });
    one.style.fontSize = `${size * 1.3}px`;
  }
}

// ---- 1. Exactly one stop, large, and nothing over it.
const stops = all('[data-control=stop]').filter(seen);
must(stops.length === 1, `${stops.length} stop controls`);
for (const stop of stops) {
  const { left, top, right, bottom, width, height } = box(stop);
  must(width >= 20 * mm - 0.5 && height >= 20 * mm - 0.5, `stop is ${width} x ${height} px`);
  must(left >= 0 && top >= 0 && right <= W + 0.5 && bottom <= H + 0.5, `stop is outside: ${left} ${top} ${right} ${bottom} of ${W} x ${H}`);
  const inset = 9;
  for (const [x, y] of [[(left + right) / 2, (top + bottom) / 2], [left + inset, top + inset], [right - inset, top + inset], [left + inset, bottom - inset], [right - inset, bottom - inset]]) {
    const found = document.elementFromPoint(x, y);
    must(found && stop.contains(found), `at ${x},${y} of stop is ${found && name(found)}`);
  }
  if (want.observer && want.nothingAsked && call !== 'stop' && !want.sheet) {
    const part = (width * height) / (W * H);
    const least = W > H ? 0.5 : H < 850 ? 0.55 : 0.6;
    must(part >= least, `the observer's stop is ${(part * 100).toFixed(0)} % of the screen`);
  }
}

// ---- 2. The band: one word, one shape, one reason.
const band = document.querySelector('.band');
const word = all('.word', band).filter(seen);
must(word.length === 1 && word[0].textContent === want.words[call], `the word is ${word.map((one) => one.textContent)} at ${call}`);
must(all('.shape', band).filter(seen).length === 1, 'not one shape in the band');
const reasons = all('[data-reason]', band).filter(seen);
const most = call === 'stop' ? 90 : 60;
const reason = reasons[0]?.textContent.trim() ?? '';
must(reasons.length === 1, `${reasons.length} reasons`);
if (want.change !== 'longer') must(reason.length >= 6 && reason.length <= most, `reason of ${reason.length}: ${reason}`);
if (call === 'stop' && W < H && !want.sheet && !want.change) {
  const part = box(band).height / H;
  must(part >= 0.38, `the stop band is ${(part * 100).toFixed(0)} % of the screen`);
}

// ---- 3. Contrast, computed.
const channel = (value) => { const v = value / 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
const ratio = (a, b) => { const [x, y] = [light(a), light(b)]; return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); };
const rgb = (text) => (text.match(/[\d.]+/g) ?? [0, 0, 0, 0]).map(Number);
const clear = (colour) => colour.length > 3 && colour[3] === 0;
const ground = (element) => {
  for (let one = element; one; one = one.parentElement) {
    const colour = rgb(style(one).backgroundColor);
    if (!clear(colour)) return colour;
  }
  return [255, 255, 255];
};
for (const text of texts()) {
  const element = text.parentElement;
  if (!seen(element)) continue;
  const found = ratio(rgb(style(element).color), ground(element));
  must(found >= 7, `contrast ${found.toFixed(1)} of ${name(element)}`);
  // What is drawn is as large as its drawing.
  const drawn = element.ownerSVGElement?.getScreenCTM().a ?? 1;
  const size = parseFloat(style(element).fontSize) * drawn;
  must(size >= 17.5, `${size} px: ${name(element)}`);
}
for (const control of all('button, input, select, a.sec, .pick').filter(seen)) {
  if (parseFloat(style(control).borderTopWidth) === 0) continue;
  const inside = ratio(rgb(style(control).borderTopColor), ground(control));
  const around = ratio(rgb(style(control).borderTopColor), ground(control.parentElement));
  must(Math.max(inside, around) >= 3, `frame ${inside.toFixed(1)} and ${around.toFixed(1)}: ${name(control)}`);
}

// ---- 4. Nothing clipped, no sideways scroll.
must(root.scrollWidth <= W, `sideways: ${root.scrollWidth} of ${W}`);
for (const element of all('main *').filter(seen)) {
  const { overflowX, overflowY } = style(element);
  const scrolls = overflowY === 'auto' || overflowY === 'scroll';
  // What is made to scroll on a small screen, nothing of it to be pressed, may be longer than its place.
  const allowed = scrolls && (want.change !== '' || (want.scrolls && !element.matches('.card')) || element.matches('[data-scrolls]') || (want.long && element.matches('.under')));
  // The board's drawing has as many words as fit; all of them are in the step's tip and in the list of a small screen.
  const drawn = element.matches('.graph .title') || (want.change !== '' && element.matches('.graph .step'));
  if (element.clientHeight === 0 || element.tagName === 'INPUT' || drawn) continue;
  // What is wider than a phone and made to be moved sideways, as a table or a drawing, is not cut.
  const moves = overflowX === 'auto' && element.closest('.read') && !element.matches('.read');
  if (overflowX !== 'visible' && !moves) must(element.scrollWidth <= element.clientWidth + 1, `cut at the side (${element.scrollWidth} of ${element.clientWidth}): ${name(element)}`);
  if (overflowY !== 'visible' && !allowed) must(element.scrollHeight <= element.clientHeight + 2, `cut below (${element.scrollHeight} of ${element.clientHeight}): ${name(element)}`);
}
for (const element of all('main .strip, main .band, main .card, main .links > div, main button, main .note').filter(seen)) {
  const { right, bottom, left } = box(element);
  must(right <= W + 1 && left >= -1, `outside at the side: ${name(element)}`);
  if (!element.closest('.sheet, .card, .flow, [data-scrolls], .under')) must(bottom <= H + 1, `outside below (${bottom} of ${H}): ${name(element)}`);
}
// Text that is wider than the control it stands on.
for (const control of all('main button, main a, main .pick').filter(seen)) {
  must(control.scrollWidth <= control.clientWidth + 1 && control.scrollHeight <= control.clientHeight + 2,
    `words do not fit (${control.scrollWidth} x ${control.scrollHeight} in ${control.clientWidth} x ${control.clientHeight}): ${name(control)}`);
}

// ---- 5. Sizes, gaps, names.
const controls = all('main button, main a, main select, main .pick').filter(seen);
for (const control of controls) {
  const { width, height } = box(control);
  const kind = control.dataset.control;
  const bare = control.matches('.board .way a') && W >= 1000;
  // The replay is looked at with bare hands, at the truck.
  const read = control.closest('.read');
  const least = read ? [44 / mm, 48 / mm] : bare ? [20, 56 / mm] : kind === 'confirm' || kind === 'stop' ? [20, 20] : kind === 'box' ? [9, 9] : [20, 15];
  must(width >= least[0] * mm - 0.6 && height >= least[1] * mm - 0.6, `${width.toFixed(0)} x ${height.toFixed(0)} px: ${name(control)}`);
  must((control.getAttribute('aria-label') ?? control.textContent).trim() !== '', `no name: ${name(control)}`);
}
for (const one of controls) for (const other of controls) {
  // What lies in a sheet that scrolls passes below the stop.
  const lies = (control) => Boolean(control.closest('.sheet, .under, .read'));
  if (one === other || lies(one) !== lies(other) || one.matches('.items a')) continue;
  const [a, b] = [box(one), box(other)];
  const gap = Math.max(a.left - b.right, b.left - a.right, a.top - b.bottom, b.top - a.bottom);
  must(gap >= 4.9, `gap of ${gap.toFixed(1)} px: ${name(one)} and ${name(other)}`);
}
if (!want.observer && !want.sheet) for (const control of all('[data-control=confirm]').filter(seen)) {
  const gap = Math.max(box(stops[0]).top - box(control).bottom, box(stops[0]).left - box(control).right);
  must(gap >= 15 * mm - 0.6, `confirm is ${(gap / mm).toFixed(1)} mm from stop`);
}
const blue = all('.act').filter(seen).filter((one) => rgb(style(one).backgroundColor).join() === '0,63,135');
must(want.sheet || blue.length <= 1, `${blue.length} blue controls`);

for (const back of undo) back();
return [...new Set(wrong)];
