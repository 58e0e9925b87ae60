"""What a reader sees of a page, asked of the browser: nothing sticks out, nothing lies on anything else."""

# Anything that sticks out of the page, or is cut by its own box.
STICKS_OUT = """() => {
  const wide = document.documentElement.clientWidth, bad = [];
  if (document.documentElement.scrollWidth > wide)
    bad.push('the page scrolls sideways: ' + document.documentElement.scrollWidth);
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('desc, title, style, script, thead, datalist, option, .skip, .shared, #sheet')) continue;
    const box = e.getBoundingClientRect();
    if (!box.width || !box.height || !e.checkVisibility()) continue;
    const inner = e.closest('svg svg');
    if (inner && e !== inner) continue;
    // What an SVG holds may reach over its edge by the width of a line.
    if (box.left < -1 || box.right > wide + 1) bad.push(e.tagName + ' ' + (e.textContent || '').slice(0, 40));
    const cut = getComputedStyle(e).overflowX === 'hidden' && e.scrollWidth > e.clientWidth + 1 && e.tagName !== 'svg';
    if (cut && !e.closest('svg')) bad.push('cut: ' + e.tagName + ' ' + (e.textContent || '').slice(0, 40));
  }
  for (const e of document.querySelectorAll('svg.dw:not(.mark) text')) {
    const own = e.ownerSVGElement.getBoundingClientRect(), box = e.getBoundingClientRect();
    if (!own.width || !box.width) continue;
    if (box.left < own.left - 1 || box.right > own.right + 1 || box.top < own.top - 1 || box.bottom > own.bottom + 1)
      bad.push('out of its drawing: ' + e.textContent);
  }
  return bad;
}"""

# Lines of text, fields and buttons that lie on each other.
LIE_ON = """() => {
  const boxes = [], bad = [];
  const wanted = 'td, th, caption, p, li, h1, h2, h3, label, button, select, input, dt, dd, svg text, #loupe';
  for (const e of document.querySelectorAll(wanted)) {
    if (e.querySelector('p, li, table, button, input, select, label') ||
        e.closest('thead, datalist, #sheet, .view')) continue;
    const box = e.getBoundingClientRect();
    if (!box.width || !box.height || e.getAttribute('transform') || !e.checkVisibility()) continue;
    // What stays in view is meant to lie over what is scrolled away.
    if (getComputedStyle(e).position === 'sticky') continue;
    const slack = e.tagName === 'text' ? 2.2 : 0.6;
    boxes.push([box.left + slack, box.top + slack, box.right - slack, box.bottom - slack, e]);
  }
  for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
    const a = boxes[i], b = boxes[j];
    if (a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3] && !a[4].contains(b[4]) && !b[4].contains(a[4]))
      bad.push(a[4].textContent.slice(0, 30) + ' / ' + b[4].textContent.slice(0, 30));
  }
  return bad;
}"""
