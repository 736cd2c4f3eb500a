// The sheet of an import: what a look at the file found, drawn; and what somebody chose, read back.
import { say, whole } from './say.js';

const DRAWN = ['press', 'mold', 'counter', 'at'];

export function draw(form, found, options) {
  const part = (name) => form.querySelector(`[data-${name}]`);
  part('sheet').hidden = false;
  part('facts').textContent = facts(found);
  part('facts-more').textContent = more(found);
  list(part('questions'), found.questions, part('asked'));
  list(part('flags'), found.flags, part('flagged'));
  part('sum').textContent = found.constant_sum.map((one) => one.text).join(' ');
  part('lag').textContent = found.dose_lag_text;
  columns(form, found, options);
  choices(form, part('sheets'), 'sheet', found.sheets.length > 1 ? found.sheets.map((name) => [name, name]) : []);
  choices(form, part('presses'), 'only_press', found.presses.length > 1 ? [['', say('all_presses')], ...found.presses.map((one) => [one.press, say('rows_seen', { press: one.press, count: whole(one.rows) })])] : []);
  part('getid').hidden = found.kind !== 'report';
  saved(form, found);
  preview(form, found);
}

function facts(found) {
  const rows = found.rows_total === null ? say('long_file') : say('rows', { count: whole(found.rows_total) });
  const span = found.from ? say('from_to', { from: minute(found.from), to: minute(found.to) }) : '';
  return `${rows}${span}.`;
}

function minute(moment) { return moment.slice(0, 16).replace('T', ' '); }

function more(found) {
  const said = [];
  const marks = { ',': 'commas', ';': 'semicolons', '\t': 'tabs', '|': 'bars' };
  if (found.kind === 'report') said.push(say('report_file'));
  else if (found.delimiter) said.push(say('set_apart', { mark: say(marks[found.delimiter]) }));
  if (found.delimiter) said.push(say(found.decimal_comma ? 'decimal_commas' : 'decimal_points'));
  if (found.encoding) said.push({ 'utf-8-sig': 'UTF-8', cp1252: 'Windows-1252' }[found.encoding] || found.encoding.toUpperCase());
  if (found.date_order) said.push(say('dates', { order: say(found.date_order) }));
  said.push(say(found.has_offset ? 'with_offset' : 'without_offset'));
  return say('found', { facts: said.join(', '), count: whole(found.rows_looked_at) });
}

function list(target, items, around) {
  around.hidden = items.length === 0;
  target.replaceChildren(...items.map((one) => made('li', one.text)));
}

function columns(form, found, options) {
  const focused = document.activeElement?.name;
  const body = form.querySelector('[data-columns]');
  body.replaceChildren(...found.columns.map((one) => {
    const row = document.createElement('tr');
    const name = made('th', one.name);
    name.scope = 'row';
    const target = document.createElement('select');
    target.append(form.querySelector('[data-targets]').content.cloneNode(true));
    target.name = `column ${one.name}`;
    target.dataset.column = one.name;
    target.setAttribute('aria-label', say('read_as', { name: one.name }));
    if (one.field.startsWith('extra.')) target.value = 'extra';
    else target.value = one.field;
    if (target.value === '' && one.field) { target.append(new Option(one.field, one.field)); target.value = one.field; }
    row.className = one.field ? '' : 'over';
    const unit = unitOf(form, one, options);
    row.append(name, cellsOf(one), cell(target), cell(unit), cell(made('small', why(one))));
    return row;
  }));
  if (focused?.startsWith('column ') || focused?.startsWith('unit ')) form.elements[focused]?.focus();
}

function cellsOf(one) {
  const around = made('td', one.cells.length ? '' : '–', 'cells');
  around.append(...one.cells.map((text) => made('span', text)));
  return around;
}

function why(one) {
  if (!one.field) return one.injected ? say('injected') : '';
  return one.why;
}

function unitOf(form, one, options) {
  const known = JSON.parse(form.dataset.units)[one.field.split('.')[0]];
  if (!known) return made('small', '');
  const select = document.createElement('select');
  select.name = `unit ${one.name}`;
  select.dataset.unit = one.name;
  select.setAttribute('aria-label', say('unit_of', { name: one.name }));
  for (const name of known) select.append(new Option(written(name), name));
  select.value = options?.column_units?.[one.name] || one.unit || known[0];
  return select;
}

function written(unit) { return { degC: '°C', degF: '°F', cm3: 'cm³', in3: 'in³', mm3: 'mm³', um: 'µm' }[unit] || unit; }

function choices(form, around, name, pairs) {
  around.hidden = pairs.length === 0;
  const select = form.elements[name];
  const before = select.value;
  select.replaceChildren(...pairs.map(([value, text]) => new Option(text, value)));
  if ([...select.options].some((one) => one.value === before)) select.value = before;
}

function saved(form, found) {
  const around = form.querySelector('[data-saved]');
  const select = form.elements.saved;
  if (select.options.length > 1) return;
  const ordered = [...found.mappings].sort((a, b) => b.fits - a.fits);
  select.append(...ordered.map((one) => new Option(one.fits ? say('same_columns', { name: one.name }) : one.name, one.name)));
  around.hidden = ordered.length === 0;
}

function preview(form, found) {
  const table = form.querySelector('[data-preview]');
  form.querySelector('[data-preview-none]').hidden = found.shots.length > 0;
  const names = [...new Set([...DRAWN, ...found.shots.flatMap(Object.keys)])].filter((name) => found.shots.some((shot) => name in shot));
  const head = document.createElement('tr');
  head.append(...names.map((name) => { const one = made('th', title(form, name)); one.scope = 'col'; return one; }));
  const rows = found.shots.map((shot) => {
    const row = document.createElement('tr');
    row.append(...names.map((name) => made('td', text(shot[name]))));
    return row;
  });
  const top = document.createElement('thead');
  const body = document.createElement('tbody');
  if (names.length) top.append(head);
  body.append(...rows);
  table.replaceChildren(top, body);
}

// The word of a field with the unit it is kept in.
function title(form, name) {
  const option = form.querySelector('[data-targets]').content.querySelector(`option[value="${CSS.escape(name)}"]`);
  const word = option ? option.textContent : { zone_temps_c: say('barrel_zones'), extra: say('own_numbers') }[name] || name;
  const unit = JSON.parse(form.dataset.units)[name]?.[0];
  return unit ? `${word}, ${written(unit)}` : word;
}

function text(value) {
  if (value === undefined) return '';
  if (typeof value === 'string' && value.startsWith('[')) return JSON.parse(value).map((one) => (one === null ? '–' : one)).join(' / ');
  return typeof value === 'number' ? String(Math.round(value * 10000) / 10000) : String(value).replace('T', ' ').replace('.000Z', ' Z');
}

function cell(content) { const one = document.createElement('td'); one.append(content); return one; }

function made(kind, content, look = '') {
  const one = document.createElement(kind);
  one.textContent = content;
  if (look) one.className = look;
  return one;
}

// What is chosen on the sheet, as the API takes it. Before the first look: what stands above the columns.
export function chosen(form, getid) {
  const at = (name) => form.elements[name]?.value.trim() || '';
  const options = { mapping: {}, column_units: {}, defaults: {} };
  for (const select of form.querySelectorAll('[data-column]')) {
    const name = select.dataset.column;
    if (select.value) options.mapping[name] = select.value === 'extra' ? `extra.${name}`.slice(0, 66) : select.value;
  }
  for (const select of form.querySelectorAll('[data-unit]')) options.column_units[select.dataset.unit] = select.value;
  const press = at('default.press.new') || at('default.press');
  if (press) options.defaults.press = press;
  for (const name of ['mold', 'material', 'lot']) if (at(`default.${name}`)) options.defaults[name] = at(`default.${name}`);
  for (const name of ['time_zone', 'date_order', 'encoding', 'sheet', 'only_press']) if (at(name)) options[name] = at(name);
  if (at('decimal_comma')) options.decimal_comma = at('decimal_comma') === 'true';
  if (form.elements.cavities.checked) options.cavities = 'sum';
  if (form.elements.unwrap.checked) options.unwrap = true;
  if (getid) options.getid = getid;
  return options;
}

// A saved mapping onto the fields above the columns; the columns follow with the next look.
export function put(form, options) {
  for (const [name, value] of Object.entries(options.defaults || {})) {
    const one = form.elements[`default.${name}`];
    if (!one) continue;
    one.value = value;
    if (name === 'press' && one.value !== value) form.elements['default.press.new'].value = value;
  }
  for (const name of ['time_zone', 'date_order', 'encoding', 'sheet', 'only_press']) if (options[name]) form.elements[name].value = options[name];
  if (options.decimal_comma !== undefined) form.elements.decimal_comma.value = String(options.decimal_comma);
  form.elements.cavities.checked = options.cavities === 'sum';
  form.elements.unwrap.checked = Boolean(options.unwrap);
}
