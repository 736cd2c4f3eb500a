// Starts what the page has attributes for. No module here knows a limit, a colour or a word of the plant.
import { startLive } from './live.js';
import { startForms } from './forms.js';

startLive();
startForms();
if (document.querySelector('[data-answer]') || document.body.classList.contains('floor')) {
  import('./alarms.js').then((module) => module.startAlarms());
}
if (document.querySelector('[data-chart]')) import('./chart.js').then((module) => module.startCharts());
if (document.querySelector('[data-import]')) import('./upload.js').then((module) => module.startUpload());

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
