// Lets a device call its owner when an alarm opens: asked for by a button, never by itself.
const told = new Set();

export function startNotify() {
  const button = document.querySelector('[data-notify]');
  if (!button || !('Notification' in window)) return;
  const line = button.parentElement.querySelector('output');
  const show = () => {
    button.hidden = Notification.permission !== 'default';
    line.textContent = { granted: button.dataset.on, denied: button.dataset.off }[Notification.permission] ?? '';
  };
  button.addEventListener('click', async () => { await Notification.requestPermission(); show(); });
  show();
  for (const card of cards()) told.add(card.dataset.alarm);
  document.addEventListener('ringtell:swapped', () => call());
  document.addEventListener('ringtell:event', (event) => { if (event.detail === 'alarm' && document.hidden) ask(); });
}

function cards() { return [...document.querySelectorAll('[data-alarm]')]; }

function call() {
  for (const card of cards()) tell(card.dataset.alarm, card.dataset.says);
}

// A page nobody looks at is not renewed: ask for what waits instead.
async function ask() {
  try {
    const answer = await fetch('/api/v1/alarms?state=unacknowledged&limit=20', { credentials: 'same-origin' });
    if (!answer.ok) return;
    for (const one of (await answer.json()).items) tell(one.id, `${one.press}: ${one.kind}, ${one.urgency.replace('_', ' ')}`);
  } catch { /* no network: the next event asks again */ }
}

async function tell(id, text) {
  if (told.has(id)) return;
  told.add(id);
  if (Notification.permission !== 'granted') return;
  const options = { body: text, tag: id, data: { href: '/alarms' } };
  const worker = await navigator.serviceWorker?.getRegistration();
  if (worker) await worker.showNotification('Ringtell', options);
  else new Notification('Ringtell', options);
}
