// Single keys for who works without a mouse: they can be switched off, and are silent while somebody types.
const KEPT = 'ringtell-keys-off';
const TYPING = 'input, select, textarea, [contenteditable]';
const PATIENCE_MS = 1500;
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
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing || event.target.closest(TYPING)) return;
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
  return false;
}

// Through the rows of a list, one link each.
function step(by) {
  const links = [...document.querySelectorAll('.rows > li a[href]:first-of-type, .list tbody th a[href]')];
  if (links.length === 0) return false;
  const at = links.indexOf(document.activeElement);
  links[Math.min(links.length - 1, Math.max(0, at < 0 ? 0 : at + by))].focus();
  return true;
}
