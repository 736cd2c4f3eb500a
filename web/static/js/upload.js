// An import: the file travels, is looked at, stored by the server and followed; a reload goes on where it was.
import { say, whole } from './say.js';
import { send } from './send.js';
import { refreshLive } from './live.js';
import { chosen, draw, put } from './sheet.js';

const OWN = { json: 'application/json', ndjson: 'application/x-ndjson', jsonl: 'application/x-ndjson' };
const LOOK_MS = 250;
const FOLLOW_MS = 500;
let form;
let number = 0;
let getid = '';
let mappings = [];
let timer = 0;
let asked = 0;

export function startUpload() {
  document.addEventListener('click', (event) => {
    const button = event.target.closest('[data-undo]');
    if (button) undo(button, false);
  });
  form = document.querySelector('form[data-import]');
  const input = form.querySelector('[data-file]');
  const zone = form.querySelector('[data-drop]');
  input.addEventListener('change', () => { if (input.files[0]) bring(input.files[0]); });
  for (const name of ['dragover', 'dragleave', 'drop']) {
    zone.addEventListener(name, (event) => {
      event.preventDefault();
      zone.classList.toggle('over', name === 'dragover');
      if (name === 'drop' && event.dataTransfer.files.length) bring(event.dataTransfer.files[0]);
    });
  }
  form.querySelector('[data-sheet]').addEventListener('change', changed);
  // Enter in a field means "look again": storing is a button of its own.
  form.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' || event.target.tagName !== 'INPUT') return;
    event.preventDefault();
    event.target.dispatchEvent(new Event('change', { bubbles: true }));
  });
  form.addEventListener('submit', (event) => { event.preventDefault(); store(); });
  form.querySelector('[data-cancel]').addEventListener('click', stop);
  form.querySelector('[data-give-up]').addEventListener('click', giveUp);
  const kept = /^#import-(\d+)$/.exec(window.location.hash);
  if (kept) resume(Number(kept[1]));
}

function part(name) { return form.querySelector(`[data-${name}]`); }

function outcome(text, failed = false) {
  part('outcome').hidden = !text;
  part('outcome').textContent = text;
  part('outcome').className = failed ? 'importing-result failed' : 'importing-result';
}

function progress(text, share, stoppable) {
  part('progress').hidden = false;
  part('progress-text').textContent = text;
  if (share === null) part('progress-bar').removeAttribute('value');
  else part('progress-bar').value = share;
  part('cancel').hidden = !stoppable;
}

// --- the file ---------------------------------------------------------------------------------

function bring(file) {
  outcome('');
  part('sheet').hidden = true;
  part('columns').replaceChildren();
  form.elements.saved.replaceChildren(form.elements.saved.options[0]);
  getid = '';
  const own = OWN[file.name.split('.').pop().toLowerCase()];
  if (own) { straight(file, own); return; }
  const request = new XMLHttpRequest();
  request.open('POST', `/api/v1/imports?name=${encodeURIComponent(file.name)}`);
  request.setRequestHeader('X-Ringtell', 'page');
  request.upload.addEventListener('progress', (event) => progress(say('on_its_way', { name: file.name }), event.lengthComputable ? event.loaded / event.total : null, false));
  request.addEventListener('load', () => {
    part('progress').hidden = true;
    const answer = read(request.responseText);
    if (request.status !== 201) { outcome(answer.detail || say('answered', { status: request.status }), true); return; }
    number = answer.id;
    history.replaceState(null, '', `#import-${number}`);
    look(start());
  });
  request.addEventListener('error', () => { part('progress').hidden = true; outcome(say('not_reached'), true); });
  progress(say('on_its_way', { name: file.name }), 0, false);
  request.send(file);
}

function read(text) { try { return JSON.parse(text); } catch { return {}; } }

function start() { const options = chosen(form, getid); delete options.mapping; delete options.column_units; return options; }

async function straight(file, kind) {
  progress(say('on_its_way', { name: file.name }), null, false);
  try {
    const answer = await send('POST', '/api/v1/shots', file, { 'Content-Type': kind });
    outcome(say('came_to', counted(answer, answer.rejected.length)));
    await refreshLive();
  } catch (problem) { outcome(problem.message, true); }
  part('progress').hidden = true;
}

async function resume(id) {
  try {
    const one = await send('GET', `/api/v1/imports/${id}`);
    number = id;
    if (one.state === 'uploaded') { recall(); look(recalled() || start()); }
    else if (['waiting', 'running', 'undoing'].includes(one.state)) follow();
    else if (one.state !== 'undone') said(one);
  } catch { history.replaceState(null, '', window.location.pathname); }
}

function remember(options) { try { sessionStorage.setItem(`import-${number}`, JSON.stringify(options)); } catch { /* lasts as long as the page */ } }
function recalled() { try { return JSON.parse(sessionStorage.getItem(`import-${number}`)); } catch { return null; } }
function recall() { const options = recalled(); if (options) put(form, options); }

// --- the sheet --------------------------------------------------------------------------------

async function changed(event) {
  const one = event.target;
  if (one.name === 'save_as') return;
  if (one.name === 'getid') getid = one.files[0] ? await one.files[0].text() : '';
  if (one.name === 'saved') {
    const mapping = mappings.find((saved) => saved.name === one.value);
    if (mapping) { put(form, mapping.options); look({ ...mapping.options, defaults: { ...chosen(form, getid).defaults } }); form.elements.save_as.value = mapping.name; }
    else look(start());
    return;
  }
  // A unit chosen for another field means nothing for this one.
  if (one.dataset.column !== undefined) form.querySelector(`[data-unit="${CSS.escape(one.dataset.column)}"]`)?.remove();
  clearTimeout(timer);
  const anew = ['getid', 'sheet', 'encoding'].includes(one.name);
  timer = setTimeout(() => look(anew ? start() : chosen(form, getid)), LOOK_MS);
}

async function look(options) {
  const mine = ++asked;
  const output = part('result');
  output.className = '';
  output.textContent = say('looking');
  try {
    const found = await send('POST', `/api/v1/imports/${number}/look`, options);
    if (mine !== asked) return;
    mappings = found.mappings;
    draw(form, found, found.options);
    remember(found.options);
    output.textContent = '';
    if (mine === 1 || document.activeElement === document.body) part('facts').focus();
  } catch (problem) {
    if (mine !== asked) return;
    if (part('sheet').hidden) outcome(problem.message, true);
    output.className = 'failed';
    output.textContent = problem.message;
  }
}

async function store() {
  // What was about to be looked at once more is stored instead.
  clearTimeout(timer);
  asked += 1;
  const output = part('result');
  const options = chosen(form, getid);
  const name = form.elements.save_as.value.trim();
  const columns = [...form.querySelectorAll('[data-columns] th')].map((one) => one.textContent);
  output.className = '';
  output.textContent = '…';
  try {
    if (name) await send('PUT', `/api/v1/import-mappings/${encodeURIComponent(name)}`, { options: { ...options, getid: undefined }, columns });
    await send('POST', `/api/v1/imports/${number}/start`, options);
    output.textContent = '';
    part('sheet').hidden = true;
    follow();
  } catch (problem) {
    output.className = 'failed';
    output.textContent = problem.message;
  }
}

async function giveUp() {
  part('sheet').hidden = true;
  try { await send('POST', `/api/v1/imports/${number}/cancel`); } catch { /* gone already */ }
  outcome(say('nothing_stored'));
  history.replaceState(null, '', window.location.pathname);
  await refreshLive();
}

// --- following --------------------------------------------------------------------------------

async function follow() {
  let one;
  try { one = await send('GET', `/api/v1/imports/${number}`); } catch (problem) { progress(problem.message, null, false); setTimeout(follow, 4 * FOLLOW_MS); return; }
  if (['waiting', 'running', 'undoing'].includes(one.state)) {
    const counts = one.state === 'undoing' ? '' : say('until_now', counted(one, one.rejected));
    progress(say('under_way', { file: one.file, state: one.text, percent: Math.round(one.share * 100), counts }), one.state === 'waiting' ? null : one.share, one.state !== 'undoing');
    setTimeout(follow, FOLLOW_MS);
    return;
  }
  part('progress').hidden = true;
  said(one);
  await refreshLive();
}

function said(one) {
  const failed = one.state === 'failed';
  const counts = one.state === 'undone' ? say('gone') : say('came_to', counted(one, one.rejected));
  outcome(say('over', { file: one.file, state: one.text, counts }) + (one.trouble ? ` ${one.trouble}.` : ''), failed);
}

function counted(one, refused) {
  return {
    stored: whole(one.stored), received: whole(one.received), duplicate: whole(one.duplicate), conflict: whole(one.conflict), refused: whole(refused),
  };
}

async function stop() {
  try { await send('POST', `/api/v1/imports/${number}/cancel`); } catch (problem) { outcome(problem.message, true); }
}

async function undo(button, although) {
  const text = although ? say('although') : say('take_back', { file: button.dataset.file });
  if (!window.confirm(text)) return;
  button.disabled = true;
  try {
    await send('POST', `/api/v1/imports/${button.dataset.undo}/undo`, { although_used: although });
    if (form) { number = Number(button.dataset.undo); follow(); } else await refreshLive();
  } catch (problem) {
    button.disabled = false;
    const line = button.nextElementSibling;
    line.className = 'failed';
    line.textContent = problem.message;
    if (problem.status === 409 && !although) undo(button, true);
  }
}
