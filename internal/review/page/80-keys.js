/* ---- keys ---- */

const withLook = (f) => () => { if (!open.look) toggleLook(); if (open.look) f(open.look); };
const verdicts = { a: 'accept', r: 'reject', u: 'unsure' };
const byClass = (f) => Object.fromEntries(classes.map((c, k) => [k + 1, ['call it ' + c.name, () => f(c.id)]]));
const everywhere = {
  z: ['undo the last decision', () => undo()],
  '?': ['this help', () => $('help').showModal()],
};
const keysOf = {
  places: {},
  queue: {
    a: ['accept what is shown; the next comes by itself', () => decideHere('accept')],
    r: ['reject it', () => decideHere('reject')],
    u: ['leave it unsure', () => decideHere('unsure')],
    A: ['accept the rest of this capture', () => restHere('accept')],
    R: ['reject the rest of this capture', () => restHere('reject')],
    U: ['leave the rest of this capture unsure', () => restHere('unsure')],
    ...byClass(classHere),
    c: ['write a note', () => noteHere()],
    n: ['next one, undecided', () => moveQueue(1)],
    p: ['the one before', () => moveQueue(-1)],
    o: ['open its capture', () => { const q = queue.steps[queue.at]; if (q) openAt(q.things[0]); }],
    m: ['show it on the map', () => { const q = queue.steps[queue.at]; if (q && q.things[0].xy) onMap(q.things[0]); }],
  },
  map: {
    n: ['next thing, best first', () => { if (chart.el) stepMap(1); }],
    p: ['the one before', () => { if (chart.el) stepMap(-1); }],
    o: ['go to the mark', () => { if (chart.sel) openAt(chart.sel); }],
    '+': ['zoom in', () => { if (chart.el) zoomMap(1.5); }],
    '-': ['zoom out', () => { if (chart.el) zoomMap(1 / 1.5); }],
    0: ['show all of it', () => { if (chart.el) fitMap(); }],
  },
  captures: {
    a: ['accept the picked mark', () => verdict('accept')],
    r: ['reject it', () => verdict('reject')],
    u: ['leave it unsure', () => verdict('unsure')],
    A: ['accept the rest of this capture', () => verdictOnRest('accept')],
    R: ['reject the rest of this capture', () => verdictOnRest('reject')],
    U: ['leave the rest of this capture unsure', () => verdictOnRest('unsure')],
    ...byClass(setClass),
    c: ['write a note on it', () => { if (open.cards[open.at]) openNote(open.at); }],
    n: ['next mark', () => move(1)],
    p: ['mark before', () => move(-1)],
    '.': ['next capture', () => step(1)],
    ',': ['capture before', () => step(-1)],
    e: ['capture looked at to the end, or not', () => finish()],
    o: ['open or close the whole capture', () => { toggleLook(); if (open.look) $('look').scrollIntoView({ block: 'start' }); }],
    '+': ['zoom in', withLook((l) => l.zoom(1.4))],
    '-': ['zoom out', withLook((l) => l.zoom(1 / 1.4))],
    0: ['show all of the capture', withLook((l) => l.fit())],
    h: ['hide or show the outlines', withLook((l) => l.lines())],
    g: ['slant-corrected view (ground range), and back', withLook((l) => l.ground())],
    d: ['draw a missed mark', withLook((l) => { l.draw(); $('look').scrollIntoView({ block: 'start' }); })],
    f: ['open the filters', () => { $('filters').open = true; filter.elements.text.focus(); }],
  },
  checkup: {},
};
for (const [name, title] of [['queue', 'Decide'], ['captures', 'Captures'], ['map', 'Map'], ['', 'Everywhere']]) {
  const set = Object.entries(name ? keysOf[name] : everywhere);
  $('keys').append(h('h3', {}, title), h('table', {}, h('thead', { class: 'unseen' }, h('tr', {}, h('th', { scope: 'col' }, 'key'), h('th', { scope: 'col' }, 'what it does'))),
    h('tbody', {}, ...set.map(([k, [what]]) => h('tr', {}, h('td', {}, h('kbd', {}, /[A-Z]/.test(k) ? 'Shift ' + k : k)), h('td', {}, what))))));
}
document.addEventListener('keydown', (e) => {
  if (e.ctrlKey || e.metaKey || e.altKey || e.isComposing || document.querySelector('dialog[open]')) return;
  if (e.key === 'Escape' && open.look && open.look.drawing()) { open.look.draw(); e.preventDefault(); return; }
  const el = e.target;
  if (el.closest && el.closest('textarea, select, input:not([type=checkbox]):not([type=radio]):not([type=range])')) return;
  if (e.key.startsWith('Arrow') && view === 'map' && el === chart.el) { panMap(e.key); e.preventDefault(); return; }
  if (open.look && el === open.look.port && e.key.startsWith('Arrow')) {
    const by = 60;
    open.look.pan({ ArrowLeft: by, ArrowRight: -by }[e.key] || 0, { ArrowUp: by, ArrowDown: -by }[e.key] || 0);
    e.preventDefault();
    return;
  }
  if (!$('keys-on').checked) return;
  const set = { ...keysOf[view], ...everywhere };
  const name = e.key.length === 1 && !e.shiftKey ? e.key.toLowerCase() : e.key; // with Caps Lock a letter alone is still the small one
  const k = set[name] || set[name === '=' ? '+' : ''];
  if (k) { e.preventDefault(); k[1](); }
});
$('keys-on').checked = remember('shadowgap-keys') !== 'off';
$('keys-on').addEventListener('change', () => remember('shadowgap-keys', $('keys-on').checked ? 'on' : 'off'));
