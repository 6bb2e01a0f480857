// Measures the page as it stands: texts that overlap, are cut, too small or off the screen, and how high things are.
() => {
  const faults = [];
  const seen = [];
  const wide = innerWidth;
  if (document.documentElement.scrollWidth > wide) faults.push(`the page is ${document.documentElement.scrollWidth} wide`);
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const range = document.createRange();
  while (walk.nextNode()) {
    const node = walk.currentNode;
    const text = node.textContent.trim();
    const holder = node.parentElement;
    if (!text || holder.closest("script, noscript, .unseen, option, title, desc") || !holder.checkVisibility({ visibilityProperty: true })) continue;
    range.selectNodeContents(node);
    const drawn = holder instanceof SVGElement ? [holder.getBoundingClientRect()] : [...range.getClientRects()];
    const rects = drawn.filter((r) => r.width > 1 && r.height > 1);
    const name = `"${text.slice(0, 40)}" in ${holder.className.baseVal ?? holder.className}<${holder.parentElement.className.baseVal ?? holder.parentElement.className}`;
    if (holder.closest(".value, .step-value, .limits, .left") && rects.length > 1) faults.push(`${name} is broken`);
    const size = parseFloat(getComputedStyle(holder).fontSize) * (holder instanceof SVGElement ? Math.abs(holder.getScreenCTM().a) || Math.abs(holder.getScreenCTM().b) : 1);
    if (size < 10.5) faults.push(`${name} is ${size.toFixed(1)} px small`);
    for (const r of rects) {
      const hold = 0.16 * r.height;
      const box = { left: r.left + 1, right: r.right - 1, top: r.top + hold, bottom: r.bottom - hold };
      let shown = true;
      for (let up = holder; up && up !== document.body; up = up.parentElement) {
        const style = getComputedStyle(up);
        if (style.overflowX === "visible" && style.overflowY === "visible") continue;
        const frame = up.getBoundingClientRect();
        const scrolls = ["auto", "scroll"].includes(style.overflowY);
        const glides = ["auto", "scroll"].includes(style.overflowX) && (box.right > frame.right || box.left < frame.left);
        if (glides || (scrolls && (box.bottom > frame.bottom || box.top < frame.top))) { shown = false; break; }
        if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1 || box.bottom > frame.bottom + 1) faults.push(`${name} is cut by ${up.className.baseVal ?? up.className}`);
      }
      if (!shown) continue;
      if (box.left < 0 || box.right > wide) faults.push(`${name} leaves the screen`);
      if (box.top < 0 || box.bottom > document.documentElement.scrollHeight) faults.push(`${name} leaves the page`);
      seen.push([box, name, holder]);
    }
  }
  for (let i = 0; i < seen.length; i += 1) {
    for (let j = i + 1; j < seen.length; j += 1) {
      const [a, b] = [seen[i][0], seen[j][0]];
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (across > 1.5 && down > 1.5 && seen[i][2] !== seen[j][2]) faults.push(`${seen[i][1]} lies over ${seen[j][1]}`);
    }
  }
  const shownStep = () => {
    const [step, list] = [document.querySelector(".steps [aria-current]"), document.querySelector(".steps")];
    if (!step) return "";
    const [box, frame] = [step.getBoundingClientRect(), list.getBoundingClientRect()];
    const whole = box.top >= Math.max(0, frame.top - 1) && box.bottom <= Math.min(innerHeight, frame.bottom + 1) && box.left >= frame.left - 1 && box.right <= frame.right + 1;
    return whole ? "" : `the current step lies at ${Math.round(box.left)}, ${Math.round(box.top)} to ${Math.round(box.right)}, ${Math.round(box.bottom)}`;
  };
  const high = (css) => document.querySelector(css)?.getBoundingClientRect() ?? { width: 0, height: 0 };
  const below = [...document.querySelectorAll(".pin.asked, .core.asked, .lead.asked")].filter((each) => each.getBoundingClientRect().bottom > innerHeight).map((each) => each.dataset.pin);
  return { below, faults: [...new Set(faults)].slice(0, 8), high: document.documentElement.scrollHeight, digits: high(".value .digits").height + 15 * (document.querySelector(".value .digits")?.getScreenCTM().a ?? 0), value: high(".value .digits"), plug: high(".plug"), step: shownStep(), scale: high(".now-picture .scale"), last: Math.max(high(".now-big").bottom ?? 0, high(".now-picture .scale").bottom ?? 0) };
}
