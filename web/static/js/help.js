// Narrows the help page while somebody types. Without it the field is a form that asks for the same page.
export function startHelp() {
  const form = document.querySelector('[data-help-filter]');
  const field = form.querySelector('input');
  const entries = [...document.querySelectorAll('[data-entry]')];
  const texts = new Map(entries.map((one) => [one, one.textContent.toLowerCase()]));
  const narrow = () => {
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const one of entries) one.hidden = !words.every((word) => texts.get(one).includes(word));
    for (const group of document.querySelectorAll('[data-group]')) group.hidden = !group.querySelector('[data-entry]:not([hidden])');
    for (const other of document.querySelectorAll('[data-aside]')) other.hidden = words.length > 0;
    const count = entries.filter((one) => !one.hidden).length;
    const says = count ? form.dataset.found.replace('{count}', count).replace('{every}', entries.length) : form.dataset.none;
    form.querySelector('output').textContent = words.length ? says : '';
    const address = words.length ? `?q=${encodeURIComponent(field.value.trim())}` : window.location.pathname + window.location.hash;
    history.replaceState(history.state, '', address);
  };
  field.addEventListener('input', narrow);
  form.addEventListener('submit', (event) => { event.preventDefault(); narrow(); });
  // Whoever follows a link to an entry sees it, whatever was asked for before.
  window.addEventListener('hashchange', () => {
    const target = document.getElementById(decodeURIComponent(window.location.hash.slice(1)));
    if (!target?.closest('[hidden]')) return;
    field.value = '';
    narrow();
    target.scrollIntoView();
  });
}
