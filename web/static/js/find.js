// Suggests as somebody types. Without it the field is a form that leads to the page of what was found.
const SOON_MS = 120;
const SHOWN = 9;

export function startFind() {
  const field = document.querySelector('[data-find]');
  new Suggestions(field, document.getElementById('find-list'), field.form.querySelector('output'));
}

class Suggestions {
  constructor(field, list, says) {
    Object.assign(this, { field, list, says, at: -1, turn: 0, timer: 0, asked: '' });
    field.setAttribute('role', 'combobox');
    field.setAttribute('aria-autocomplete', 'list');
    field.setAttribute('aria-controls', list.id);
    field.setAttribute('aria-expanded', 'false');
    field.addEventListener('input', () => this.soon());
    field.addEventListener('keydown', (event) => this.key(event));
    field.addEventListener('blur', () => this.close());
    // Pressing does not take the focus away, so the field is still there when the button is let go.
    list.addEventListener('mousedown', (event) => event.preventDefault());
    list.addEventListener('click', (event) => this.go(event.target.closest('[role="option"]'), event));
  }

  soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.ask(), SOON_MS);
  }

  async ask() {
    const words = this.field.value.trim();
    this.asked = words;
    const turn = ++this.turn;
    if (!words) { this.close(); return; }
    try {
      const query = new URLSearchParams({ q: words, limit: '3' });
      const answer = await fetch(`${this.field.dataset.find}?${query}`, { credentials: 'same-origin' });
      if (turn !== this.turn || !answer.ok) return;
      this.show((await answer.json()).items.slice(0, SHOWN));
    } catch { this.close(); }
  }

  show(items) {
    if (document.activeElement !== this.field) return;
    // What was chosen stays chosen when a later answer still holds it.
    const chosen = this.list.hidden ? undefined : this.list.children[this.at]?.dataset.href;
    this.list.replaceChildren(...items.map((item, place) => option(item, place)));
    this.at = items.findIndex((item) => item.page === chosen);
    this.mark([...this.list.children]);
    this.says.textContent = items.length ? this.field.dataset.many.replace('{count}', items.length) : this.field.dataset.none;
    this.open(items.length > 0);
  }

  open(yes) {
    this.list.hidden = !yes;
    this.field.setAttribute('aria-expanded', String(yes));
  }

  close() {
    this.turn += 1;
    clearTimeout(this.timer);
    this.at = -1;
    this.field.removeAttribute('aria-activedescendant');
    this.open(false);
  }

  key(event) {
    if (event.isComposing) return;
    const options = [...this.list.children];
    if (event.key === 'Escape') {
      // The first press puts the suggestions away, the second empties the field.
      if (!this.list.hidden) { event.preventDefault(); this.close(); }
      else if (!this.field.value) this.field.blur();
    } else if (event.key === 'ArrowDown' || event.key === 'ArrowUp') {
      event.preventDefault();
      if (this.list.hidden) { this.ask(); return; }
      const step = event.key === 'ArrowDown' ? 1 : -1;
      // Beside the suggestions the field itself is a place to be: none is chosen then.
      this.at = (this.at + 1 + step + options.length + 1) % (options.length + 1) - 1;
      this.mark(options);
    } else if (event.key === 'Enter' && this.at >= 0 && !this.list.hidden) {
      event.preventDefault();
      this.go(options[this.at], event);
    }
  }

  mark(options) {
    options.forEach((one, place) => one.setAttribute('aria-selected', String(place === this.at)));
    if (this.at < 0) { this.field.removeAttribute('aria-activedescendant'); return; }
    this.field.setAttribute('aria-activedescendant', options[this.at].id);
    options[this.at].scrollIntoView({ block: 'nearest' });
  }

  go(one, event) {
    if (!one) return;
    if (event.ctrlKey || event.metaKey) window.open(one.dataset.href, '_blank', 'noopener');
    else { this.close(); window.location.assign(one.dataset.href); }
  }
}

function option(item, place) {
  const made = document.createElement('li');
  made.id = `find-${place}`;
  made.setAttribute('role', 'option');
  made.setAttribute('aria-selected', 'false');
  made.dataset.href = item.page;
  const name = document.createElement('strong');
  name.textContent = item.name;
  const text = document.createElement('span');
  text.textContent = item.kind === 'help' ? `${item.group}: ${item.text}` : item.text;
  made.append(name, text);
  return made;
}
