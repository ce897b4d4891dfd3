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
        warn('The review server does not answer, so the last ' + unsent.length + ' decisions are not stored yet. They are kept in this browser; the next decision tries again. If the server was started anew at another address, download decisions.json here and take it in there.');
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
