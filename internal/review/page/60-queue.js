/* ---- one queue of things across captures ---- */

// The first are shown one by one, the rest many of a kind at once, so that a run of any usual size takes a hundred decisions at most.
const SINGLES = 40, BUNDLES = 50, SHORT = 60, MOST = 60;
const queue = { steps: [], at: -1, order: remember('shadowgap-order') === 'doubt' ? 'doubt' : 'best', clutter: false, out: new Set(), el: null };
const queueKey = 'shadowgap-at-' + data.run;

function buildQueue() {
  let list = data.things.filter((t) => queue.clutter || !t.dull);
  if (queue.order === 'doubt') list = list.slice().sort((a, b) => b.doubt - a.doubt);
  const alone = list.length <= SHORT ? list : list.slice(0, SINGLES), rest = list.slice(alone.length);
  queue.steps = alone.map((t) => ({ things: [t] }));
  const size = Math.min(MOST, Math.max(8, Math.ceil(rest.length / BUNDLES)));
  const kinds = new Map();
  rest.forEach((t) => { if (!kinds.has(t.c)) kinds.set(t.c, []); kinds.get(t.c).push(t); });
  for (const of of kinds.values()) for (let k = 0; k < of.length; k += size) queue.steps.push({ things: of.slice(k, k + size) });
  queue.out.clear();
}
const stepDone = (q) => q.things.every(decided);
const openIn = (q) => q.things.filter((t) => !decided(t));
const nextOpen = (from) => { for (let k = 0; k < queue.steps.length; k++) { const i = (from + k) % queue.steps.length; if (!stepDone(queue.steps[i])) return i; } return -1; };
function openQueue() {
  if (!queue.steps.length) {
    buildQueue();
    const id = remember(queueKey), k = id ? queue.steps.findIndex((q) => q.things.some((t) => t.id === id)) : -1;
    queue.at = k >= 0 ? k : nextOpen(0);
  }
  paintQueue(false);
}
function pickThing(t) {
  if (!queue.steps.length) buildQueue();
  let k = queue.steps.findIndex((q) => q.things.length === 1 && q.things[0] === t);
  if (k < 0) { // it waits in a bundle: take it out, to be looked at by itself
    k = Math.max(0, queue.at);
    for (const q of queue.steps) q.things = q.things.filter((x) => x !== t);
    queue.steps.splice(k, 0, { things: [t] });
    queue.steps = queue.steps.filter((q) => q.things.length);
  }
  queue.at = k;
}
function backTo(d) {
  const k = queue.steps.findIndex((q) => q.things.some((t) => t.m.some((at) => { const m = markOf(at); return m.capture === d.capture && m.mark === d.mark; })));
  if (k >= 0) queue.at = k;
  paintQueue(true);
}
// move by steps without deciding; past either end nothing changes.
function moveQueue(by) {
  const k = queue.at < 0 ? (by > 0 ? -1 : queue.steps.length - 1) : queue.at + by;
  if (k < 0 || k >= queue.steps.length) { say(by > 0 ? 'This is the last one.' : 'This is the first one.'); return; }
  queue.at = k;
  paintQueue(true);
}
function decideHere(action) {
  const q = queue.steps[queue.at];
  if (!q) { say('Everything is decided.'); return; }
  const many = q.things.length > 1;
  const list = many ? openIn(q).filter((t) => !queue.out.has(t)) : q.things;
  const kept = many ? openIn(q).filter((t) => queue.out.has(t)) : [];
  if (kept.length) {
    q.things = q.things.filter((t) => !queue.out.has(t));
    queue.steps.splice(queue.at + 1, 0, ...kept.map((t) => ({ things: [t] })));
    queue.out.clear();
  }
  if (list.length) decideAll(onAll(list, { action: action }), list.length === 1 ? list[0].say.replace(/\.$/, '') + ': ' + inPast[action] + '.' : list.length + ' things ' + inPast[action] + '.');
  if (!q.things.length) queue.steps.splice(queue.at, 1);
  queue.at = nextOpen(kept.length || list.length ? Math.min(queue.at + (q.things.length ? 1 : 0), queue.steps.length - 1) : 0);
  paintQueue(true);
}
function restHere(action) {
  const q = queue.steps[queue.at];
  if (!q) { say('Everything is decided.'); return; }
  if (q.things.length > 1) { decideHere(action); return; }
  if (decideRest(q.things[0].m[0][0], action)) { queue.at = nextOpen(queue.at); paintQueue(true); }
}
function classHere(cls) {
  const q = queue.steps[queue.at];
  if (!q) { say('Everything is decided.'); return; }
  const list = q.things.length > 1 ? openIn(q).filter((t) => !queue.out.has(t)) : q.things;
  decideAll(onAll(list, { action: 'class', class: cls }), (list.length === 1 ? 'Called ' : list.length + ' things called ') + classOf(cls).name + '.');
  paintQueue(true);
}
function noteHere() { const box = $('q-note'); if (box) { $('q-words').hidden = false; box.focus(); } }

function fetchAhead() {
  const q = queue.steps[nextOpen(queue.at + 1)];
  if (!q) return;
  const names = q.things.length > 1 ? q.things.map((t) => t.chip) : [q.things[0].chip, detailOf(q.things[0].m[0][0])?.plain];
  const get = () => names.filter(Boolean).forEach((n) => { const i = new Image(); i.decoding = 'async'; i.src = n; });
  if (window.requestIdleCallback) requestIdleCallback(get); else setTimeout(get, 50);
}
function paintQueue(focus) {
  const host = $('v-queue'), n = queue.steps.length, open = queue.steps.filter((q) => !stepDone(q)), left = open.length;
  const of = open.reduce((sum, q) => sum + openIn(q).length, 0);
  const order = h('select', { 'aria-label': 'Order', onchange: (e) => { queue.order = e.target.value; remember('shadowgap-order', queue.order); buildQueue(); queue.at = nextOpen(0); paintQueue(false); } },
    ...[['best', 'best first'], ['doubt', 'most doubtful first']].map(([v, t]) => h('option', { value: v, selected: v === queue.order }, t)));
  const also = h('input', { type: 'checkbox', checked: queue.clutter, onchange: (e) => { queue.clutter = e.target.checked; buildQueue(); queue.at = nextOpen(0); paintQueue(false); } });
  const q = queue.steps[queue.at];
  const done = n - left;
  const top = h('div', { class: 'line' },
    h('h2', { id: 'queue-h', tabindex: '-1' }, q ? (queue.at + 1) + ' of ' + n : 'Everything is decided'),
    h('span', { class: 'soft', id: 'q-left' }, left ? left + (left === 1 ? ' decision to go' : ' decisions to go') + (of > left ? ', on ' + of + ' things' : '') : ''),
    h('span', { class: 'grow' }, bar(n ? done / n : 1)), order, h('label', { class: 'tick' }, also, 'also likeliest clutter'));
  host.replaceChildren(top, q ? (q.things.length > 1 ? bundle(q) : single(q.things[0])) : finished());
  if (q) { remember(queueKey, q.things[0].id); fetchAhead(); } else remember(queueKey, '');
  if (focus) $('queue-h').focus({ preventScroll: true });
  if (focus && window.scrollY > host.offsetTop) window.scrollTo(0, host.offsetTop - 4);
}
function finished() {
  const c = { accept: 0, reject: 0, unsure: 0 };
  data.things.forEach((t) => { const v = thingState(t).verdict; if (v) c[v]++; });
  return h('div', { class: 'panel' },
    h('p', {}, queue.steps.length ? c.accept + ' accepted, ' + c.reject + ' rejected, ' + c.unsure + ' left unsure.' : 'There is nothing to decide in this run.'),
    h('p', {}, served ? 'The decisions are kept with the run. ' : 'The decisions are in this browser: download decisions.json and take it in with the command below, so that exports go by them. '),
    command(served ? 'shadowgap export @RUN@ --as gpx' : 'shadowgap review @RUN@ --take decisions.json'),
    h('div', { class: 'acts' }, h('a', { class: 'button', href: '#places' }, 'Go here first'), served ? null : button('Download decisions.json', () => $('b-save').click())));
}
function verdictButtons(st, rest) {
  return h('div', { class: 'acts' },
    ...[['accept', 'Accept', 'a'], ['reject', 'Reject', 'r'], ['unsure', 'Unsure', 'u']].map(([a, text, key]) => button(text, () => decideHere(a), { 'aria-pressed': String(st.verdict === a) }, key)),
    h('select', { 'aria-label': 'Class', onchange: (e) => classHere(e.target.value) }, ...classes.map((c, k) => h('option', { value: c.id, selected: c.id === st.cls }, (k + 1) + ' ' + c.name))), rest);
}
// scene shows a whole capture with one thing outlined in it, beside the close-up.
function scene(t) {
  const [i, j] = t.m[0], d = detailOf(i), m = d.marks[j], b = m.box, pad = 4;
  const img = h('img', { src: d.plain, alt: 'The whole capture ' + base(data.captures[i].name) + ' with this thing outlined.', width: d.w, height: d.h, decoding: 'async', onerror: (e) => { if (e.target.src.endsWith(d.drawn)) e.target.parentNode.replaceChildren(h('p', { class: 'gone' }, noPicture)); else e.target.src = d.drawn; } });
  const r = { x: b.x - pad, y: b.y - pad, width: b.w + 2 * pad, height: b.h + 2 * pad };
  const svg = s('svg', { viewBox: '0 0 ' + d.w + ' ' + d.h, 'aria-hidden': 'true' },
    s('rect', { class: 'case', ...r }), s('rect', { class: 'ln k-' + (thingState(t).cls || m.class) + (b.w < d.w / 20 ? ' tiny' : ''), ...r }),
    // a frame around it, so that a small thing is found at once
    s('rect', { class: 'finder', x: b.x + b.w / 2 - Math.max(b.w, d.w / 14), y: b.y + b.h / 2 - Math.max(b.h, d.w / 14), width: 2 * Math.max(b.w, d.w / 14), height: 2 * Math.max(b.h, d.w / 14) }));
  return h('figure', { class: 'scene' }, h('div', { class: 'frame' }, img, svg));
}
function headLine(i) {
  const c = data.captures[i];
  return h('p', { class: 'soft path' }, [base(c.name), c.time, c.depth ? c.depth + ' below the boat' : ''].filter(Boolean).join(' · '));
}
function single(t) {
  const st = thingState(t), [i] = t.m[0];
  const out = (e) => { if (e.key === 'Escape') { e.stopPropagation(); e.target.blur(); $('queue-h').focus(); } };
  const keepText = (k, words) => (e) => { if ((thingState(t)[k] || '') !== e.target.value) decide({ action: k, [k]: e.target.value, ...markOf(t.m[0]) }, words); };
  const name = h('input', { maxlength: 60, autocomplete: 'off', onchange: keepText('name', 'Name saved.'), onkeydown: out });
  const note = h('textarea', { id: 'q-note', rows: 2, maxlength: 600, onchange: keepText('note', 'Note saved.'), onkeydown: out });
  name.value = st.name || '';
  note.value = st.note || '';
  return h('div', { class: 'one' }, scene(t),
    h('article', { class: 'card active', 'aria-labelledby': 'q-say' },
      h('header', {}, badge(st.cls || classes[t.c].id, classes[t.c].short.slice(0, 1).toUpperCase()), h('h3', { id: 'q-say' }, t.say), h('span', { class: 'state ' + (st.verdict || '') }, (sign[st.verdict] || 'open') + (st.cls ? ', class changed' : ''))),
      h('div', { class: 'brief' }, h('img', { class: 'chip', src: t.chip, alt: t.alt, onerror: (e) => { e.target.hidden = true; } }), facts(t)),
      verdictButtons({ ...st, cls: st.cls || classes[t.c].id }, button('Note', noteHere, {}, 'c')),
      h('div', { id: 'q-words', hidden: !st.note && !st.name }, h('label', {}, 'Note ', note), h('label', {}, 'Name of your own, for waypoints ', name), h('p', { class: 'soft' }, 'Saved when you leave the box (Esc).')),
      headLine(i),
      t.m.length > 1 ? h('div', {}, h('p', { class: 'soft' }, 'Seen in ' + t.m.length + ' captures; this decides all of them.'),
        h('div', { class: 'looks' }, ...t.m.slice(1, 5).map(([a, b]) => h('img', { src: detailOf(a)?.marks[b].chip || '', alt: 'Another look at it, in ' + base(data.captures[a].name), loading: 'lazy', onerror: (e) => { e.target.hidden = true; } })))) : null,
      h('details', { class: 'why' }, h('summary', {}, 'Evidence'), h('p', {}, odds(t)), h('ul', {}, ...t.why.map((w) => h('li', {}, w)))),
      h('div', { class: 'acts' }, button('Accept the rest of this capture', () => restHere('accept'), {}, 'Shift A'), button('Reject the rest of it', () => restHere('reject'), {}, 'Shift R')),
      h('div', { class: 'acts' }, button('Open the capture', () => openAt(t), {}, 'o'), t.xy ? button('On the map', () => onMap(t), {}, 'm') : null)));
}
function bundle(q) {
  const list = openIn(q).length ? openIn(q) : q.things, k = list[0].c;
  const p = list.map((t) => t.odds[k]);
  return h('div', {},
    h('p', {}, list.length + ' alike: likeliest ' + classes[k].name + ', odds ' + (pct(Math.min(...p)) === pct(Math.max(...p)) ? '' : pct(Math.min(...p)).replace(' %', '') + ' to ') + pct(Math.max(...p)) + '. One decision is for all of them; pick those that should be looked at by themselves.'),
    verdictButtons({ cls: classes[k].id }, null),
    h('div', { class: 'tiles' }, ...list.map((t) => {
      const st = thingState(t);
      const tile = h('button', { type: 'button', class: 'tile', 'aria-pressed': String(queue.out.has(t)), onclick: () => { if (queue.out.has(t)) queue.out.delete(t); else queue.out.add(t); tile.setAttribute('aria-pressed', String(queue.out.has(t))); } },
        h('img', { src: t.chip, alt: '', loading: 'lazy', decoding: 'async', onerror: (e) => { e.target.hidden = true; } }), h('span', {}, t.say), st.verdict ? h('span', { class: 'state ' + st.verdict }, sign[st.verdict]) : null);
      return tile;
    })));
}
