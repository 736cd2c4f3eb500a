// A tablet that several use: it locks itself when nobody touches it, and people change over with a short number.
import { send } from './send.js';

const SIGNS = ['pointerdown', 'keydown', 'wheel'];

export function startLock() {
  const seconds = Number(document.body.dataset.lockAfter);
  if (seconds) watch(seconds * 1000);
  const form = document.querySelector('[data-short]');
  if (form) startDigits(form);
}

function watch(after_ms) {
  let touched = Date.now();
  let told = touched;
  for (const sign of SIGNS) {
    document.addEventListener(sign, () => {
      // Woken after a while: the touch that wakes it is not the touch of whoever left.
      if (Date.now() - touched >= after_ms) { lock(); return; }
      touched = Date.now();
      // Reading is using, too: the server hears of it now and then.
      if (touched - told > after_ms / 4) { told = touched; send('GET', '/api/v1/me').catch(() => {}); }
    }, { passive: true, capture: true });
  }
  const look = () => { if (Date.now() - touched >= after_ms) lock(); };
  setInterval(look, Math.min(5000, after_ms / 4));
  document.addEventListener('visibilitychange', look);
  document.addEventListener('click', (event) => { if (event.target.closest('[data-change-over]')) lock(); });
}

let locking = false;
async function lock() {
  if (locking) return;
  locking = true;
  // What the one before was reading goes at once; without network the server ends the session by itself.
  document.getElementById('main').replaceChildren();
  try { await send('POST', '/api/v1/logout', {}); } catch { /* the lock page asks again */ }
  window.location.assign('/login?next=' + encodeURIComponent(window.location.pathname + window.location.search));
}

function startDigits(form) {
  const pin = form.querySelector('[name=pin]');
  form.addEventListener('click', (event) => {
    const button = event.target.closest('[data-digit]');
    if (!button) return;
    const { digit } = button.dataset;
    pin.value = digit ? (pin.value + digit).slice(0, pin.maxLength) : pin.value.slice(0, -1);
  });
  form.addEventListener('change', (event) => { if (event.target.name === 'name') pin.value = ''; });
  // A wrong number is typed anew, not mended.
  new MutationObserver(() => { if (form.querySelector('output').className === 'failed') pin.value = ''; })
    .observe(form.querySelector('output'), { attributes: true, attributeFilter: ['class'] });
}
