// Starts what the page has attributes for. No module here knows a limit, a colour or a word of the plant.
import { startLive } from './live.js';
import { startForms } from './forms.js';
import { startScrolls } from './scrolls.js';
import { startKeys } from './keys.js';

// Whoever signs out, or signs in after somebody, finds nothing of the one before on this device.
function forget() { navigator.serviceWorker?.controller?.postMessage({ forget: true }); }
if (window.location.pathname === '/login') forget();
document.addEventListener('click', (event) => { if (event.target.closest('[data-action="/api/v1/logout"]')) forget(); });
startLive();
startForms();
startKeys();
if (document.getElementById('main')) startScrolls();
const started = [];
if (document.body.dataset.lockAfter || document.querySelector('[data-short]')) started.push(import('./lock.js').then((module) => module.startLock()));
if (document.querySelector('[data-answer]') || document.body.classList.contains('floor')) {
  // A finger is faster than a module: what is tapped before it is here is handed to it.
  const early = [];
  const hear = (event) => { const button = event.target.closest('[data-answer]'); if (button) early.push(button); };
  document.addEventListener('click', hear);
  started.push(import('./alarms.js').then((module) => { document.removeEventListener('click', hear); return module.startAlarms(early); }));
}
if (document.querySelector('[data-find]')) started.push(import('./find.js').then((module) => module.startFind()));
if (document.querySelector('[data-help-filter]')) started.push(import('./help.js').then((module) => module.startHelp()));
if (document.querySelector('[data-reveal]')) started.push(import('./reveal.js').then((module) => module.startReveal()));
if (document.querySelector('[data-chart]')) started.push(import('./chart.js').then((module) => module.startCharts()));
if (document.querySelector('[data-csv], [data-live="suspects"]')) started.push(import('./table.js').then((module) => module.startTables()));
if (document.querySelector('[data-file-post]')) started.push(import('./files.js').then((module) => module.startFiles()));
if (document.querySelector('[data-import]')) started.push(import('./upload.js').then((module) => module.startUpload()));
// Says that taps are heard from now on.
Promise.all(started).then(() => { document.documentElement.dataset.ready = '1'; performance.mark('ringtell-ready'); });

document.addEventListener('click', (event) => {
  if (event.target.closest('[data-print]')) {
    document.querySelectorAll('details.inner').forEach((part) => { part.open = true; });
    window.print();
  }
});
document.querySelectorAll('form[data-filter]').forEach((form) => {
  form.addEventListener('change', () => form.requestSubmit());
});
function openTarget() {
  const part = document.getElementById(decodeURIComponent(window.location.hash.slice(1)));
  if (part instanceof HTMLDetailsElement) part.open = true;
}
window.addEventListener('hashchange', openTarget);
openTarget();
