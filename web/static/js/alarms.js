// Answers to alarms: one tap each, kept on the device until the server has them, sent once.
import { send, Problem } from './send.js';
import { refreshLive, clock } from './live.js';

const SHELF = 'ringtell.taps';
let sending = false;
let lostSince = null;

export function startAlarms() {
  document.addEventListener('click', (event) => {
    const button = event.target.closest('[data-answer]');
    if (button) tap(button);
  });
  document.addEventListener('ringtell:swapped', show);
  document.addEventListener('ringtell:found', () => flush());
  document.addEventListener('ringtell:lost', (event) => { lostSince ??= event.detail; show(); });
  window.addEventListener('online', () => flush());
  setInterval(() => { if (kept().length) flush(); }, 5000);
  show();
  flush();
}

function kept() {
  try { return JSON.parse(localStorage.getItem(SHELF)) || []; } catch { return []; }
}

function keep(taps) { localStorage.setItem(SHELF, JSON.stringify(taps)); }

function tap(button) {
  const taps = kept().filter((one) => one.id !== button.dataset.answer);
  taps.push({ id: button.dataset.answer, reason: button.dataset.reason, word: button.textContent.trim(),
    key: crypto.randomUUID?.() ?? `${Date.now()}-${Math.random()}`, at: new Date().toISOString() });
  keep(taps);
  show();
  flush();
}

async function flush() {
  if (sending) return;
  sending = true;
  try {
    for (const one of kept()) {
      try {
        await send('POST', `/api/v1/alarms/${encodeURIComponent(one.id)}/acknowledge`, { reason: one.reason, note: '' }, { 'Idempotency-Key': one.key });
        drop(one, 'sent');
      } catch (problem) {
        if (!(problem instanceof Problem) || problem.status >= 500 || problem.status === 429) { lostSince ??= new Date(); break; }
        drop(one, problem.message);
      }
    }
  } finally { sending = false; show(); }
}

function drop(one, outcome) {
  keep(kept().filter((other) => other.key !== one.key));
  lostSince = null;
  const line = lineOf(one.id);
  if (line) line.textContent = outcome === 'sent' ? line.dataset.sent.replace('{word}', one.word) : outcome;
  setTimeout(refreshLive, 900);
}

function lineOf(id) { return document.querySelector(`[data-tapped="${CSS.escape(id)}"]`); }

function show() {
  const taps = kept();
  for (const one of taps) {
    const line = lineOf(one.id);
    if (line) line.textContent = line.dataset.waiting.replace('{word}', one.word);
    for (const button of document.querySelectorAll(`[data-answer="${CSS.escape(one.id)}"]`)) {
      button.setAttribute('aria-pressed', String(button.dataset.reason === one.reason));
    }
  }
  const line = document.querySelector('[data-network]');
  if (taps.length && lostSince) {
    line.dataset.keeping = '1';
    line.textContent = line.dataset.kept.replace('{time}', clock(lostSince)).replace('{count}', taps.length);
    line.hidden = false;
  } else if (line.dataset.keeping) {
    delete line.dataset.keeping;
    line.hidden = true;
  }
}
