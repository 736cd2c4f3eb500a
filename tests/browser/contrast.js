() => {
  const light = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const bright = (c) => [0.2126, 0.7152, 0.0722].reduce((sum, share, i) => sum + share * light(c[i] / 255), 0);
  const read = (text) => text.match(/[\d.]+/g).map(Number);
  const behind = (one) => {
    for (; one; one = one.parentElement) {
      const [r, g, b, a = 1] = read(getComputedStyle(one).backgroundColor);
      if (a === 1) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const bad = [];
  for (const one of document.querySelectorAll('body *')) {
    if (one.closest('svg, option, :disabled, [hidden], .unseen, .skip, .mood-silent') || !one.checkVisibility()) continue;
    if (![...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim())) continue;
    const style = getComputedStyle(one);
    const pair = [bright(read(style.color)), bright(behind(one))];
    const ratio = (Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.6 && style.fontWeight >= 700);
    if (ratio < (large ? 3 : 4.5)) bad.push(`pale: ${one.textContent.trim().slice(0, 30)} ${ratio.toFixed(2)}`);
  }
  return bad;
}
