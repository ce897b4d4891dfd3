/* ---- list of captures, built a few at a time ---- */

const items = [];
const filter = $('filter');
const base = (name) => name.slice(Math.max(name.lastIndexOf('/'), name.lastIndexOf('\\')) + 1) || name;

// quiet tells a mark that is shown only on request: likeliest clutter that nobody has decided on.
const quiet = (m, st) => m[6] && !current.clutter && !st.cls && !st.verdict && !st.note;
function matches(c, m) {
  const f = current;
  const st = standing(c.name, m[0]);
  if (quiet(m, st)) return false;
  if (!f.classes.has(m[1]) && m[1] >= 0) return false;
  if (m[3] < f.odds) return false;
  if (f.side && m[2] !== f.side) return false;
  if (f.hump && !m[4]) return false;
  if (f.hold && !m[5]) return false;
  if (f.state === 'open') return !st.verdict;
  if (f.state === 'class') return !!st.cls;
  return !f.state || st.verdict === f.state;
}
let current = readFilter();
function readFilter() {
  const picked = filter.elements.cls ? Array.from(filter.querySelectorAll('[name=cls]:checked'), (x) => Number(x.value)) : classes.map((_, i) => i);
  const f = {
    text: filter.elements.text.value.trim().toLowerCase(), classes: new Set(picked), odds: Number(filter.elements.odds.value) / 100,
    side: filter.elements.side.value, state: filter.elements.state.value, hump: filter.elements.hump.checked, hold: filter.elements.hold.checked, bad: filter.elements.bad.checked, clutter: filter.elements.clutter.checked,
  };
  f.marks = picked.length < classes.length || f.odds > 0 || f.side || f.state || f.hump || f.hold;
  f.any = f.marks || f.text || f.bad;
  return f;
}
function shown(c) {
  if (current.text && !c.name.toLowerCase().includes(current.text)) return false;
  if (current.bad) return c.status !== 'read';
  return !current.marks || c.marks.some((m) => matches(c, m));
}
function paintItem(i) {
  const it = items[i];
  if (!it) return;
  const c = data.captures[i];
  let n = 0, of = 0;
  for (const m of c.marks) { const st = standing(c.name, m[0]); if (quiet(m, st)) continue; of++; if (st.verdict) n++; }
  it.progress.textContent = c.status !== 'read' ? c.status : (state.done.has(c.name) ? '✓ looked at to the end · ' : '') + (of ? n + ' of ' + of + ' decided' : '');
  it.li.hidden = !shown(c);
}
function buildItem(i) {
  const c = data.captures[i];
  const counts = classes.map((cl, k) => [c.marks.filter((m) => m[1] === k && !m[6]).length, cl.short]).filter((x) => x[0] > 0).map((x) => x[0] + ' ' + x[1]).join(', ');
  const progress = h('span', { class: 'soft' });
  const b = h('button', { type: 'button', class: 'row', title: c.name, onclick: () => openCapture(i, true), 'aria-current': i === open.i ? 'true' : null },
    h('img', { src: c.thumb, alt: '', loading: 'lazy', decoding: 'async', onerror: (e) => { e.target.hidden = true; } }),
    h('span', { class: 'nm' }, (data.from + i + 1) + '. ' + base(c.name)),
    h('span', {}, [c.time ? c.time.slice(11, 16) + ' UTC' : '', c.depth ? c.depth + ' deep' : '', 'interest ' + c.interest.toFixed(2)].filter(Boolean).join(' · ')),
    h('span', { class: 'soft' }, counts || 'no marks'), progress);
  items[i] = { li: h('li', {}, b), b: b, progress: progress };
  paintItem(i);
  return items[i].li;
}
let built = 0;
function build(n) {
  const part = document.createDocumentFragment();
  for (const end = Math.min(built + n, data.captures.length); built < end; built++) part.append(buildItem(built));
  $('list').append(part);
  if (built < data.captures.length) setTimeout(() => build(60), 0);
}
function tally() {
  let total = 0, settled = 0;
  for (const t of data.things) if (!t.dull) { total++; if (decided(t)) settled++; }
  const left = data.total - data.captures.length, pages = document.querySelectorAll('.pages a').length;
  $('tally').textContent = settled + ' of ' + total + (total === 1 ? ' thing' : ' things') + ' decided' + (state.done.size ? ' · ' + state.done.size + ' of ' + data.captures.length + ' captures looked at to the end' : '') +
    (state.missed.length ? ' · ' + state.missed.length + ' missed marks drawn' : '') + (left > 0 && !pages ? ' · ' + left + ' less interesting captures are not on this page' : '');
  $('b-undo').disabled = !log.some((d) => d.action !== 'undo' && !state.cancelled.has(d.id));
}
function count() {
  const n = data.captures.filter(shown).length;
  $('count').textContent = !data.captures.length ? 'This run holds no captures.' : current.any ? n + ' of ' + data.captures.length + ' captures match the filters' : n + ' captures';
}
function refilter() {
  current = readFilter();
  $('f-odds-out').textContent = filter.elements.odds.value + ' %';
  items.forEach((_, i) => paintItem(i));
  count();
  if (open.i >= 0) hideCards();
  if (open.look) open.look.paint();
}
