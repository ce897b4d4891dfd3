/* ---- views ---- */

const viewNames = ['places', 'queue', 'map', 'captures', 'checkup'];
let view = '';
function go(name) { if (location.hash !== '#' + name) location.hash = '#' + name; showView(name, true); }
function showView(name, focus) {
  if (!viewNames.includes(name)) name = 'places';
  if (name === view) return;
  view = name;
  for (const n of viewNames) $('v-' + n).hidden = n !== name;
  for (const a of document.querySelectorAll('.tabs a')) if (a.hash === '#' + name) { a.setAttribute('aria-current', 'page'); a.parentNode.scrollLeft = a.offsetLeft - 40; } else a.removeAttribute('aria-current');
  if (name === 'places') { paintLost(); paintPlaces(); }
  if (name === 'queue') openQueue();
  if (name === 'map') openMap();
  if (name === 'checkup') openCheckup();
  if (name === 'captures') {
    if (stale) { stale = false; items.forEach((_, i) => paintItem(i)); paintOpen(null); }
    if (open.i < 0) first();
    else if (open.look) open.look.fit();
  }
  window.scrollTo(0, 0);
  if (focus) { const head = $({ captures: 'cap-h' }[name] || name + '-h'); if (head) head.focus({ preventScroll: true }); }
}
// paintViews shows decisions in the view that is open; the queue paints itself when it goes on.
function paintViews() {
  if (view === 'places') paintPlaces();
  if (view === 'map' && chart.el) { drawMap(); if (chart.sel) mapCard(); }
}
window.addEventListener('hashchange', () => showView(location.hash.slice(1), true));
window.addEventListener('click', (e) => { if ($('more').open && !$('more').contains(e.target)) $('more').open = false; });
