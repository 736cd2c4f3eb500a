// Sends a chosen file as it is to the address of its form; the answer stands where it was asked for.
import { send } from './send.js';
import { refreshLive } from './live.js';

export function startFiles() {
  document.addEventListener('submit', (event) => {
    if (!event.target.matches('[data-file-post]')) return;
    event.preventDefault();
    take(event.target);
  });
}

async function take(form) {
  const output = form.querySelector('[data-result]');
  const button = form.querySelector('button[type=submit]');
  const chosen = form.querySelector('input[type=file]');
  button.disabled = true;
  output.className = '';
  output.textContent = '…';
  try {
    await send('POST', address(form), chosen.files[0], { 'Content-Type': chosen.files[0].type || 'application/octet-stream' });
    form.reset();
    output.className = 'worked';
    output.textContent = output.dataset.done;
    await refreshLive();
  } catch (problem) {
    output.className = 'failed';
    output.textContent = problem.message;
  } finally { button.disabled = false; }
}

function address(form) {
  const name = form.dataset.query;
  const text = name ? form.elements[name].value.trim() : '';
  return text ? `${form.dataset.filePost}?${name}=${encodeURIComponent(text)}` : form.dataset.filePost;
}
