// Keeps the page current: events carry ids only, so the page asks for itself again and swaps its live parts.
const SOON_MS = 700;
const QUIET_MS = 8000;
// The page of one press shows its shot at once: there is one every few seconds, and somebody may be waiting for it.
const AT_ONCE_MS = 50;
const AT_LEAST_MS = 60000;
// A network that swallows everything answers nothing at all: after so long nobody is there.
const PATIENCE_MS = 20000;
let timer = 0;
let dueAt = Infinity;
let lastDone = 0;
let running = false;
let lostSince = null;

export function refreshLive() { return refresh(); }

export function startLive() {
  const names = (document.body.dataset.listen || '').split(' ').filter(Boolean);
  if (names.length === 0) return;
  const stream = new EventSource(document.body.dataset.stream);
  const press = document.querySelector('[data-chart]')?.dataset.chart;
  for (const name of names) {
    stream.addEventListener(name, (event) => {
      if (press && !concerns(event.data, press)) return;
      plan(name !== 'shots' ? SOON_MS : press ? AT_ONCE_MS : QUIET_MS);
      document.dispatchEvent(new CustomEvent('ringtell:event', { detail: name }));
    });
  }
  // What happened between this page and its stream was heard by nobody: an alarm must not wait for the minute.
  stream.addEventListener('open', () => {
    if (lostSince) { found(); plan(0); } else if (names.includes('alarm')) plan(SOON_MS);
  });
  stream.addEventListener('error', () => lost());
  window.addEventListener('online', () => plan(0));
  window.addEventListener('offline', () => lost());
  window.addEventListener('pagehide', () => stream.close());
  setInterval(() => { if (Date.now() - lastDone > AT_LEAST_MS - 1000) plan(0); }, AT_LEAST_MS);
  document.addEventListener('visibilitychange', () => { if (!document.hidden) plan(0); });
  lastDone = Date.now();
}

// An event names a press, or an alarm as percent-encoded press code, dash and number.
function concerns(text, figure) {
  try {
    const { id } = JSON.parse(text);
    return [encodeURIComponent(id), id.replace(/-\d+$/, '')].some((press) => figure.includes('/' + press + '/'));
  } catch { return true; }
}

function plan(wait) {
  const at = Math.max(Date.now() + wait, lastDone + Math.min(wait, SOON_MS));
  if (at >= dueAt) return;
  dueAt = at;
  clearTimeout(timer);
  timer = setTimeout(refresh, Math.max(0, at - Date.now()));
}

async function refresh() {
  dueAt = Infinity;
  if (document.hidden) return;
  if (running) { plan(SOON_MS); return; }
  running = true;
  try {
    const answer = await fetch(window.location.href, { headers: { 'X-Fragment': '1' }, credentials: 'same-origin', signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.redirected && new URL(answer.url).pathname === '/login') { window.location.reload(); return; }
    // Kept on this device: it shows the last state, but nobody has answered.
    const kept = answer.headers.get('X-Kept') === '1';
    if (answer.ok) { swap(await answer.text()); if (kept) lost(); else found(); } else if (answer.status >= 500) away();
  } catch { away(); } finally { running = false; lastDone = Date.now(); }
}

function swap(text) {
  const fresh = new DOMParser().parseFromString(text, 'text/html');
  for (const part of document.querySelectorAll('[data-live]')) {
    const next = fresh.querySelector(`[data-live="${part.dataset.live}"]`);
    if (!next || next.innerHTML === part.dataset.seen) continue;
    if (part.contains(document.activeElement) && document.activeElement.matches('input:not([type=checkbox]), select, textarea')) continue;
    const focus = marker(part);
    const open = new Set([...part.querySelectorAll('details[open] > summary')].map((one) => one.textContent + one.closest('[id]')?.id));
    part.dataset.seen = next.innerHTML;
    part.replaceChildren(...next.childNodes);
    for (const one of part.querySelectorAll('details > summary')) {
      if (open.has(one.textContent + one.closest('[id]')?.id)) one.parentElement.open = true;
    }
    if (focus) part.querySelector(focus)?.focus({ preventScroll: true });
  }
  document.dispatchEvent(new CustomEvent('ringtell:swapped'));
}

function marker(part) {
  const one = document.activeElement;
  if (!one || !part.contains(one)) return null;
  for (const name of ['data-answer', 'data-action', 'data-tick', 'href']) {
    const value = one.getAttribute(name);
    if (value === null) continue;
    const more = ['data-reason', 'data-step'].map((other) => [other, one.getAttribute(other)]).filter(([, held]) => held);
    return `[${name}="${CSS.escape(value)}"]` + more.map(([other, held]) => `[${other}="${CSS.escape(held)}"]`).join('');
  }
  return null;
}

// Asked for and not answered: what is shown grows old, and is asked for again soon.
function away() { lost(); plan(QUIET_MS); }

function lost() {
  lostSince ??= new Date();
  setTimeout(() => {
    if (!lostSince) return;
    document.dispatchEvent(new CustomEvent('ringtell:lost', { detail: lostSince }));
    const line = document.querySelector('[data-network]');
    if (line && !line.dataset.keeping) {
      line.textContent = line.dataset.text.replace('{time}', clock(lostSince));
      line.hidden = false;
    }
  }, 2500);
}

function found() {
  lostSince = null;
  const line = document.querySelector('[data-network]');
  if (line && !line.dataset.keeping) line.hidden = true;
  document.dispatchEvent(new CustomEvent('ringtell:found'));
}

export function clock(at) { return at.toTimeString().slice(0, 5); }
