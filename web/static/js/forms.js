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
  document.addEventListener('input', (event) => {
    if (event.target.matches('[data-tally]')) tally(event.target);
  });
}

async function submit(form) {
  const output = form.querySelector('[data-result]');
  const button = form.querySelector('button[type=submit]');
  button.disabled = true;
  say(output, '…', '');
  try {
    const { url, body } = read(form);
    const answer = await send(form.dataset.method || 'POST', url, body, { 'Idempotency-Key': keyOf(form, body) });
    form.sentAs = undefined;
    say(output, answer.text || output.dataset.done, 'worked');
    if (answer.must_change) { showSecond(form); return; }
    await after(form.dataset.then);
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
    await send(button.dataset.method || 'POST', button.dataset.action, body ?? {});
    await after(button.dataset.then);
  } catch (problem) {
    let line = button.parentElement.querySelector('output');
    if (!line) { line = document.createElement('output'); button.after(line); }
    say(line, problem.message, 'failed');
  } finally { button.disabled = false; }
}

async function after(what) {
  if (what === 'live') await refreshLive();
  else if (what === 'reload') setTimeout(() => window.location.reload(), 500);
  else if (what && what.startsWith('/')) window.location.assign(what);
}

function say(output, text, look) {
  output.textContent = text;
  output.className = look;
}

function read(form) {
  let url = form.dataset.post;
  const body = {};
  const cleared = new Set([...form.querySelectorAll('[data-clears]')].filter((one) => one.value).map((one) => one.dataset.clears));
  for (const one of form.elements) {
    if (!one.name || one.dataset.confirm !== undefined || one.dataset.formOnly !== undefined || cleared.has(one.name)) continue;
    if (one.dataset.path !== undefined) { url = url.replace(`{${one.name}}`, encodeURIComponent(one.value.trim())); continue; }
    const value = valueOf(one);
    if (value !== undefined) put(body, one.name.split('.'), value);
  }
  return { url, body };
}

function valueOf(one) {
  const text = one.type === 'checkbox' ? '' : one.value.trim();
  switch (one.dataset.type) {
    case 'switch': return one.checked;
    case 'number': return text === '' ? (one.defaultValue ? null : undefined) : Number(text);
    case 'moment': return text === '' ? undefined : new Date(text).toISOString();
    case 'lag': return text === '' ? null : Number(text);
    case 'numbers': return numbers(text);
    case 'texts': return text.split(/[\s,]+/).filter(Boolean);
    case 'samples': return text.split('\n').map(numbers).filter((line) => line.length === 2).map(([t_s, position_mm]) => ({ t_s, position_mm }));
    default: return text === '' && !one.defaultValue ? undefined : text;
  }
}

function numbers(text) {
  return text.split(/[\s;]+/).map((part) => part.replace(/^(\d+),(\d+)$/, '$1.$2').replace(/,$/, '')).filter(Boolean).map(Number);
}

function put(body, path, value) {
  const [first, ...rest] = path;
  if (rest.length === 0) body[first] = value;
  else put(body[first] ??= {}, rest, value);
}

function tally(area) {
  const values = numbers(area.value).filter(Number.isFinite);
  const line = area.parentElement.querySelector('[data-tally-text]');
  if (values.length < 2) { line.textContent = ''; return; }
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  const spread = (Math.max(...values) - Math.min(...values)) / mean * 100;
  line.textContent = `${values.length} weights, ${spread.toFixed(2)} % between lightest and heaviest`;
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
