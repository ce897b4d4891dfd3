'use strict';
(() => {
const $ = (id) => document.getElementById(id);
const data = JSON.parse($('data').textContent);
const served = document.documentElement.dataset.mode === 'served';
const NS = 'http://www.w3.org/2000/svg';
const classes = data.classes;
const classOf = (id) => classes.find((c) => c.id === id) || { id: id, name: id, short: id, line: 'line' };

// h and s build elements from text only; nothing from a record is ever parsed as markup.
function fill(el, props, kids) {
  for (const [k, v] of Object.entries(props || {})) {
    if (v === null || v === undefined || v === false) continue;
    if (k.startsWith('on')) el.addEventListener(k.slice(2), v);
    else el.setAttribute(k, v === true ? '' : String(v));
  }
  el.append(...kids.filter((k) => k !== null && k !== undefined));
  return el;
}
const h = (tag, props, ...kids) => fill(document.createElement(tag), props, kids);
const s = (tag, props, ...kids) => fill(document.createElementNS(NS, tag), props, kids);
const button = (text, on, props, key) => h('button', { type: 'button', onclick: on, ...props }, text, key ? ' ' : null, key ? h('kbd', {}, key) : null);

function remember(key, value) {
  try {
    if (value === undefined) return localStorage.getItem(key);
    localStorage.setItem(key, value);
  } catch (e) { /* storage can be off; decisions then last as long as the page, and it says so */
    if (value !== undefined && key.startsWith('shadowgap-decisions')) warn('This browser keeps nothing for this page: download decisions.json before you close it.');
  }
  return null;
}
function say(text) { $('say').textContent = ''; setTimeout(() => { $('say').textContent = text; }, 30); }
function warn(text) { $('banner').textContent = text; $('banner').hidden = !text; }

/* ---- decisions: a history that is folded into where each mark stands ---- */

const storeKey = 'shadowgap-decisions-' + data.run;
let log = [];
const seen = new Set();
let unsent = []; // decisions not yet stored by the server; in file mode everything decided in this browser
let state = { marks: new Map(), missed: [], done: new Set(), cancelled: new Set() };
const keyOf = (capture, mark) => capture + '\u0000' + mark;

function admit(d) {
  if (!d || typeof d !== 'object' || typeof d.id !== 'string' || seen.has(d.id)) return false;
  seen.add(d.id);
  log.push(d);
  return true;
}
function fold() {
  const cancelled = new Set();
  for (let i = log.length - 1; i >= 0; i--) {
    if (log[i].action === 'undo' && !cancelled.has(log[i].id)) cancelled.add(log[i].undoes);
  }
  const st = { marks: new Map(), missed: [], done: new Set(), cancelled: cancelled };
  for (const d of log) {
    if (cancelled.has(d.id) || d.action === 'undo') continue;
    if (d.action === 'missed') { st.missed.push(d); continue; }
    if (d.action === 'done') { st.done.add(d.capture); continue; }
    const k = keyOf(d.capture, d.mark);
    const m = st.marks.get(k) || {};
    if (d.action === 'class') m.cls = d.class;
    else if (d.action === 'note') m.note = d.note || '';
    else m.verdict = d.action;
    st.marks.set(k, m);
  }
  state = st;
}
const standing = (capture, mark) => state.marks.get(keyOf(capture, mark)) || {};

function newID() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(b, (x) => x.toString(16).padStart(2, '0')).join('');
}
function decide(d, words) {
  d = { id: newID(), at: new Date().toISOString(), ...d };
  admit(d);
  unsent.push(d);
  remember(storeKey, JSON.stringify(unsent));
  fold();
  repaint(d);
  if (words) { say(words); toast(words, d.action === 'undo'); }
  send();
}
let sending = false;
async function send() {
  if (!served || sending) return;
  sending = true;
  try {
    while (unsent.length) {
      const d = unsent[0];
      let res;
      try {
        res = await fetch('api/decisions', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(d) });
      } catch (e) {
        warn('The review server does not answer, so the last ' + unsent.length + ' decisions are not stored yet. They are kept in this browser; the next decision tries again.');
        return;
      }
      if (res.status >= 500) {
        warn('The review server could not store the last decision (' + res.status + '). It is kept in this browser; the next decision tries again.');
        return;
      }
      unsent.shift();
      remember(storeKey, JSON.stringify(unsent));
      if (!res.ok) {
        seen.delete(d.id);
        log = log.filter((x) => x.id !== d.id);
        fold();
        repaint(d);
        warn('The review server refused a decision: ' + (await res.text()).slice(0, 300));
        say('The review server refused the decision.');
      } else if ($('banner').textContent.startsWith('The review server')) {
        warn('');
      }
    }
  } finally { sending = false; }
}
function undo(id) {
  let target = id && log.find((d) => d.id === id);
  for (let i = log.length - 1; !target && i >= 0; i--) {
    if (log[i].action !== 'undo' && !state.cancelled.has(log[i].id)) target = log[i];
  }
  if (!target) { say('Nothing to undo.'); return; }
  const i = data.captures.findIndex((c) => c.name === target.capture);
  decide({ action: 'undo', undoes: target.id }, 'Taken back: ' + inWords(target) + '.');
  if (i >= 0 && i === open.i) { repaint(target); } else if (i >= 0) { openCapture(i, false); }
  if (i >= 0 && target.mark) {
    const j = data.captures[i].marks.findIndex((m) => m[0] === target.mark);
    if (j >= 0) activate(j, true);
  }
}
function markNumber(d) {
  const c = data.captures.find((x) => x.name === d.capture);
  const j = c ? c.marks.findIndex((m) => m[0] === d.mark) : -1;
  return j < 0 ? 'a mark' : 'mark ' + (j + 1);
}
function inWords(d) {
  switch (d.action) {
    case 'accept': return markNumber(d) + ' accepted';
    case 'reject': return markNumber(d) + ' rejected';
    case 'unsure': return markNumber(d) + ' left unsure';
    case 'class': return markNumber(d) + ' called ' + classOf(d.class).name;
    case 'note': return markNumber(d) + (d.note ? ' noted' : ' note removed');
    case 'missed': return 'a missed ' + classOf(d.class).name + ' drawn';
    case 'done': return 'capture looked at to the end';
    case 'undo': return 'a step taken back';
  }
  return d.action;
}
let toastTimer = 0;
function toast(text, undone) {
  $('toast-t').textContent = text;
  $('toast-b').hidden = undone;
  $('toast').hidden = false;
  clearTimeout(toastTimer);
  toastTimer = setTimeout(() => { if (!$('toast').contains(document.activeElement)) $('toast').hidden = true; }, 6000);
}

/* ---- list of captures, built a few at a time ---- */

const items = [];
const filter = $('filter');
const base = (name) => name.slice(Math.max(name.lastIndexOf('/'), name.lastIndexOf('\\')) + 1) || name;

function matches(c, m) {
  const f = current;
  const st = standing(c.name, m[0]);
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
    side: filter.elements.side.value, state: filter.elements.state.value, hump: filter.elements.hump.checked, hold: filter.elements.hold.checked, bad: filter.elements.bad.checked,
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
  const n = c.marks.filter((m) => standing(c.name, m[0]).verdict).length;
  it.progress.textContent = c.status !== 'read' ? c.status : (state.done.has(c.name) ? '✓ looked at to the end · ' : '') + n + ' of ' + c.marks.length + ' decided';
  it.li.hidden = !shown(c);
}
function buildItem(i) {
  const c = data.captures[i];
  const counts = classes.map((cl, k) => [c.marks.filter((m) => m[1] === k).length, cl.short]).filter((x) => x[0] > 0).map((x) => x[0] + ' ' + x[1]).join(', ');
  const progress = h('span', { class: 'soft' });
  const b = h('button', { type: 'button', class: 'row', title: c.name, onclick: () => openCapture(i, true), 'aria-current': i === open.i ? 'true' : null },
    h('img', { src: c.thumb, alt: '', loading: 'lazy', decoding: 'async', onerror: (e) => { e.target.hidden = true; } }),
    h('span', { class: 'nm' }, (i + 1) + '. ' + base(c.name)),
    h('span', {}, 'interest ' + c.interest.toFixed(2)),
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
  let total = 0, decided = 0, looked = 0;
  for (const c of data.captures) {
    total += c.marks.length;
    if (state.done.has(c.name)) looked++;
    for (const m of c.marks) if (standing(c.name, m[0]).verdict) decided++;
  }
  const left = data.total - data.captures.length;
  $('tally').textContent = decided + ' of ' + total + ' marks decided · ' + looked + ' of ' + data.captures.length + ' captures looked at to the end' +
    (state.missed.length ? ' · ' + state.missed.length + ' missed marks drawn' : '') + (left > 0 ? ' · ' + left + ' less interesting captures are not on this page' : '');
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
}

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
  const looking = open.look !== null;
  if (open.i >= 0 && items[open.i]) items[open.i].b.removeAttribute('aria-current');
  Object.assign(open, { i: i, d: d, cards: [], at: -1, look: null });
  if (items[i]) { items[i].b.setAttribute('aria-current', 'true'); items[i].li.scrollIntoView({ block: 'nearest' }); }
  const main = $('main');
  main.replaceChildren();
  const done = button('Looked at to the end', finish, { id: 'b-done' }, 'e');
  fill(main, {}, [
    h('h2', { id: 'cap-h', tabindex: '-1' }, c.name),
    h('p', { class: 'soft' }, 'rank ' + (i + 1) + ' of ' + data.captures.length + ' · interest ' + c.interest.toFixed(2) + ' · ' + d.w + ' × ' + d.h + ' pixels' + (d.time ? ' · ' + d.time : '') + (c.status === 'read' ? '' : ' · ' + c.status)),
    d.why ? h('p', {}, h('strong', {}, d.why)) : null,
    h('div', { class: 'top' },
      button('Previous', () => step(-1), {}, ','), button('Next', () => step(1), {}, '.'),
      button('Whole capture', () => toggleLook(), { id: 'b-look', 'aria-expanded': 'false' }, 'o'), done),
    ...(d.holds || []).map((o) => h('p', {}, 'Hold with ' + o.marks.length + (o.marks.length === 1 ? ' mark' : ' marks') + ': fish near a hump, odds ' + Math.round(100 * o.odds) + ' %.')),
    (d.notes || []).length ? h('ul', { class: 'why' }, ...d.notes.map((n) => h('li', {}, n))) : null,
    h('div', { id: 'look' }), h('p', { id: 'hidden-cards', hidden: true }),
    h('div', { class: 'cards' }, ...d.marks.map((m, j) => card(c, m, j))),
    h('div', { id: 'drawn' })]);
  if (!d.marks.length && c.status === 'read') main.append(h('p', {}, 'No marks were found here. If you see one, open the whole capture and draw it.'));
  open.cards.forEach((_, j) => paintCard(j));
  paintDrawn();
  hideCards();
  if (looking) toggleLook();
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
  const el = h('article', { class: 'card', tabindex: '-1', id: id, 'aria-labelledby': id + '-h', onfocusin: () => { if (open.at !== j) activate(j, false); }, onclick: () => { if (open.at !== j) activate(j, false); } },
    h('header', {}, badgeBox, h('h3', { id: id + '-h' }, h('span', { class: 'unseen' }, 'Mark ' + (j + 1) + ': '), m.verdict), stateEl),
    h('img', { class: 'chip', src: m.chip, alt: m.alt, loading: 'lazy', decoding: 'async', onerror: (e) => { e.target.hidden = true; } }),
    h('div', { class: 'acts' }, verdicts.accept, verdicts.reject, verdicts.unsure, select, button('Note', () => openNote(j), {}, 'c')),
    noteBox,
    h('div', { class: 'body' },
      h('div', {},
        h('h4', {}, 'Odds'),
        h('div', { class: 'odds' }, ...classes.map((cl, n) => [cl, m.odds[n]]).sort((a, b) => b[1] - a[1]).flatMap(([cl, v]) => [h('span', {}, cl.name), bar(v), h('span', {}, pct(v))])),
        h('h4', {}, 'Measured, ± one standard deviation'),
        h('dl', { class: 'facts' }, ...m.facts.flatMap((f) => [h('dt', {}, f.n), h('dd', {}, f.v)]))),
      h('div', { class: 'why' },
        h('h4', {}, 'Why'),
        h('ul', {}, ...(m.reasons || []).map((r) => h('li', {}, r))),
        (m.doubts || []).length ? h('details', { open: true }, h('summary', {}, 'What could make this wrong'), h('ul', {}, ...m.doubts.map((r) => h('li', {}, r)))) : null)));
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
  k.state.textContent = ({ accept: '✓ accepted', reject: '✗ rejected', unsure: '? unsure' }[st.verdict] || 'open') + (st.cls ? ', class changed' : '');
  if (document.activeElement !== k.note) k.note.value = st.note || '';
  if (st.note) k.noteBox.hidden = false;
}
function hideCards() {
  const c = data.captures[open.i];
  let n = 0;
  open.cards.forEach((k, j) => {
    k.el.hidden = current.marks && !matches(c, c.marks[j]) && !(current.state && j === open.at);
    if (k.el.hidden) n++;
  });
  const p = $('hidden-cards');
  p.hidden = n === 0;
  p.replaceChildren(n + (n === 1 ? ' mark does' : ' marks do') + ' not match the filters. ', button('Clear filters', () => { filter.reset(); setTimeout(refilter, 0); }));
}
function repaint(d) {
  tally();
  const i = data.captures.findIndex((c) => c.name === d.capture);
  if (d.action === 'undo') items.forEach((_, x) => paintItem(x)); else if (i >= 0) paintItem(i);
  if (open.i >= 0) {
    open.cards.forEach((_, j) => paintCard(j));
    paintDrawn();
    if (open.look) open.look.paint();
    $('b-done').setAttribute('aria-pressed', String(state.done.has(data.captures[open.i].name)));
  }
  if (current.state) count();
}
function subject() {
  const k = open.cards[open.at];
  return k ? { capture: data.captures[open.i].name, mark: k.m.id } : null;
}
function verdict(a) {
  const t = subject();
  if (!t) { say('No mark is picked.'); return; }
  const n = open.at + 1;
  const words = 'Mark ' + n + ' ' + { accept: 'accepted', reject: 'rejected', unsure: 'left unsure' }[a];
  decide({ action: a, ...t }, words + '.');
  for (let x = 1; x < open.cards.length; x++) {
    const j = (open.at + x) % open.cards.length;
    if (visible(j) && !standing(t.capture, open.cards[j].m.id).verdict) { activate(j, true); return; }
  }
  say(words + '. All marks here are decided. e marks the capture as looked at to the end, full stop opens the next.');
}
function setClass(cls) {
  const t = subject();
  if (t) decide({ action: 'class', class: cls, ...t }, 'Mark ' + (open.at + 1) + ' called ' + classOf(cls).name + '.');
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

/* ---- whole capture: zoom, pan, drawing, slant-corrected view ---- */

function toggleLook() {
  const host = $('look');
  if (!host) return;
  if (open.look) { open.look = null; host.replaceChildren(); } else { open.look = look(host, open.d); if (open.look) open.look.fit(); }
  $('b-look').setAttribute('aria-expanded', String(open.look !== null));
}
function interpolate(line, row, col) {
  if (!line || !line.length) return null;
  let a = 0, b = line.length - 1;
  if (row <= line[0][0]) return line[0][col];
  if (row >= line[b][0]) return line[b][col];
  while (b - a > 1) { const m = (a + b) >> 1; if (line[m][0] <= row) a = m; else b = m; }
  const t = (row - line[a][0]) / (line[b][0] - line[a][0]);
  return line[a][col] + t * (line[b][col] - line[a][col]);
}
// ground moves a column at a row from slant range to ground range, g = sqrt(s² - h²); null inside the water column.
function ground(p, x, row) {
  const n = interpolate(p.nadir, row, 1), alt = interpolate(p.altPx, row, 1);
  if (n === null || alt === null) return x;
  const sl = Math.abs(x - n);
  return sl < alt ? null : n + Math.sign(x - n) * Math.sqrt(sl * sl - alt * alt);
}
function look(host, d) {
  const v = { k: 1, x: 0, y: 0, ground: false, lines: true, drawing: null, plain: true };
  const img = h('img', { src: d.plain, alt: 'The whole capture ' + base(data.captures[open.i].name) + '; the marks in it are listed below.', draggable: 'false' });
  const canvas = h('canvas', { width: d.w, height: d.h, hidden: true });
  const svg = s('svg', { width: d.w, height: d.h, viewBox: '0 0 ' + d.w + ' ' + d.h, 'aria-hidden': 'true' });
  const stage = h('div', { class: 'stage' }, img, canvas, svg);
  const port = h('div', { class: 'port', tabindex: '0', role: 'group', 'aria-label': 'Whole capture. Arrow keys move it, plus and minus zoom, zero shows all of it.' }, stage);
  const chart = h('div', { class: 'alt', hidden: !(d.panels || []).some((p) => p.alt.length) });
  const info = h('span', { class: 'soft', role: 'status' });
  const panels = d.panels || [];
  const canGround = panels.some((p) => p.nadir.length && p.altPx.length);
  const bLines = button('Drawing', () => { v.lines = !v.lines; paint(); }, { 'aria-pressed': 'true' }, 'h');
  const bGround = button('Slant-corrected', () => setGround(!v.ground), { 'aria-pressed': 'false', disabled: !canGround }, 'g');
  const bDraw = button('Draw a missed mark', () => setDraw(!v.drawing), { 'aria-pressed': 'false' }, 'd');
  host.replaceChildren(h('div', { class: 'look' },
    h('div', { class: 'lookbar' }, button('Zoom in', () => zoom(1.4), {}, '+'), button('Zoom out', () => zoom(1 / 1.4), {}, '-'), button('All of it', () => fit(), {}, '0'), bLines, bGround, bDraw, info),
    port, chart, h('div', { class: 'draw', hidden: true })));
  const form = host.querySelector('.draw');
  stage.style.width = d.w + 'px'; stage.style.height = d.h + 'px';
  img.style.width = d.w + 'px';
  img.addEventListener('error', () => {
    if (v.plain) { v.plain = false; bLines.disabled = true; bGround.disabled = true; v.lines = false; img.src = d.drawn; paint(); return; }
    img.hidden = true;
    port.append(h('p', { class: 'gone' }, 'No picture of this capture was kept with the run.'));
  });
  const size = () => ({ w: port.clientWidth, h: port.clientHeight });
  function place() {
    const p = size();
    const w = d.w * v.k, hh = d.h * v.k;
    v.x = w <= p.w ? (p.w - w) / 2 : Math.min(0, Math.max(p.w - w, v.x));
    v.y = hh <= p.h ? (p.h - hh) / 2 : Math.min(0, Math.max(p.h - hh, v.y));
    stage.style.transform = 'translate(' + v.x + 'px,' + v.y + 'px) scale(' + v.k + ')';
    stage.classList.toggle('close', v.k > 2.5);
    svg.setAttribute('font-size', String(14 / v.k));
    const win = chart.querySelector('.win');
    if (win) { const r0 = Math.max(0, -v.y / v.k), r1 = Math.min(d.h, (p.h - v.y) / v.k); win.setAttribute('y', chart.row(r0)); win.setAttribute('height', Math.max(0, chart.row(r1) - chart.row(r0))); }
  }
  function fit() {
    const w = port.clientWidth;
    if (!w || !d.w || !d.h) return;
    port.style.height = Math.max(160, Math.min(window.innerHeight * 0.72, d.h * w / d.w)) + 'px';
    v.k = Math.min(w / d.w, port.clientHeight / d.h); v.x = v.y = 0;
    drawChart();
    paint();
  }
  function zoom(f, cx, cy) {
    const p = size();
    if (cx === undefined) { cx = p.w / 2; cy = p.h / 2; }
    const k = Math.min(16, Math.max(Math.min(p.w / d.w, p.h / d.h, 1), v.k * f));
    v.x = cx - (cx - v.x) * k / v.k; v.y = cy - (cy - v.y) * k / v.k; v.k = k;
    place();
  }
  function pan(dx, dy) { v.x += dx; v.y += dy; place(); }
  const toPic = (e) => { const r = port.getBoundingClientRect(); return [Math.min(d.w, Math.max(0, (e.clientX - r.left - v.x) / v.k)), Math.min(d.h, Math.max(0, (e.clientY - r.top - v.y) / v.k))]; };
  const fingers = new Map();
  let moved = 0;
  port.addEventListener('wheel', (e) => { e.preventDefault(); const r = port.getBoundingClientRect(); zoom(Math.exp(-e.deltaY / 400), e.clientX - r.left, e.clientY - r.top); }, { passive: false });
  port.addEventListener('pointerdown', (e) => {
    if (e.button) return;
    try { port.setPointerCapture(e.pointerId); } catch (err) { /* the pointer is gone already */ }
    fingers.set(e.pointerId, [e.clientX, e.clientY]); moved = 0;
    if (v.drawing && fingers.size === 1) v.drawing.start = toPic(e);
  });
  port.addEventListener('pointermove', (e) => {
    const was = fingers.get(e.pointerId);
    if (!was) return;
    if (fingers.size === 2) {
      const [a, b] = [...fingers.entries()].map(([id, p]) => id === e.pointerId ? [e.clientX, e.clientY] : p);
      const [a0, b0] = [...fingers.values()];
      const r = port.getBoundingClientRect();
      zoom(Math.hypot(a[0] - b[0], a[1] - b[1]) / Math.max(1, Math.hypot(a0[0] - b0[0], a0[1] - b0[1])), (a[0] + b[0]) / 2 - r.left, (a[1] + b[1]) / 2 - r.top);
      if (v.drawing) v.drawing.start = null;
    } else if (v.drawing && v.drawing.start) {
      v.drawing.set(v.drawing.start, toPic(e));
    } else pan(e.clientX - was[0], e.clientY - was[1]);
    moved += Math.abs(e.clientX - was[0]) + Math.abs(e.clientY - was[1]);
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
  });
  const lift = (e) => {
    if (!fingers.delete(e.pointerId)) return;
    if (v.drawing && v.drawing.start) { v.drawing.start = null; if (moved > 3) v.drawing.next(); return; }
    if (e.type === 'pointerup' && moved < 4) {
      const [x, y] = toPic(e);
      const j = d.marks.findIndex((m) => { const b = m.box; return !v.ground && x >= b.x - 3 && x < b.x + b.w + 3 && y >= b.y - 3 && y < b.y + b.h + 3; });
      if (j >= 0) activate(j, true);
    }
  };
  port.addEventListener('pointerup', lift);
  port.addEventListener('pointercancel', lift);

  function setGround(on) {
    if (!canGround || !v.plain) { say('No slant-corrected view: no altitude is known here.'); return; }
    if (on && v.drawing) { say('Finish drawing first.'); return; }
    v.ground = on;
    bGround.setAttribute('aria-pressed', String(on));
    canvas.hidden = !on; img.hidden = on;
    bDraw.disabled = on;
    if (on) correct();
    paint();
    say(on ? 'Columns are now ground range. The water column is taken out.' : 'Columns are slant range again.');
  }
  // correct redraws the picture with columns at ground range, in bands of two rows and pieces that are short where the
  // stretch changes fast. It only paints, so it also works on a picture from a file.
  function correct() {
    const g = canvas.getContext('2d');
    g.clearRect(0, 0, d.w, d.h);
    const cuts = [0];
    for (let x = 3; x < d.w; x += Math.max(3, x / 10)) cuts.push(x);
    cuts.push(d.w);
    for (const p of panels) {
      if (!p.nadir.length || !p.altPx.length) continue;
      const y1 = p.box.y + p.box.h;
      for (let y = p.box.y; y < y1; y += 2) {
        const n = interpolate(p.nadir, y, 1), alt = interpolate(p.altPx, y, 1), hh = Math.min(2, y1 - y);
        for (const dir of [-1, 1]) {
          const reach = dir < 0 ? n - p.box.x : p.box.x + p.box.w - n;
          for (let c = 1; c < cuts.length; c++) {
            const g0 = cuts[c - 1], s0 = Math.sqrt(g0 * g0 + alt * alt);
            if (s0 >= reach) break;
            const s1 = Math.min(reach, Math.sqrt(cuts[c] * cuts[c] + alt * alt)), g1 = Math.sqrt(Math.max(0, s1 * s1 - alt * alt));
            const sx = dir < 0 ? n - s1 : n + s0, dx = dir < 0 ? n - g1 : n + g0;
            if (s1 - s0 > 0.01 && g1 - g0 > 0.01) g.drawImage(img, sx, y, s1 - s0, hh, dx, y, g1 - g0, hh);
          }
        }
      }
    }
  }

  function path(points, cls) { return points.length > 1 ? s('polyline', { class: cls, points: points.map((p) => p[0] + ',' + p[1]).join(' ') }) : null; }
  function frame(b, cls, map) {
    const row = b.y + b.h / 2, a = map(b.x, row), z = map(b.x + b.w, row);
    if (a === null || z === null) return [];
    const at = { x: Math.min(a, z) - 1, y: b.y - 1, width: Math.abs(z - a) + 2, height: b.h + 2 };
    return [s('rect', { class: 'case', ...at }), s('rect', { class: 'ln k-' + cls, ...at })];
  }
  function paint() {
    const kids = [];
    let lost = 0;
    bLines.setAttribute('aria-pressed', String(v.lines));
    const mapFor = (p) => v.ground && p ? (x, row) => ground(p, x, row) : (x) => x;
    const panelAt = (b) => panels.find((p) => b.x < p.box.x + p.box.w && b.x + b.w > p.box.x && b.y < p.box.y + p.box.h && b.y + b.h > p.box.y);
    if (v.lines) {
      for (const p of panels) {
        kids.push(path(p.nadir.map((q) => [q[1], q[0]]), 'nadir'));
        if (!v.ground) kids.push(path(p.port.map((q) => [q[1], q[0]]), 'first'), path(p.star.map((q) => [q[1], q[0]]), 'first'));
        for (const u of p.humps || []) for (const [x, dx] of [[p.box.x + 3, 10], [p.box.x + p.box.w - 3, -10]]) kids.push(path([[x + dx, u.rows[0]], [x, u.rows[0]], [x, u.rows[1]], [x + dx, u.rows[1]]], 'hump'));
        if (!v.ground) for (const r of p.regions || []) kids.push(s('rect', { class: 'region', x: r.box.x, y: r.box.y, width: r.box.w, height: r.box.h }), s('text', { x: r.box.x + 4, y: r.box.y, dy: '1.1em' }, r.kind.replace('-', ' ')));
      }
      const c = data.captures[open.i];
      d.marks.forEach((m, j) => {
        if (open.cards[j] && open.cards[j].el.hidden) return;
        const cls = standing(c.name, m.id).cls || m.class;
        const map = mapFor(panelAt(m.box));
        const parts = [m.high, m.shadow, m.high || m.shadow ? null : m.box].filter(Boolean).flatMap((b) => frame(b, cls, map));
        if (!parts.length) { lost++; return; }
        if (m.gap) { const a = map(m.gap[0], m.gap[2]), z = map(m.gap[1], m.gap[2]); if (a !== null && z !== null) parts.push(s('line', { class: 'case', x1: a, y1: m.gap[2], x2: z, y2: m.gap[2] }), s('line', { class: 'ln k-' + cls, x1: a, y1: m.gap[2], x2: z, y2: m.gap[2] })); }
        const x = map(m.box.x, m.box.y + m.box.h / 2);
        parts.push(s('text', { x: x === null ? m.box.x : x, y: m.box.y - 2, dy: '-0.3em' }, String(j + 1)));
        kids.push(s('g', { class: 'mk' + (j === open.at ? ' on' : '') }, ...parts));
      });
      state.missed.filter((q) => q.capture === c.name).forEach((q, n) => {
        const b = q.highlight || q.shadow;
        const parts = [q.highlight, q.shadow].filter(Boolean).flatMap((o) => frame(o, q.class, mapFor(panelAt(b))));
        const x = mapFor(panelAt(b))(b.x, b.y + b.h / 2);
        if (x !== null) parts.push(s('text', { x: x, y: b.y - 2, dy: '-0.3em' }, 'M' + (n + 1)));
        kids.push(s('g', {}, ...parts));
      });
    }
    if (v.drawing) for (const b of Object.values(v.drawing.boxes)) if (b) kids.push(s('rect', { class: 'rubber', x: b.x, y: b.y, width: b.w, height: b.h }));
    svg.replaceChildren(...kids.filter(Boolean));
    info.textContent = lost ? lost + (lost === 1 ? ' mark' : ' marks') + ' inside the water column cannot be placed: no ground range exists there.' : '';
    place();
  }

  /* drawing a missed mark, by dragging or by numbers */
  function setDraw(on) {
    if (v.ground) { say('Go back to slant range to draw.'); return; }
    bDraw.setAttribute('aria-pressed', String(on));
    port.classList.toggle('drawing', on);
    form.hidden = !on;
    form.replaceChildren();
    v.drawing = null;
    if (!on) { paint(); return; }
    const dr = { boxes: { highlight: null, shadow: null }, target: 'highlight', start: null };
    v.drawing = dr;
    const fields = {}, radios = {};
    const group = (name) => {
      radios[name] = h('input', { type: 'radio', name: 'target', checked: name === dr.target, onchange: () => { dr.target = name; } });
      fields[name] = ['x', 'y', 'w', 'h'].map((a, n) => h('input', { type: 'number', min: 0, 'aria-label': name + ' ' + ['left', 'top', 'width', 'height'][n] + ' in pixels', oninput: () => fromFields(name) }));
      return h('fieldset', {}, h('legend', {}, h('label', { class: 'tick' }, radios[name], 'drag now: ' + name + ' box')),
        h('div', { class: 'nums' }, ...['left', 'top', 'width', 'height'].map((t, n) => h('label', {}, t, fields[name][n]))), button('Clear ' + name, () => { dr.boxes[name] = null; show(name); paint(); }));
    };
    const show = (name) => { const b = dr.boxes[name]; fields[name].forEach((f, n) => { f.value = b ? [b.x, b.y, b.w, b.h][n] : ''; }); };
    const fromFields = (name) => {
      const [x, y, w, hh] = fields[name].map((f) => Math.round(Number(f.value)));
      dr.boxes[name] = w > 0 && hh > 0 && x >= 0 && y >= 0 && x + w <= d.w && y + hh <= d.h ? { x: x, y: y, w: w, h: hh } : null;
      paint();
    };
    dr.set = (a, b) => {
      const x0 = Math.floor(Math.min(a[0], b[0])), y0 = Math.floor(Math.min(a[1], b[1])), x1 = Math.ceil(Math.max(a[0], b[0])), y1 = Math.ceil(Math.max(a[1], b[1]));
      dr.boxes[dr.target] = { x: x0, y: y0, w: Math.max(1, x1 - x0), h: Math.max(1, y1 - y0) };
      show(dr.target); paint();
    };
    dr.next = () => { if (dr.target === 'highlight' && !dr.boxes.shadow) { dr.target = 'shadow'; radios.shadow.checked = true; say('Highlight drawn. Now drag the shadow, or save if there is none.'); } };
    const cls = h('select', { 'aria-label': 'Class' }, ...classes.filter((c) => c.id !== 'clutter').map((c) => h('option', { value: c.id }, c.name)));
    const kind = h('input', { maxlength: 60, autocomplete: 'off' });
    const sure = h('input', { type: 'checkbox', checked: true });
    const note = h('input', { maxlength: 600, autocomplete: 'off' });
    const trouble = h('p', { role: 'alert' });
    form.append(h('strong', {}, 'A mark that was missed'), h('div', { class: 'boxes' }, group('highlight'), group('shadow')),
      h('div', { class: 'boxes' }, h('label', {}, 'Class', cls), h('label', {}, 'What it is, if you know', kind), h('label', {}, 'Note', note), h('label', { class: 'tick' }, sure, 'I am sure')),
      trouble,
      h('div', { class: 'acts' }, button('Save mark', () => {
        for (const name of ['highlight', 'shadow']) if (!dr.boxes[name] && fields[name].some((f) => f.value !== '')) { trouble.textContent = 'The ' + name + ' box is empty or leaves the picture of ' + d.w + ' × ' + d.h + ' pixels.'; return; }
        if (!dr.boxes.highlight && !dr.boxes.shadow) { trouble.textContent = 'Drag a box over the highlight or the shadow first.'; return; }
        const q = { action: 'missed', capture: data.captures[open.i].name, class: cls.value, kind: kind.value, note: note.value, highlight: dr.boxes.highlight, shadow: dr.boxes.shadow };
        if (!sure.checked) q.sure = false;
        setDraw(false);
        decide(q, 'Missed mark saved.');
        port.focus({ preventScroll: true });
      }), button('Cancel', () => setDraw(false), {}, 'Esc')));
    say('Drag a box over the highlight, then one over its shadow. Or type the boxes in pixels.');
    paint();
  }

  function drawChart() {
    const p = panels.find((q) => q.alt.length);
    if (!p) return;
    const W = 240, L = 52, R = 10, T = 22, B = 40, H = port.clientHeight + T + B; // rows line up with the picture beside it
    const hi = Math.max(...p.alt.map((a) => a[1] + a[2])) * 1.06 || 1;
    const X = (a) => L + (W - L - R) * a / hi, Y = (r) => T + (H - T - B) * r / d.h;
    chart.row = Y;
    const stepOf = (span, n) => { const raw = span / n, m = Math.pow(10, Math.floor(Math.log10(raw))); return [1, 2, 5, 10].map((q) => q * m).find((q) => q >= raw); };
    const kids = [];
    const sx = stepOf(hi, 3), sy = stepOf(d.h, 6);
    for (let a = 0; a <= hi; a += sx) kids.push(s('line', { class: 'grid', x1: X(a), x2: X(a), y1: T, y2: H - B }), s('text', { x: X(a), y: H - B + 14, 'text-anchor': 'middle' }, String(Number(a.toPrecision(3)))));
    for (let r = 0; r <= d.h; r += sy) kids.push(s('line', { class: 'grid', x1: L, x2: W - R, y1: Y(r), y2: Y(r) }), s('text', { x: L - 5, y: Y(r) + 4, 'text-anchor': 'end' }, String(r)));
    for (const u of p.humps || []) kids.push(s('rect', { class: 'h', x: L, width: W - L - R, y: Y(u.rows[0]), height: Math.max(1, Y(u.rows[1]) - Y(u.rows[0])) }), s('text', { x: W - R - 4, y: Y((u.rows[0] + u.rows[1]) / 2) + 4, 'text-anchor': 'end' }, 'hump'));
    const band = p.alt.map((a) => X(Math.max(0, a[1] - a[2])) + ',' + Y(a[0])).concat(p.alt.slice().reverse().map((a) => X(a[1] + a[2]) + ',' + Y(a[0])));
    kids.push(s('polygon', { class: 'sd', points: band.join(' ') }), s('polyline', { class: 'l', points: p.alt.map((a) => X(a[1]) + ',' + Y(a[0])).join(' ') }),
      s('path', { class: 'ax', d: 'M' + L + ',' + T + 'V' + (H - B) + 'H' + (W - R) }), s('rect', { class: 'win', x: L + 1, width: W - L - R - 2, y: T, height: 0 }),
      s('text', { x: (L + W - R) / 2, y: H - 8, 'text-anchor': 'middle' }, 'altitude (' + p.altUnit + ')'),
      s('text', { x: 12, y: (T + H - B) / 2, 'text-anchor': 'middle', transform: 'rotate(-90 12 ' + (T + H - B) / 2 + ')' }, 'row (px, newest on top)'),
      s('text', { x: L, y: 14 }, 'Altitude over the bottom'));
    const vals = p.alt.map((a) => a[1]);
    chart.replaceChildren(s('svg', { width: W, height: H, role: 'img', 'aria-label': 'Altitude over the bottom from ' + Math.min(...vals) + ' to ' + Math.max(...vals) + ' ' + p.altUnit + '. ' + ((p.humps || []).length ? 'Humps at rows ' + p.humps.map((u) => u.rows[0] + ' to ' + u.rows[1]).join(', ') + '.' : 'No humps.') }, ...kids));
  }
  img.addEventListener('load', () => { if (v.ground) correct(); });
  let width = 0;
  new ResizeObserver(() => { if (port.clientWidth !== width) { width = port.clientWidth; fit(); } }).observe(port);
  return { fit: fit, paint: paint, zoom: zoom, pan: pan, port: port, lines: () => bLines.click(), ground: () => setGround(!v.ground), draw: () => setDraw(!v.drawing), drawing: () => v.drawing !== null };
}

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
  h: ['hide or show the drawing', withLook((l) => l.lines())],
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

/* ---- tools ---- */

const themes = ['system', 'light', 'dark'];
function theme(t) {
  if (!themes.includes(t)) t = 'system';
  if (t === 'system') document.documentElement.removeAttribute('data-theme'); else document.documentElement.dataset.theme = t;
  document.querySelector('meta[name="color-scheme"]').content = t === 'system' ? 'light dark' : t;
  $('b-theme').textContent = 'Theme: ' + t;
}
let themeNow = remember('shadowgap-theme') || 'system';
theme(themeNow);
$('b-theme').addEventListener('click', () => { themeNow = themes[(themes.indexOf(themeNow) + 1) % 3]; theme(themeNow); remember('shadowgap-theme', themeNow); });
$('b-undo').addEventListener('click', () => undo());
$('toast-b').addEventListener('click', () => { undo(); });
$('b-help').addEventListener('click', () => $('help').showModal());
$('b-history').addEventListener('click', () => {
  const named = (d) => { const t = d.action === 'undo' ? log.find((x) => x.id === d.undoes) : null; return (t ? 'taken back: ' + inWords(t) : inWords(d)) + (d.capture ? ' in ' + base(d.capture) : ''); };
  $('history-l').replaceChildren(...log.slice(-200).reverse().map((d) => h('li', {},
    h('span', { class: state.cancelled.has(d.id) ? 'undone' : null }, String(d.at).replace('T', ' ').slice(0, 19) + ' UTC, ' + named(d)), state.cancelled.has(d.id) ? ' (taken back) ' : ' ',
    state.cancelled.has(d.id) ? null : button(d.action === 'undo' ? 'Do it again' : 'Take back', () => { undo(d.id); $('history').close(); }))));
  if (!log.length) $('history-l').append(h('li', {}, 'Nothing was decided yet.'));
  $('history').showModal();
});
$('b-save').addEventListener('click', () => {
  const blob = new Blob([JSON.stringify({ schema: 1, run: data.run, decisions: log }, null, 1)], { type: 'application/json' });
  const a = h('a', { href: URL.createObjectURL(blob), download: 'decisions.json' });
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(a.href), 10000);
  say(log.length + ' decisions downloaded.');
});
$('b-take').addEventListener('click', () => $('take').click());
$('take').addEventListener('change', async () => {
  const f = $('take').files[0];
  $('take').value = '';
  if (!f) return;
  try {
    const got = JSON.parse(await f.text());
    if (got.schema !== 1 || !Array.isArray(got.decisions)) throw new Error('it is not a decisions file of schema 1');
    if (served) {
      const res = await fetch('api/take', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(got) });
      const text = await res.text();
      if (!res.ok) throw new Error(text.slice(0, 300));
      const r = JSON.parse(text);
      const all = await (await fetch('api/decisions')).json();
      all.decisions.forEach(admit);
      warn('Taken in: ' + r.added + ' new decisions, ' + r.known + ' known before, ' + r.skipped.length + ' about captures or marks that are not in this run.');
    } else {
      const fresh = got.decisions.filter(admit);
      unsent.push(...fresh);
      remember(storeKey, JSON.stringify(unsent));
      warn('Taken in: ' + fresh.length + ' new decisions.');
    }
    fold();
    items.forEach((_, i) => paintItem(i));
    repaint({});
  } catch (e) { warn('Could not take in ' + f.name + ': ' + e.message); }
});
filter.addEventListener('input', refilter);
filter.addEventListener('reset', () => setTimeout(refilter, 0));
filter.addEventListener('submit', (e) => e.preventDefault());

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
})();
