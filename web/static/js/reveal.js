// Lets somebody see the password they type, where nobody else is looking; without scripts the box is not there.
export function startReveal() {
  document.querySelectorAll('[data-reveal]').forEach((box) => {
    const fields = [...box.form.querySelectorAll('input[type=password]')];
    const show = () => { for (const field of fields) field.type = box.checked ? 'text' : 'password'; };
    box.closest('label').hidden = false;
    box.addEventListener('change', show);
    // Sent or left, it is a password again: a browser must not keep it with what was typed elsewhere.
    const hide = () => { box.checked = false; show(); };
    box.form.addEventListener('submit', hide);
    window.addEventListener('pagehide', hide);
  });
}
