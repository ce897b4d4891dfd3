/* ---- start ---- */

classes.forEach((c, i) => $('f-classes').append(h('label', { class: 'tick' }, h('input', { type: 'checkbox', name: 'cls', value: i, checked: true }), c.name + ' (' + c.line + ')')));
JSON.parse($('decisions').textContent).forEach(admit);
try {
  const kept = JSON.parse(remember(storeKey) || '[]');
  if (Array.isArray(kept)) unsent = served ? kept.filter(admit) : kept.filter((d) => { admit(d); return true; });
} catch (e) { warn('What this browser kept of an earlier review could not be read.'); }
fold();
current = readFilter();
build(30);
tally();
count();
send();
function first() {
  if (open.i >= 0) return;
  if (data.captures.length && $('c0')) openCapture(0, false);
  else if (!data.captures.length) $('main').replaceChildren(h('p', {}, 'This run holds no captures.'));
}
first();
document.addEventListener('DOMContentLoaded', first);
