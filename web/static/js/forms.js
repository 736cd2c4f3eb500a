// Forms and single actions as JSON to the API; what came of it stands where it was asked for.
import { send } from './send.js';
import { refreshLive } from './live.js';

export function startForms() {
  document.addEventListener('submit', (event) => {
    const form = event.target;
    if (!form.matches('[data-post]')) return;
    event.preventDefault();
    submit(form);
  });
  document.addEventListener('click', (event) => {
    const button = event.target.closest('[data-action]');
    if (button) act(button);
  });
  document.addEventListener('change', (event) => {
    if (event.target.matches('[data-confirm]')) {
      const part = event.target.closest('form')?.querySelector('[data-after-confirm]');
      if (part) part.disabled = !event.target.checked;
    }
    if (event.target.matches('[data-tick]')) keepTick(event.target);
  });
}

async function submit(form) {
  const output = form.querySelector('[data-result]');
  const button = form.querySelector('button[type=submit]');
  button.disabled = true;
  say(output, '…', '');
  try {
    const { url, body, sent } = read(form);
    const typed = form.elements[form.dataset.again]?.value;
    const key = keyOf(form, body);
    if (form.dataset.mark !== undefined) body.mark = key;
    const answer = await send(form.dataset.method || 'POST', url, body, { 'Idempotency-Key': key });
    form.sentAs = undefined;
    say(output, answer.text || output.dataset.done, 'worked');
    if (answer.must_change) { showSecond(form); return; }
    again(form, typed);
    await after(form.dataset.then, { ...answer, press: sent.press ?? answer.press, sent });
  } catch (problem) {
    // Answered with a refusal: nothing was done. Without an answer it may have been: the same goes under the same key.
    if (problem.status && problem.status !== 503) form.sentAs = undefined;
    say(output, problem.message, 'failed');
  } finally { button.disabled = false; }
}

function keyOf(form, body) {
  const text = JSON.stringify(body);
  if (form.sentAs?.text !== text) form.sentAs = { text, key: crypto.randomUUID?.() ?? String(Math.random()) };
  return form.sentAs.key;
}

// A form for one reading after the other is empty again, with the cursor in its first field. What was typed
// there while the answer was on its way is the next reading, and stays.
function again(form, typed) {
  form.querySelectorAll('[data-empties]').forEach((one) => { one.value = ''; });
  if (!form.dataset.again) return;
  const first = form.elements[form.dataset.again];
  if (first.value === typed) first.value = '';
  first.focus();
}

function showSecond(form) {
  const second = document.querySelector('[data-second]');
  second.hidden = false;
  second.querySelector('[name=old_password]').value = form.querySelector('[name=password]').value;
  second.querySelector('[data-username]').value = form.querySelector('[name=name]').value;
  second.querySelector('[name=new_password]').focus();
  form.hidden = true;
}

async function act(button) {
  if (button.dataset.sure && !window.confirm(button.dataset.sure)) return;
  button.disabled = true;
  try {
    const body = button.dataset.body ? JSON.parse(button.dataset.body) : undefined;
    const answer = await send(button.dataset.method || 'POST', button.dataset.action, body ?? {});
    await after(button.dataset.then, answer);
  } catch (problem) {
    let line = button.parentElement.querySelector('output');
    if (!line) { line = document.createElement('output'); button.after(line); }
    say(line, problem.message, 'failed');
  } finally { button.disabled = false; }
}

// `what` may be an address with {names} of the answer in it.
async function after(what, answer = {}) {
  if (what === 'live') await refreshLive();
  else if (what === 'reload') setTimeout(() => window.location.reload(), 500);
  else if (what && what.startsWith('/')) window.location.assign(what.replace(/\{([\w.]+)\}/g, (_, name) => encodeURIComponent(name.split('.').reduce((held, part) => held?.[part], answer) ?? '')));
}

function say(output, text, look) {
  output.textContent = text;
  output.className = look;
}

function read(form) {
  let url = form.dataset.post;
  const body = {};
  const sent = {};
  const cleared = new Set([...form.querySelectorAll('[data-clears]')].filter((one) => one.value).map((one) => one.dataset.clears));
  for (const one of form.elements) {
    if (one.type === 'radio' && !one.checked) continue;
    if (!one.name || one.dataset.confirm !== undefined || one.dataset.formOnly !== undefined || cleared.has(one.name)) continue;
    if (one.type === 'radio' && !one.checked) continue;
    if (one.dataset.type === 'many') { if (one.checked) (body[one.name] ??= []).push(one.value); continue; }
    if (one.dataset.path !== undefined) { sent[one.name] = one.value.trim(); url = url.replace(`{${one.name}}`, encodeURIComponent(one.value.trim())); continue; }
    const value = valueOf(one);
    if (value !== undefined) put(body, one.name.split('.'), value);
  }
  return { url, body, sent: { ...body, ...sent } };
}

function valueOf(one) {
  const text = one.type === 'checkbox' ? '' : one.value.trim();
  switch (one.dataset.type) {
    case 'switch': return one.checked;
    case 'number': return text === '' ? (one.defaultValue ? null : undefined) : stored(one, text);
    case 'empties': return text === '' ? null : stored(one, text);
    case 'yes': return true;
    case 'pairs': return text.split('\n').map(numbers).filter((line) => line.length > 0).map((line) => line.map((value, i) => kept(value, one, i)));
    case 'moment': return text === '' ? undefined : new Date(text).toISOString();
    case 'lag': return text === '' ? null : Number(text);
    case 'numbers': return numbers(text).map((value) => kept(value, one, 0));
    case 'texts': return text.split(/[\s,]+/).filter(Boolean);
    case 'names': return text.split(',').map((part) => part.trim()).filter(Boolean);
    case 'samples': return text.split('\n').map(numbers).filter((line) => line.length === 2).map(([t_s, position_mm]) => ({ t_s, position_mm }));
    default: return text === '' && !one.defaultValue && one.dataset.emptySent === undefined ? undefined : text;
  }
}

// What somebody typed in their own unit, as it is kept; what nobody touched goes back as it came.
function stored(one, text) {
  if (one.dataset.stored !== undefined && text === one.defaultValue) return Number(one.dataset.stored);
  return kept(Number(text), one, 0);
}

// One factor a column, with blanks between.
function kept(value, one, column) {
  const factor = Number((one.dataset.factor ?? '1').split(' ')[column] ?? 1);
  return factor === 1 ? value + Number(one.dataset.offset ?? 0) : Number((value * factor + Number(one.dataset.offset ?? 0)).toPrecision(9));
}

function numbers(text) {
  return text.split(/[\s;]+/).map((part) => part.replace(/^(\d+),(\d+)$/, '$1.$2').replace(/,$/, '')).filter(Boolean).map(Number);
}

function put(body, path, value) {
  const [first, ...rest] = path;
  if (rest.length === 0) body[first] = value;
  else put(body[first] ??= /^\d+$/.test(rest[0]) ? [] : {}, rest, value);
}

// A tick belongs to the plant: it stands when the server has it, and goes back when it could not be kept.
async function keepTick(box) {
  const wanted = box.checked;
  try {
    await send('PUT', box.dataset.tick, { step: box.dataset.step, ticked: wanted });
    await refreshLive();
  } catch (problem) {
    box.checked = !wanted;
    let line = box.closest('li').querySelector('output');
    if (!line) { line = document.createElement('output'); box.closest('label').after(line); }
    say(line, problem.message, 'failed');
  }
}
