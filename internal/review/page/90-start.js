/* ---- start ---- */

classes.forEach((c, i) => $('f-classes').append(h('label', { class: 'tick' }, h('input', { type: 'checkbox', name: 'cls', value: i, checked: true }), c.name + ' (' + c.line + ')')));
JSON.parse($('decisions').textContent).forEach(admit);
try {
  const kept = recall();
  unsent = served ? kept.filter(admit) : kept.filter((d) => { admit(d); return true; });
} catch (e) { warn('What this browser kept of an earlier review could not be read.'); }
fold();
current = readFilter();
tally();
count();
send();
function first() {
  if (open.i >= 0 || view !== 'captures') return;
  const name = remember('shadowgap-capture-' + data.run), k = Math.max(0, name ? data.captures.findIndex((c) => c.name === name) : 0);
  if (data.captures.length && $('c' + k)) openCapture(k, false);
  else if (!data.captures.length) $('main').replaceChildren(h('p', {}, 'This run holds no captures.'));
}
// The places need no more than the data above; the other views take parts of the page that come behind this script.
let asked = location.hash.slice(1);
showView('places', false);
setTimeout(() => build(30), 0);
document.addEventListener('DOMContentLoaded', () => { if (asked) showView(asked, false); });
