// A file of shots to the ingest API: what it holds first, then what became of each row.
import { send } from './send.js';

const KINDS = { csv: 'text/csv', tsv: 'text/csv', txt: 'text/csv', json: 'application/json', ndjson: 'application/x-ndjson', jsonl: 'application/x-ndjson' };
const LABELS = ['press', 'mold', 'material', 'lot'];

export function startUpload() {
  const form = document.querySelector('[data-import]');
  const input = form.querySelector('input[type=file]');
  const zone = form.querySelector('[data-drop]');
  input.addEventListener('change', () => preview(form, input.files[0]));
  for (const name of ['dragover', 'dragleave', 'drop']) {
    zone.addEventListener(name, (event) => {
      event.preventDefault();
      zone.classList.toggle('over', name === 'dragover');
      if (name === 'drop' && event.dataTransfer.files.length) {
        input.files = event.dataTransfer.files;
        preview(form, input.files[0]);
      }
    });
  }
  form.addEventListener('submit', (event) => { event.preventDefault(); upload(form, input.files[0]); });
}

function kindOf(file) { return KINDS[file.name.split('.').pop().toLowerCase()] || 'text/csv'; }

async function preview(form, file) {
  const part = form.querySelector('[data-preview]');
  part.hidden = !file;
  if (!file) return;
  const lines = (await file.slice(0, 65536).text()).split(/\r?\n/).filter((line) => line.trim());
  const table = part.querySelector('[data-preview-table]');
  const says = part.querySelector('[data-preview-text]');
  table.replaceChildren();
  if (kindOf(file) !== 'text/csv') { says.textContent = `${file.name}: ${Math.ceil(file.size / 1024)} kB.`; return; }
  const mark = [';', '\t', ','].find((one) => lines[0]?.includes(one)) || ',';
  const names = lines[0].split(mark).map((name) => name.trim());
  const known = new Set(form.dataset.fields.split(' '));
  const strange = names.filter((name) => !known.has(name));
  says.textContent = `${file.name}: ${names.length - strange.length} columns known` + (strange.length ? `, kept as extra numbers: ${strange.join(', ')}.` : '.');
  for (const [i, line] of lines.slice(0, 6).entries()) {
    const row = table.insertRow();
    for (const cell of line.split(mark)) {
      const one = document.createElement(i ? 'td' : 'th');
      one.textContent = cell.trim();
      row.append(one);
    }
  }
}

async function upload(form, file) {
  const output = form.querySelector('[data-result]');
  const button = form.querySelector('button[type=submit]');
  button.disabled = true;
  output.className = '';
  output.textContent = 'Sending…';
  try {
    const query = new URLSearchParams();
    for (const one of form.elements) {
      if (!one.name || !one.value || one.type === 'file') continue;
      if (LABELS.includes(one.name)) query.set(one.name, one.value);
      else if (one.name.startsWith('unit.') && one.value !== one.dataset.stored) query.set(one.name.slice(5), one.value);
    }
    const answer = await send('POST', `${form.dataset.import}?${query}`, file, { 'Content-Type': kindOf(file) });
    output.className = 'worked';
    output.textContent = `${answer.stored} of ${answer.received} rows stored, ${answer.duplicate} were there already, ${answer.conflict} contradict a stored shot, ${answer.rejected.length} refused.`;
    rejected(form, answer.rejected);
  } catch (problem) {
    output.className = 'failed';
    output.textContent = problem.message;
  } finally { button.disabled = false; }
}

function rejected(form, rows) {
  const part = form.querySelector('[data-rejected]');
  part.hidden = rows.length === 0;
  const body = part.querySelector('tbody');
  body.replaceChildren();
  for (const one of rows.slice(0, 200)) {
    const row = body.insertRow();
    for (const cell of [one.row, one.field, one.message]) row.insertCell().textContent = cell ?? '';
  }
}
