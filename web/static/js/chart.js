// Draws the press page's figure: the server sends it whole, with colours as names of the style sheet's tokens.
import { send } from './send.js';

const DAY_MS = 86400000;
const RESTS_MS = 5000;
const SPANS = { '8h': DAY_MS / 3, '1d': DAY_MS, '7d': 7 * DAY_MS, '30d': 30 * DAY_MS };

export async function startCharts() {
  for (const box of document.querySelectorAll('[data-chart]')) {
    // In a part that is folded away a chart has no width: it is drawn when that opens.
    const folded = box.closest('[data-opens-chart]');
    if (!folded || folded.open) new Chart(box);
    else folded.addEventListener('toggle', () => new Chart(box), { once: true });
  }
}

// The page's policy takes no inline style. The library sets whole style attributes and carries a style
// element for maps: the first goes through the object model instead, the second is left inert. What
// rules it needs stand in chart.css.
function tame() {
  const plain = Element.prototype.setAttribute;
  Element.prototype.setAttribute = function setAttribute(name, value) {
    if (name === 'style' && this.style) this.style.cssText = value;
    else plain.call(this, name, value);
  };
  const create = document.createElement;
  document.createElement = function createElement(name, options) {
    return create.call(document, name === 'style' ? 'template' : name, options);
  };
}

let loading = null;

function library(url) {
  loading ??= load(url);
  return loading;
}

function load(url) {
  return new Promise((done, fail) => {
    tame();
    const script = document.createElement('script');
    script.src = url;
    script.onload = () => done(window.Plotly);
    script.onerror = () => { loading = null; fail(new Error('chart library')); };
    document.head.append(script);
  });
}

class Chart {
  constructor(box) {
    this.box = box;
    this.note = box.querySelector('[data-chart-note]');
    this.again = box.querySelector('[data-chart-again]');
    this.again?.addEventListener('click', () => this.draw());
    this.span = box.dataset.first || '7d';
    this.window = windowOfAddress();
    this.past = this.window ? [null] : [];
    this.turn = 0;
    for (const button of document.querySelectorAll('[data-span]')) {
      button.addEventListener('click', () => this.choose(button.dataset.span));
    }
    document.addEventListener('ringtell:swapped', () => { if (!this.window) this.drawSoon(); });
    document.addEventListener('ringtell:found', () => { if (this.box.dataset.state === 'failed') this.draw(); });
    window.matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.draw());
    this.draw();
  }

  choose(span) {
    if (span === 'back') this.window = this.past.pop() ?? null;
    else { this.span = span; this.window = null; this.past = []; }
    keepInAddress(this.window);
    this.draw();
  }

  // Drawing takes the browser longer than a number does: shots that come close together share one.
  drawSoon() {
    if (this.soon) return;
    this.soon = setTimeout(() => {
      this.soon = 0;
      if (!this.window) this.draw();
    }, Math.max(0, (this.drawnAt ?? 0) + RESTS_MS - Date.now()));
  }

  async draw() {
    this.drawnAt = Date.now();
    const turn = ++this.turn;
    this.stands('loading');
    try {
      const [figure, plotly] = await Promise.all([send('GET', this.url()), library(this.box.dataset.library)]);
      if (turn !== this.turn) return;
      this.note.hidden = figure.data.length > 0;
      this.note.textContent = figure.data.length ? '' : this.box.dataset.empty;
      this.from = figure.layout.meta.from_ms;
      const { data, layout } = withTokens(figure, getComputedStyle(document.documentElement));
      for (const line of data) line.x = figure.times[line.x];
      this.buttons();
      await plotly.react(this.plot(), figure.data.length ? data : [], layout, figure.config);
      this.area.hidden = figure.data.length === 0;
      if (!this.wired) {
        this.wired = true;
        this.area.on('plotly_relayout', (change) => this.zoomed(change));
      }
      this.box.dataset.drawn = String(turn);
      this.stands(figure.data.length ? 'drawn' : 'empty');
      if (this.window) offer(figure.layout.meta);
    } catch (problem) {
      if (turn !== this.turn) return;
      this.note.hidden = false;
      // Without an answer the browser's own words say nothing more.
      this.note.textContent = problem.status ? `${this.box.dataset.failed} ${problem.message}` : this.box.dataset.failed;
      this.stands('failed');
    }
  }

  // Loading, drawn, empty or failed: what was drawn before stays under the first and the last.
  stands(state) {
    this.box.dataset.state = state;
    this.box.setAttribute('aria-busy', String(state === 'loading'));
    if (this.again) this.again.hidden = state !== 'failed';
  }

  plot() {
    if (!this.area) {
      this.area = document.createElement('div');
      this.box.append(this.area);
    }
    return this.area;
  }

  url() {
    const query = new URLSearchParams();
    if (this.window) { query.set('from', this.window[0]); query.set('to', this.window[1]); }
    else if (this.span === 'all') query.set('span', 'all');
    else query.set('span_ms', String(SPANS[this.span]));
    query.set('width', String(Math.max(300, Math.round(this.box.clientWidth))));
    return `${this.box.dataset.chart}?${query}`;
  }

  zoomed(change) {
    const from = change['xaxis.range[0]'];
    const to = change['xaxis.range[1]'];
    if (from === undefined || to === undefined) return;
    this.past.push(this.window);
    // The axis speaks the plant's local time; the server reads times without offset that way.
    this.window = [String(from).replace(' ', 'T').slice(0, 23), String(to).replace(' ', 'T').slice(0, 23)];
    keepInAddress(this.window);
    this.draw();
  }

  buttons() {
    for (const button of document.querySelectorAll('[data-span]')) {
      if (button.dataset.span === 'back') button.hidden = this.past.length === 0;
      else button.setAttribute('aria-pressed', String(!this.window && button.dataset.span === this.span));
    }
  }
}

// What somebody looks at can be sent to somebody else as an address.
function windowOfAddress() {
  const asked = new URLSearchParams(window.location.search);
  return asked.get('from') && asked.get('to') ? [asked.get('from'), asked.get('to')] : null;
}

function keepInAddress(stretch) {
  const address = new URL(window.location.href);
  address.searchParams.delete('from');
  address.searchParams.delete('to');
  if (stretch) { address.searchParams.set('from', stretch[0]); address.searchParams.set('to', stretch[1]); }
  window.history.replaceState(null, '', address);
}

// A stretch looked at closer is offered to the form of the page, where it has one.
function offer(meta) {
  const fields = document.querySelectorAll('[data-stretch]');
  for (const field of fields) field.value = localText(field.dataset.stretch === 'from' ? meta.from_ms : meta.to_ms);
  const says = document.querySelector('[data-stretch-says]');
  if (fields.length && says) says.textContent = says.dataset.words;
}

// As a field for local time takes it: the form reads it back in the same zone.
function localText(ms) {
  const at = new Date(ms);
  return new Date(ms - at.getTimezoneOffset() * 60000).toISOString().slice(0, 19);
}

function withTokens(value, style) {
  if (typeof value === 'string') return value.startsWith('--') ? style.getPropertyValue(value).trim() : value;
  if (Array.isArray(value)) return typeof value[0] === 'number' ? value : value.map((one) => withTokens(one, style));
  if (value && typeof value === 'object') {
    return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, key === 'x' || key === 'y' ? one : withTokens(one, style)]));
  }
  return value;
}
