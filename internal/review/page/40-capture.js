/* ---- the open capture ---- */

const open = { i: -1, d: null, cards: [], at: -1, look: null };
function detailOf(i) {
  const el = $('c' + i);
  return el ? JSON.parse(el.textContent) : null;
}
function openCapture(i, focus) {
  const c = data.captures[i];
  const d = detailOf(i);
  if (!c || !d) return;
  const shut = open.i >= 0 && open.look === null; // closed by hand, so the next one stays closed too
  if (open.i >= 0 && items[open.i]) items[open.i].b.removeAttribute('aria-current');
  Object.assign(open, { i: i, d: d, cards: [], at: -1, look: null });
  remember('shadowgap-capture-' + data.run, c.name);
  if (items[i]) { items[i].b.setAttribute('aria-current', 'true'); items[i].li.scrollIntoView({ block: 'nearest' }); }
  const main = $('main');
  main.replaceChildren();
  const done = button('Looked at to the end', finish, { id: 'b-done', 'aria-pressed': String(state.done.has(c.name)) }, 'e');
  fill(main, {}, [
    h('h2', { id: 'cap-h', tabindex: '-1' }, base(c.name)),
    h('p', { class: 'soft path' }, (base(c.name) === c.name ? '' : c.name + ' · ') + (data.from + i + 1) + ' of ' + data.total + ' · interest ' + c.interest.toFixed(2) + ' · ' + d.w + ' × ' + d.h + ' pixels' + (c.status === 'read' ? '' : ' · ' + c.status)),
    d.head.length ? h('dl', { class: 'head' }, ...d.head.map((f) => h('div', {}, h('dt', {}, f.n), h('dd', {}, ...solid(f.v))))) : null,
    d.why ? h('p', {}, h('strong', {}, d.why), c.status === 'no-panel' ? [' ', h('a', { href: '#checkup' }, 'Outline the side-scan')] : null) : null,
    h('div', { class: 'top' },
      button('Previous', () => step(-1), {}, ','), button('Next', () => step(1), {}, '.'), done,
      button('Whole capture', () => toggleLook(), { id: 'b-look', 'aria-expanded': 'false' }, 'o'),
      h('a', { class: 'button', href: served ? 'share/' + (data.from + i) + '.jpg' : d.drawn, download: 'capture.jpg' }, 'Save as one picture')),
    ...(d.holds || []).filter((o) => o.odds >= 0.5).map((o) => h('p', {}, 'Likely fish: ' + o.marks.length + (o.marks.length === 1 ? ' suspended target' : ' suspended targets') + holdWhere(d) + ', odds ' + pct(o.odds) + '.')),
    h('div', { class: 'pair' },
      h('div', { class: 'whole' }, h('div', { id: 'look' }), h('div', { id: 'drawn' }), d.w ? byHand(c, d) : null,
        (d.notes || []).length ? h('details', { class: 'why' }, h('summary', {}, 'Notes on how this picture was read (' + d.notes.length + ')'), h('ul', {}, ...d.notes.map((n) => h('li', {}, n)))) : null),
      h('div', {}, h('p', { id: 'hidden-cards', hidden: true }), h('div', { class: 'cards' }, ...d.marks.map((m, j) => card(c, m, j)))))]);
  if (!d.marks.length && c.status === 'read') main.append(h('p', {}, 'No marks were found here. If you see one, draw it on the picture.'));
  open.cards.forEach((_, j) => paintCard(j));
  paintDrawn();
  hideCards();
  if (!shut) toggleLook();
  if (focus) { window.scrollTo(0, window.matchMedia('(max-width: 46rem)').matches ? $('main').offsetTop : 0); $('cap-h').focus({ preventScroll: true }); }
  if (d.marks.length) activate(firstOpen(), false);
  say('Capture ' + (i + 1) + ', ' + base(c.name) + ', ' + d.marks.length + (d.marks.length === 1 ? ' mark' : ' marks'));
}
const visible = (j) => open.cards[j] && !open.cards[j].el.hidden;
function firstOpen() {
  const c = data.captures[open.i];
  const j = open.cards.findIndex((k, x) => visible(x) && !standing(c.name, k.m.id).verdict);
  return j >= 0 ? j : Math.max(0, open.cards.findIndex((_, x) => visible(x)));
}
function step(by) {
  for (let i = open.i + by; i >= 0 && i < data.captures.length; i += by) if (shown(data.captures[i])) { openCapture(i, true); return; }
  say(by > 0 ? 'This is the last capture.' : 'This is the first capture.');
}
function activate(j, focus) {
  if (!visible(j)) return;
  if (open.cards[open.at]) open.cards[open.at].el.classList.remove('active');
  open.at = j;
  const k = open.cards[j];
  k.el.classList.add('active');
  if (focus) { k.el.focus({ preventScroll: true }); k.el.scrollIntoView({ block: 'nearest' }); }
  if (open.look) open.look.paint();
}
function move(by) {
  for (let j = open.at + by; j >= 0 && j < open.cards.length; j += by) if (visible(j)) { activate(j, true); return; }
  say(by > 0 ? 'This is the last mark here. Full stop opens the next capture.' : 'This is the first mark here. Comma opens the capture before.');
}
function badge(cls, text) {
  return s('svg', { class: 'badge', viewBox: '0 0 44 30', 'aria-hidden': 'true' },
    s('rect', { x: 2, y: 2, width: 40, height: 26, rx: 4, class: 'k-' + cls }), s('text', { x: 22, y: 20 }, text));
}
function bar(v) {
  const i = h('i');
  i.style.width = Math.round(100 * Math.min(1, Math.max(0, v))) + '%';
  return h('span', { class: 'meter', 'aria-hidden': 'true' }, i);
}
const pct = (v) => { const p = Math.round(100 * v); return p < 1 ? 'under 1 %' : p > 99 ? 'over 99 %' : p + ' %'; };
// byHand offers to say where the side-scan lies, where the wrong part of the screen was read.
function byHand(c, d) {
  const host = h('div', {});
  return h('details', { class: 'why', ontoggle: (e) => { if (e.target.open) outline(host, { name: c.name, plain: d.plain, w: d.w, h: d.h }); } }, h('summary', {}, 'Was the wrong part of the screen read?'), host);
}
// holdWhere says what a capture's suspended targets keep to, as far as the capture shows it.
function holdWhere(d) {
  const panels = d.panels || [];
  if (panels.some((p) => (p.humps || []).length)) return ' near a hump';
  return panels.some((p) => (p.regions || []).some((r) => r.kind === 'rock-field')) ? ' over a rock field' : '';
}
// solid breaks a value between its parts only: never inside a number, between it and its unit, or inside a date or a place.
const solid = (text) => text.length > 60 ? [text] : text.split(/ (?=± |within |heading |\d\d:\d\d|\()/).flatMap((part, k) => [k ? ' ' : '', h('span', { class: 'nb' }, part)]);
const factList = (list) => h('dl', { class: 'facts' }, ...list.map((f) => h('div', {}, h('dt', {}, f.n), h('dd', {}, ...solid(f.v)))));
// facts are the few numbers a person asks of a thing or a place: how deep, how large, when and where.
function facts(t) {
  return factList([...t.facts, { n: 'Seen', v: t.when || 'unknown' }, { n: 'Place', v: t.where || 'unknown' }]);
}
function card(c, m, j) {
  const id = 'mark-' + (j + 1);
  const verdicts = {};
  for (const [a, text, key] of [['accept', 'Accept', 'a'], ['reject', 'Reject', 'r'], ['unsure', 'Unsure', 'u']]) {
    verdicts[a] = button(text, () => { activate(j, false); verdict(a); }, { 'aria-pressed': 'false' }, key);
  }
  const select = h('select', { 'aria-label': 'Class of mark ' + (j + 1), onchange: (e) => { activate(j, false); setClass(e.target.value); } },
    ...classes.map((cl, n) => h('option', { value: cl.id }, (n + 1) + ' ' + cl.name)));
  const note = h('textarea', { rows: 2, maxlength: 600, 'aria-label': 'Note on mark ' + (j + 1), onchange: () => saveNote(j), onkeydown: (e) => { if (e.key === 'Escape') { e.stopPropagation(); e.target.blur(); open.cards[j].el.focus(); } } });
  const noteBox = h('div', { hidden: true }, note, h('p', { class: 'soft' }, 'Saved when you leave the box (Esc).'));
  const stateEl = h('span', { class: 'state' });
  const badgeBox = h('span', {});
  const t = thingOf.get(open.i + ',' + j);
  const el = h('article', { class: 'card', tabindex: '-1', id: id, 'aria-labelledby': id + '-h', onfocusin: () => { if (open.at !== j) activate(j, false); }, onclick: () => { if (open.at !== j) activate(j, false); } },
    h('header', {}, badgeBox, h('h3', { id: id + '-h' }, h('span', { class: 'unseen' }, 'Mark ' + (j + 1) + ': '), t ? t.say : m.verdict), stateEl),
    h('div', { class: 'brief' },
      h('img', { class: 'chip', src: m.chip, alt: m.alt, loading: 'lazy', decoding: 'async', onerror: (e) => { e.target.hidden = true; } }),
      t ? facts(t) : null),
    t && t.m.length > 1 ? h('p', { class: 'soft' }, 'Seen in ' + t.m.length + ' captures; a decision counts for all.') : null,
    h('div', { class: 'acts' }, verdicts.accept, verdicts.reject, verdicts.unsure, select, button('Note', () => openNote(j), {}, 'c')),
    noteBox,
    h('details', { class: 'why' }, h('summary', {}, 'Evidence'),
      h('div', { class: 'body' },
        h('div', {},
          h('h4', {}, 'Odds'),
          h('div', { class: 'odds' }, ...classes.map((cl, n) => [cl, m.odds[n]]).sort((a, b) => b[1] - a[1]).flatMap(([cl, v]) => [h('span', {}, cl.name), bar(v), h('span', {}, pct(v))])),
          h('h4', {}, 'Measured, ± one standard deviation'),
          factList(m.facts)),
        h('div', {},
          h('h4', {}, 'Why'),
          h('ul', {}, ...(m.reasons || []).map((r) => h('li', {}, r))),
          (m.doubts || []).length ? h('h4', {}, 'What could make this wrong') : null,
          (m.doubts || []).length ? h('ul', {}, ...m.doubts.map((r) => h('li', {}, r))) : null))));
  open.cards[j] = { el: el, m: m, verdicts: verdicts, select: select, note: note, noteBox: noteBox, state: stateEl, badge: badgeBox };
  return el;
}
function paintCard(j) {
  const k = open.cards[j];
  const st = standing(data.captures[open.i].name, k.m.id);
  const cls = st.cls || k.m.class;
  for (const [a, b] of Object.entries(k.verdicts)) b.setAttribute('aria-pressed', String(st.verdict === a));
  k.select.value = cls;
  k.badge.replaceChildren(badge(cls, String(j + 1)));
  k.state.className = 'state ' + (st.verdict || '');
  k.state.textContent = (sign[st.verdict] || 'open') + (st.cls ? ', class changed' : '');
  if (document.activeElement !== k.note) k.note.value = st.note || '';
  if (st.note) k.noteBox.hidden = false;
}
function hideCards() {
  const c = data.captures[open.i];
  let unlike = 0, dull = 0;
  open.cards.forEach((k, j) => {
    const m = c.marks[j];
    k.el.hidden = !matches(c, m) && !(current.state && j === open.at);
    if (!k.el.hidden) return;
    if (quiet(m, standing(c.name, m[0]))) dull++; else unlike++;
  });
  const p = $('hidden-cards');
  p.hidden = unlike + dull === 0;
  p.replaceChildren();
  if (unlike) p.append(unlike + (unlike === 1 ? ' mark does' : ' marks do') + ' not match the filters. ', button('Clear filters', () => { filter.reset(); setTimeout(refilter, 0); }), ' ');
  if (dull) p.append(dull + ' likeliest clutter ', button('Show', () => { filter.elements.clutter.checked = true; refilter(); }));
}
// repaint shows what decisions changed.
function repaint(ds) {
  const all = ds.some((d) => d.action === 'undo');
  const names = new Set(ds.map((d) => d.capture));
  tally();
  if (view !== 'captures') { stale = true; paintViews(); return; } // its list and cards are painted when they are seen
  items.forEach((_, i) => { if (all || names.has(data.captures[i].name)) paintItem(i); });
  paintOpen(all || !ds.length ? null : names);
  if (current.state) count();
  paintViews();
}
let stale = false;
// paintOpen shows where the marks of the open capture stand, if it is among the names; null is all.
function paintOpen(names) {
  if (open.i >= 0 && (!names || names.has(data.captures[open.i].name))) {
    open.cards.forEach((_, j) => paintCard(j));
    paintDrawn();
    hideCards();
    if (open.look) open.look.paint();
    $('b-done').setAttribute('aria-pressed', String(state.done.has(data.captures[open.i].name)));
  }
}
function subject() {
  const k = open.cards[open.at];
  return k && visible(open.at) ? { capture: data.captures[open.i].name, mark: k.m.id } : null;
}
// subjects are the marks that a decision on the picked one is about: all looks at that thing.
function subjects(d) {
  const t = subject(), thing = thingOf.get(open.i + ',' + open.at);
  return thing ? onAll([thing], d) : [{ ...d, ...t }];
}
function verdict(a) {
  const t = subject();
  if (!t) { say('No mark is picked. n picks the first one, full stop opens the next capture.'); return; }
  const n = open.at + 1;
  const words = 'Mark ' + n + ' ' + inPast[a];
  decideAll(subjects({ action: a }), words + '.');
  for (let x = 1; x < open.cards.length; x++) {
    const j = (open.at + x) % open.cards.length;
    if (visible(j) && !standing(t.capture, open.cards[j].m.id).verdict) { activate(j, true); return; }
  }
  settle(words);
}
// settle leaves no mark picked, so that a key too many changes nothing.
function settle(words) {
  if (open.cards[open.at]) open.cards[open.at].el.classList.remove('active');
  open.at = -1;
  if (open.look) open.look.paint();
  say(words + '. All marks here are decided. e marks the capture as looked at to the end, full stop opens the next.');
}
function verdictOnRest(a) {
  if (open.i >= 0 && decideRest(open.i, a)) settle('The rest ' + inPast[a]);
}
function setClass(cls) {
  if (subject()) decideAll(subjects({ action: 'class', class: cls }), 'Mark ' + (open.at + 1) + ' called ' + classOf(cls).name + '.');
}
function openNote(j) {
  activate(j, false);
  open.cards[j].noteBox.hidden = false;
  open.cards[j].note.focus();
}
function saveNote(j) {
  const k = open.cards[j];
  const t = { capture: data.captures[open.i].name, mark: k.m.id };
  if ((standing(t.capture, t.mark).note || '') !== k.note.value) decide({ action: 'note', note: k.note.value, ...t }, 'Note on mark ' + (j + 1) + ' saved.');
}
function finish() {
  const c = data.captures[open.i];
  if (!c) return;
  if (state.done.has(c.name)) {
    const d = log.findLast((x) => x.action === 'done' && x.capture === c.name && !state.cancelled.has(x.id));
    undo(d.id);
  } else decide({ action: 'done', capture: c.name }, 'Capture looked at to the end.');
}
function paintDrawn() {
  const mine = state.missed.filter((d) => d.capture === data.captures[open.i].name);
  $('drawn').replaceChildren(...(mine.length ? [h('h3', {}, 'Marks you drew'), h('ul', {}, ...mine.map((d, n) => h('li', {},
    'M' + (n + 1) + ': ' + classOf(d.class).name + (d.kind ? ', ' + d.kind : '') + (d.sure === false ? ', not sure' : '') + (d.note ? ', “' + d.note + '”' : '') + ' ', button('Take back M' + (n + 1), () => undo(d.id)))))] : []));
}
