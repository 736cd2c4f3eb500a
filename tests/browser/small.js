() => [...document.querySelectorAll('main button, main a, main summary, .nav a, .foot a')]
  .filter((one) => one.checkVisibility())
  .map((one) => [one.textContent.trim(), one.getBoundingClientRect()])
  .filter(([, box]) => box.height < 48 || box.width < 24)
  .map(([text, box]) => `${text} ${box.width}x${box.height}`)
