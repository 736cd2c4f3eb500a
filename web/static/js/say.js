// What a script says: the server hands the texts over in data-say, in the reader's language; {places} are filled.
let held = null;

export function say(key, values = {}) {
  held ??= Object.assign({}, ...[...document.querySelectorAll('[data-say]')].map((one) => JSON.parse(one.dataset.say)));
  return (held[key] ?? key).replace(/\{(\w+)\}/g, (place, name) => (name in values ? values[name] : place));
}

// A whole number as the reader writes it.
export function whole(number) { return number.toLocaleString(document.documentElement.lang || 'en'); }
