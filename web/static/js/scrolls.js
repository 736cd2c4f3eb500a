// What scrolls by itself can be reached with the keyboard; what fits its place is no stop on the way.
const PLACES = '.scroll, .timeline';

function mark(part) {
  const scrolls = part.scrollWidth > part.clientWidth + 1 || part.scrollHeight > part.clientHeight + 1;
  if (scrolls && !part.hasAttribute('tabindex')) {
    part.tabIndex = 0;
    part.dataset.reachable = '';
  } else if (!scrolls && 'reachable' in part.dataset) {
    part.removeAttribute('tabindex');
    delete part.dataset.reachable;
  }
}

export function startScrolls() {
  const all = () => document.querySelectorAll(PLACES).forEach(mark);
  let waiting = false;
  const soon = () => {
    if (waiting) return;
    waiting = true;
    window.requestAnimationFrame(() => { waiting = false; all(); });
  };
  all();
  window.addEventListener('resize', soon);
  document.addEventListener('toggle', soon, true);
  new MutationObserver(soon).observe(document.getElementById('main'), { childList: true, subtree: true });
}
