/* ---- keys ---- */

const withLook = (f) => () => { if (!open.look) toggleLook(); if (open.look) f(open.look); };
const keys = {
  a: ['accept the picked mark', () => verdict('accept')],
  r: ['reject it', () => verdict('reject')],
  u: ['leave it unsure', () => verdict('unsure')],
  1: ['call it ' + classes[0].name, () => setClass(classes[0].id)],
  2: ['call it ' + classes[1].name, () => setClass(classes[1].id)],
  3: ['call it ' + classes[2].name, () => setClass(classes[2].id)],
  4: ['call it ' + classes[3].name, () => setClass(classes[3].id)],
  c: ['write a note on it', () => { if (open.cards[open.at]) openNote(open.at); }],
  z: ['undo the last decision', () => undo()],
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
  '?': ['this help', () => $('help').showModal()],
};
for (const [k, [what]] of Object.entries(keys)) $('keys').append(h('tr', {}, h('td', {}, h('kbd', {}, k)), h('td', {}, what)));
document.addEventListener('keydown', (e) => {
  if (e.ctrlKey || e.metaKey || e.altKey || e.isComposing || document.querySelector('dialog[open]')) return;
  if (e.key === 'Escape' && open.look && open.look.drawing()) { open.look.draw(); e.preventDefault(); return; }
  const el = e.target;
  if (el.closest && el.closest('textarea, select, input:not([type=checkbox]):not([type=radio]):not([type=range])')) return;
  if (open.look && el === open.look.port && e.key.startsWith('Arrow')) {
    const by = 60;
    open.look.pan({ ArrowLeft: by, ArrowRight: -by }[e.key] || 0, { ArrowUp: by, ArrowDown: -by }[e.key] || 0);
    e.preventDefault();
    return;
  }
  if (!$('keys-on').checked) return;
  const k = keys[e.key] || keys[e.key === '=' ? '+' : ''] || (e.key.length === 1 ? keys[e.key.toLowerCase()] : null);
  if (k) { e.preventDefault(); k[1](); }
});
$('keys-on').checked = remember('shadowgap-keys') !== 'off';
$('keys-on').addEventListener('change', () => remember('shadowgap-keys', $('keys-on').checked ? 'on' : 'off'));
