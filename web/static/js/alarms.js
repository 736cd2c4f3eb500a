// Answers to alarms: one tap each, kept on the device until the server has them, sent once; and how old a page is.
import { send, Problem } from './send.js';
import { refreshLive } from './live.js';
import { answers, keepAnswer, dropAnswer, fact, keepFact } from './kept.js';
import { startNotify } from './notify.js';

// Troubles that pass: the answer is kept and sent again.
const PASSING = new Set([0, 401, 408, 425, 429]);
let sending = false;
let again = false;
let cut = !navigator.onLine;
let taps = [];

export async function startAlarms(early = []) {
  document.addEventListener('click', (event) => {
    const button = event.target.closest('[data-answer]');
    if (button) tap(button);
    const seen = event.target.closest('[data-seen-refusal]');
    if (seen) dropAnswer(seen.dataset.seenRefusal).then(show);
  });
  document.addEventListener('ringtell:swapped', () => show());
  document.addEventListener('ringtell:found', async () => { cut = false; await note(); await flush(); });
  document.addEventListener('ringtell:lost', () => { cut = true; show(); });
  document.addEventListener('ringtell:kept', () => { cut = true; show(); });
  window.addEventListener('online', () => flush());
  setInterval(() => { if (waiting().length) flush(); else if (cut) show(); }, 5000);
  // A page out of the device's own keeping says nothing about now.
  if (document.documentElement.dataset.kept === undefined && navigator.onLine) await note();
  await show();
  startNotify();
  keepOffline();
  for (const button of early) await tap(button);
  flush();
}

function asof() { return document.querySelector('[data-asof]'); }
function person() { return asof()?.dataset.person ?? ''; }
function waiting() { return taps.filter((one) => !one.refused && one.person === person()); }

// When the server last spoke, by its own clock, and what this device's clock said then: only their distance counts.
async function note() {
  const mark = asof();
  if (!mark) return;
  const known = await fact('asof');
  if (known && known.server >= Number(mark.dataset.asof)) return;
  await keepFact('asof', { server: Number(mark.dataset.asof), clock: mark.dataset.clock, device: Date.now() });
}

async function tap(button) {
  for (const one of waiting()) if (one.id === button.dataset.answer) await dropAnswer(one.key);
  await keepAnswer({
    id: button.dataset.answer, reason: button.dataset.reason, word: button.textContent.trim(), person: person(),
    key: crypto.randomUUID?.() ?? `${Date.now()}-${Math.random()}`, order: Date.now(), refused: '',
    who: document.querySelector(`[data-alarm="${CSS.escape(button.dataset.answer)}"] h2 a`)?.textContent ?? button.dataset.answer,
  });
  await show();
  await flush();
}

// One tab sends at a time, so that an answer leaves once however many are open.
function flush() {
  if (navigator.locks) return navigator.locks.request('ringtell-answers', () => sendAll());
  return sendAll();
}

async function sendAll() {
  if (sending) { again = true; return; }
  sending = true;
  try {
    do {
      again = false;
      taps = await answers();
      for (const one of waiting()) if (!await sendOne(one)) return;
    } while (again);
  } finally { sending = false; await show(); }
}

async function sendOne(one) {
  try {
    await send('POST', `/api/v1/alarms/${encodeURIComponent(one.id)}/acknowledge`, { reason: one.reason, note: '' }, { 'Idempotency-Key': one.key });
    await dropAnswer(one.key);
    cut = false;
    say(one.id, (line) => line.dataset.sent.replace('{word}', one.word));
  } catch (problem) {
    const status = problem instanceof Problem ? problem.status : 0;
    if (PASSING.has(status) || status >= 500) { if (!status) cut = true; return false; }
    await keepAnswer({ ...one, refused: problem.message });
    say(one.id, () => problem.message);
  }
  setTimeout(refreshLive, 900);
  return true;
}

function say(id, words) {
  const line = document.querySelector(`[data-tapped="${CSS.escape(id)}"]`);
  if (line) line.textContent = words(line);
}

async function show() {
  taps = await answers();
  for (const one of waiting()) {
    say(one.id, (line) => line.dataset.waiting.replace('{word}', one.word));
    for (const button of document.querySelectorAll(`[data-answer="${CSS.escape(one.id)}"]`)) {
      button.setAttribute('aria-pressed', String(button.dataset.reason === one.reason));
    }
  }
  showRefused();
  await showNetwork();
}

function showRefused() {
  const list = document.querySelector('[data-refused]');
  const refused = taps.filter((one) => one.refused && one.person === person());
  list.hidden = refused.length === 0;
  list.replaceChildren(...refused.map((one) => {
    const item = document.createElement('li');
    const text = document.createElement('span');
    text.textContent = `${list.dataset.word}: ${one.who}, ${one.word}. ${one.refused}`;
    const button = document.createElement('button');
    button.type = 'button';
    button.className = 'tap';
    button.dataset.seenRefusal = one.key;
    button.textContent = list.dataset.dismiss;
    item.append(text, button);
    return item;
  }));
}

async function showNetwork() {
  const line = document.querySelector('[data-network]');
  const age = document.querySelector('[data-age]');
  const known = await fact('asof');
  const count = waiting().length;
  age.hidden = !(cut && known);
  if (cut && known) {
    const minutes = Math.max(0, Math.round((Date.now() - known.device) / 60000));
    age.textContent = age.dataset.words.replace('{time}', known.clock).replace('{age}', minutes < 90 ? `${minutes} min` : `${Math.round(minutes / 60)} h`);
  }
  if (count && cut && known) {
    line.dataset.keeping = '1';
    line.textContent = line.dataset.kept.replace('{time}', known.clock).replace('{count}', count);
    line.hidden = false;
  } else if (line.dataset.keeping || cut) {
    delete line.dataset.keeping;
    line.hidden = true;
  }
}

async function keepOffline() {
  if (!('serviceWorker' in navigator)) return;
  try {
    const registered = await navigator.serviceWorker.register('/service-worker.js', { scope: '/' });
    await navigator.serviceWorker.ready;
    // What this page was made of belongs to what opens without a network.
    const parts = [...document.querySelectorAll('link[href^="/static/"], script[src^="/static/"]')].map((one) => one.getAttribute('href') ?? one.getAttribute('src'));
    const modules = performance.getEntriesByType('resource').map((one) => new URL(one.name).pathname).filter((path) => path.startsWith('/static/'));
    (registered.active ?? navigator.serviceWorker.controller)?.postMessage({ keep: [...new Set([...parts, ...modules])], person: person() });
  } catch { /* no worker here (plain http, or switched off): the page works while there is a network */ }
}
