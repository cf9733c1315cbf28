// Minutes left of running clocks, from the moment of their end: a reload or a locked phone changes nothing.
const clocks = [...document.querySelectorAll("[data-until]")];
const skew = Date.now() - Number(document.querySelector("[data-now]")?.dataset.now ?? Date.now());
function tick() {
  for (const c of clocks) {
    const left = Math.ceil((Number(c.dataset.until) - (Date.now() - skew)) / 60000);
    const text = left > 0 ? String(left) : c.dataset.over;
    if (c.textContent !== text) {
      c.textContent = text;
      if (left <= 0 && c.dataset.reload !== undefined) location.reload();
    }
  }
}
if (clocks.length) setInterval(tick, 5000);
