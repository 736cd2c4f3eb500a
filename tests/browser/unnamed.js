() => [...document.querySelectorAll('button, a[href], input:not([type=hidden]), select, textarea')]
  .filter((one) => one.checkVisibility())
  .filter((one) => !(one.textContent.trim() || one.ariaLabel || one.labels?.[0]?.textContent.trim()))
  .map((one) => `no name: ${one.outerHTML.slice(0, 80)}`)
