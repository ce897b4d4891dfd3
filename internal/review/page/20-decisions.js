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
  state = { marks: new Map(), missed: [], done: new Set(), cancelled: cancelled };
  for (const d of log) lay(d);
}
// lay adds one decision to where things stand.
function lay(d) {
  if (state.cancelled.has(d.id) || d.action === 'undo') return;
  if (d.action === 'missed') { state.missed.push(d); return; }
  if (d.action === 'done') { state.done.add(d.capture); return; }
  const k = keyOf(d.capture, d.mark);
  const m = state.marks.get(k) || {};
  if (d.action === 'class') m.cls = d.class;
  else if (d.action === 'note') m.note = d.note || '';
  else if (d.action === 'name') m.name = d.name || '';
  else m.verdict = d.action;
  state.marks.set(k, m);
}
// keep writes what is not stored elsewhere into the browser's storage, in parts, so that one more decision rewrites one part only.
const keepPart = 300;
let keptParts = 0, keptCount = 0;
function keep() {
  const parts = Math.max(1, Math.ceil(unsent.length / keepPart));
  const from = keptCount > 0 && unsent.length >= keptCount && !served ? Math.floor((keptCount - 1) / keepPart) : 0;
  for (let k = from; k < parts; k++) remember(storeKey + (k ? '+' + k : ''), JSON.stringify(unsent.slice(k * keepPart, (k + 1) * keepPart)));
  for (let k = parts; k < keptParts; k++) remember(storeKey + '+' + k, null);
  keptParts = parts;
  keptCount = unsent.length;
}
function recall() {
  const out = [];
  for (let k = 0; ; k++) {
    const text = remember(storeKey + (k ? '+' + k : '')), part = text ? JSON.parse(text) : null;
    if (!Array.isArray(part)) return out;
    out.push(...part);
    keptParts = k + 1;
  }
}
const standing = (capture, mark) => state.marks.get(keyOf(capture, mark)) || {};

function newID() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(b, (x) => x.toString(16).padStart(2, '0')).join('');
}
function decide(d, words) { decideAll([d], words); }
// decideAll takes several steps as one: they share a group, and undo takes them back together.
function decideAll(list, words) {
  if (!list.length) return;
  const at = new Date().toISOString(), group = list.length > 1 ? { group: newID() } : {};
  const ds = list.map((d) => ({ id: newID(), at: at, ...group, ...d }));
  ds.forEach(admit);
  unsent.push(...ds);
  keep();
  if (ds.some((d) => d.action === 'undo')) fold(); else ds.forEach(lay);
  repaint(ds);
  if (words) { say(words); toast(words, ds[0].action === 'undo'); }
  send();
}
let sending = false;
async function send() {
  if (!served || sending) return;
  sending = true;
  try {
    let alone = false; // after a refusal of many, each is tried by itself
    while (unsent.length) {
      const part = alone ? unsent.slice(0, 1) : unsent.slice(0, 500);
      let res;
      try {
        res = await fetch(part.length > 1 ? 'api/take' : 'api/decisions', {
          method: 'POST', headers: { 'Content-Type': 'application/json' },
          body: JSON.stringify(part.length > 1 ? { schema: 1, run: data.run, decisions: part } : part[0]),
        });
      } catch (e) {
        warn('The review server does not answer, so the last ' + unsent.length + ' decisions are not stored yet. They are kept in this browser; the next decision tries again. If the server was started anew at another address, download decisions.json here and take it in there.');
        return;
      }
      if (res.status >= 500) {
        warn('The review server could not store the last decision (' + res.status + '). It is kept in this browser; the next decision tries again.');
        return;
      }
      if (!res.ok && part.length > 1) { alone = true; continue; }
      unsent.splice(0, part.length);
      keep();
      if (!res.ok) {
        seen.delete(part[0].id);
        log = log.filter((x) => x.id !== part[0].id);
        fold();
        repaint(part);
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
  const all = target.group ? log.filter((d) => d.group === target.group && d.action !== 'undo' && !state.cancelled.has(d.id)) : [target];
  decideAll((all.length ? all : [target]).map((d) => ({ action: 'undo', undoes: d.id })), 'Taken back: ' + inWords(target, all.length) + '.');
  if (view === 'queue') { backTo(target); return; }
  if (view !== 'captures') return;
  const i = data.captures.findIndex((c) => c.name === target.capture);
  if (i >= 0 && i !== open.i) openCapture(i, false);
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
function inWords(d, n) {
  if (n > 1) return { accept: 'accepted', reject: 'rejected', unsure: 'left unsure' }[d.action] ? n + ' marks ' + { accept: 'accepted', reject: 'rejected', unsure: 'left unsure' }[d.action] : n + ' marks called ' + classOf(d.class).name;
  switch (d.action) {
    case 'accept': return markNumber(d) + ' accepted';
    case 'reject': return markNumber(d) + ' rejected';
    case 'unsure': return markNumber(d) + ' left unsure';
    case 'class': return markNumber(d) + ' called ' + classOf(d.class).name;
    case 'note': return markNumber(d) + (d.note ? ' noted' : ' note removed');
    case 'name': return markNumber(d) + (d.name ? ' named “' + d.name + '”' : ' no longer named');
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
/* ---- things: one or more marks that are looks at the same thing ---- */

const thingOf = new Map(); // "capture number,mark number" to thing
data.things.forEach((t) => {
  t.m.forEach(([i, j]) => thingOf.set(i + ',' + j, t));
  t.keys = t.m.map(([i, j]) => keyOf(data.captures[i].name, data.captures[i].marks[j][0]));
});
const markOf = ([i, j]) => ({ capture: data.captures[i].name, mark: data.captures[i].marks[j][0] });
// thingState is where a thing stands: what was decided on its best look that anything was decided on.
function thingState(t) {
  const st = {};
  for (const key of t.keys) {
    const one = state.marks.get(key);
    if (one) for (const k of ['verdict', 'cls', 'note', 'name']) if (!st[k] && one[k]) st[k] = one[k];
  }
  return st;
}
const decided = (t) => t.keys.every((key) => { const one = state.marks.get(key); return one && one.verdict; });
const onAll = (things, d) => things.flatMap((t) => t.m.map((at) => ({ ...d, ...markOf(at) })));
const inPast = { accept: 'accepted', reject: 'rejected', unsure: 'left unsure' };
const sign = { accept: '✓ accepted', reject: '✗ rejected', unsure: '? unsure' };
// restOf lists the things seen in a capture that are still open.
function restOf(i) {
  const found = new Set();
  data.captures[i].marks.forEach((m, j) => {
    const t = thingOf.get(i + ',' + j);
    if (t && !decided(t) && !quiet(m, thingState(t))) found.add(t);
  });
  return [...found];
}
function decideRest(i, action) {
  const rest = restOf(i);
  if (!rest.length) { say('Nothing is open in this capture.'); return false; }
  decideAll(onAll(rest, { action: action }), 'The rest of ' + base(data.captures[i].name) + ' ' + inPast[action] + ': ' + rest.length + (rest.length === 1 ? ' thing.' : ' things.'));
  return true;
}
