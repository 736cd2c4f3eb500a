// Saves a list of the API as a CSV file: all its pages, one header line.
import { say } from './say.js';

export function startTables() {
  document.addEventListener('click', (event) => {
    const link = event.target.closest('a[data-csv]');
    if (!link) return;
    event.preventDefault();
    keep(link);
  });
}

async function keep(link) {
  if (link.getAttribute('aria-busy') === 'true') return;
  const output = link.parentElement.querySelector('output');
  link.setAttribute('aria-busy', 'true');
  output.textContent = '…';
  output.className = '';
  try {
    const parts = await pages(link.getAttribute('href'));
    const place = URL.createObjectURL(new Blob(parts, { type: 'text/csv' }));
    const file = document.createElement('a');
    file.href = place;
    file.download = link.dataset.csv;
    file.click();
    setTimeout(() => URL.revokeObjectURL(place), 60_000);
    output.textContent = '';
  } catch (problem) {
    output.textContent = problem.message;
    output.className = 'failed';
  } finally { link.removeAttribute('aria-busy'); }
}

async function pages(first) {
  const parts = [];
  for (let url = first; url;) {
    const answer = await fetch(url, { credentials: 'same-origin', headers: { 'X-Ringtell': 'page', Accept: 'text/csv' } });
    if (!answer.ok) throw new Error(say('no_list', { status: answer.status }));
    const text = await answer.text();
    parts.push(parts.length ? text.slice(text.indexOf('\n') + 1) : text);
    url = /<([^>]+)>;\s*rel="next"/.exec(answer.headers.get('Link') ?? '')?.[1];
  }
  return parts;
}
