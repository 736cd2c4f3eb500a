// Single keys for who works without a mouse: they can be switched off, and are silent while somebody types.
const KEPT = 'ringtell-keys-off';
const TYPING = 'input, select, textarea, [contenteditable]';
const PATIENCE_MS = 1500;
// Which way a key leads through rows, and whether to the end of them.
const ARROWS = { ArrowDown: [1, false], ArrowUp: [-1, false], Home: [-1, true], End: [1, true] };
const ROWS = '.rows > li, .cards > article, .quiet-alarms > li, .list tbody tr';
const NAMES = ':scope > .who a[href], :scope > a[href], h2 a[href], .quiet-who a[href], th a[href]';
let lead = 0;

export function startKeys() {
  const list = document.querySelector('[data-keys]');
  if (!list) return;
  const box = list.querySelector('[data-keys-on]');
  box.checked = isOn();
  box.addEventListener('change', () => { try { localStorage.setItem(KEPT, box.checked ? '' : '1'); } catch { /* kept for this page only */ } });
  for (const opener of document.querySelectorAll('[data-keys-open]')) {
    opener.hidden = false;
    opener.addEventListener('click', () => list.showModal());
  }
  document.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || (event.shiftKey && ARROWS[event.key]) || event.isComposing || event.target.closest(TYPING)) return;
    if (list.open || !box.checked) return;
    if (act(event.key, list)) event.preventDefault();
  });
}

function isOn() { try { return localStorage.getItem(KEPT) !== '1'; } catch { return true; } }

function act(key, list) {
  const led = Date.now() - lead < PATIENCE_MS;
  lead = 0;
  if (led) {
    const place = list.querySelector(`[data-go="${CSS.escape(key)}"]`);
    if (place) window.location.assign(place.getAttribute('href'));
    return Boolean(place);
  }
  if (key === 'g') { lead = Date.now(); return true; }
  if (key === '?') { list.showModal(); return true; }
  if (key === '/') { const field = document.querySelector('[data-find]'); field?.focus(); return Boolean(field); }
  if (key === 'j' || key === 'k') return step(key === 'j' ? 1 : -1);
  return ARROWS[key] ? arrow(...ARROWS[key]) : false;
}

// Of each row of a list the one link that names it.
function links() {
  return [...document.querySelectorAll(ROWS)].map((row) => row.querySelector(NAMES)).filter(Boolean);
}

function step(by) {
  const all = links();
  if (all.length === 0) return false;
  const at = all.indexOf(document.activeElement);
  all[Math.min(all.length - 1, Math.max(0, at < 0 ? 0 : at + by))].focus();
  return true;
}

// Arrows scroll the page until a row has the focus or the first one is in sight; beyond the first and the last row
// they scroll again, so that nobody is held in a list.
function arrow(by, toEnd) {
  const all = links();
  const row = document.activeElement.closest(ROWS);
  const at = row ? all.findIndex((link) => row.contains(link)) : -1;
  if (at < 0) return document.activeElement === document.body && by === 1 && !toEnd && inSight(all[0]) && step(1);
  const to = toEnd ? (by < 0 ? 0 : all.length - 1) : at + by;
  if (to < 0 || to >= all.length) return false;
  all[to].focus();
  return true;
}

function inSight(link) {
  const box = link?.getBoundingClientRect();
  return Boolean(box) && box.height > 0 && box.top >= 0 && box.bottom <= window.innerHeight;
}
