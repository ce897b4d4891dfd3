/* ---- check-up: what could not be read, what is missing, and what mends it ---- */

let checkupBuilt = false;
function openCheckup() {
  if (checkupBuilt) return;
  checkupBuilt = true;
  const groups = new Map();
  for (const x of lostOnes) {
    const key = x.c.status + ' ' + x.c.w + ' ' + x.c.h;
    if (!groups.has(key)) groups.set(key, []);
    groups.get(key).push(x);
  }
  const lacking = data.checks.filter((c) => !c.ok && c.what !== 'Side-scan found in the picture');
  $('v-checkup').replaceChildren();
  fill($('v-checkup'), {}, [
    h('h2', { id: 'checkup-h', tabindex: '-1' }, 'Check-up of this run'),
    h('p', {}, !lostOnes.length && !lacking.length ? 'Nothing is missing.' : [lostOnes.length ? lostOnes.length + ' of ' + data.captures.length + ' captures could not be read' : '', lacking.length ? 'missing: ' + lacking.map((c) => c.what.toLowerCase()).join(', ') : ''].filter(Boolean).join('; ') + '.'),
    ...[...groups.values()].map(lostGroup),
    h('h3', {}, 'What is known, and what is missing'),
    h('div', { class: 'checks' }, ...data.checks.map((c) => h('section', { class: 'check ' + (c.ok ? 'ok' : 'lack'), 'aria-label': c.what },
      h('h4', {}, (c.ok ? '✓ ' : '! ') + c.what, h('span', { class: 'soft' }, c.ok ? ' in all ' + c.of + ' captures' : (c.n ? ' missing in ' + c.n + ' of ' + c.of + (c.of === 1 ? ' capture' : ' captures') : ' is missing'))),
      c.ok ? null : h('p', {}, c.cost), c.ok ? null : h('p', {}, c.mend), c.line ? command(c.line) : null,
      c.ok || !c.n ? null : h('details', { class: 'why' }, h('summary', {}, 'Which'), h('p', { class: 'soft' }, c.captures.slice(0, 60).map((i) => base(data.captures[i].name)).join(', ') + (c.n > 60 ? ' and ' + (c.n - 60) + ' more' : '')))))),
    lacking.length ? h('p', {}, button('Download a manifest to fill in', manifest), ' One line a capture, with what is missing left empty.') : null,
    data.trackLog.length ? h('section', {}, h('h3', {}, 'The track’s log'), h('ul', {}, ...data.trackLog.map((n) => h('li', {}, n)))) : null,
    data.notes.length ? h('section', {}, h('h3', {}, 'Remarks made while reading'), h('ul', {}, ...data.notes.map((n) => h('li', {}, n.t + ' ', h('span', { class: 'soft' }, '(' + n.n + (n.n === 1 ? ' capture)' : ' captures)')))))) : null]);
}
// withFolder puts the run folder into a command: as it was typed when the page is served, else the folder that the page lies in.
function withFolder(line) {
  const here = decodeURIComponent(location.pathname).replace(/\/[^/]*$/, '').replace(/^\/(?=[A-Za-z]:\/)/, '');
  const folder = (document.documentElement.dataset.folder || here).replace(/\/$/, '');
  return line.replace(/@RUN@(\S*)/g, (_, rest) => { const w = folder + rest; return /^[\w@%+=:,./-]+$/.test(w) ? w : "'" + w.replace(/'/g, "'\\''") + "'"; });
}
function command(text) {
  const line = withFolder(text);
  const code = h('code', { tabindex: '0' }, ...line.split(' ').flatMap((w, k) => [k ? ' ' : null, h('span', { class: w.length < 50 ? 'nb' : null }, w)]));
  return h('div', { class: 'command' }, code, button('Copy', async () => {
    try { await navigator.clipboard.writeText(line); say('Copied.'); } catch (e) { // a page from a file may not write there: the line is picked instead
      const r = document.createRange(); r.selectNodeContents(code); const sel = getSelection(); sel.removeAllRanges(); sel.addRange(r); say('The line is picked; copy it with the keyboard.');
    }
  }));
}
function saveFile(name, type, text) {
  const a = h('a', { href: URL.createObjectURL(new Blob([text], { type: type })), download: name });
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(a.href), 10000);
}
// manifest makes a table to fill in; a name with a comma or a quote is quoted.
function manifest() {
  const cell = (v) => /[",\n]/.test(v) ? '"' + v.replace(/"/g, '""') + '"' : v;
  const rows = data.captures.map((c) => [cell(c.name), c.time ? c.time.replace(' UTC', 'Z').replace(' ', 'T') : '', '', ''].join(','));
  saveFile('manifest.csv', 'text/csv', 'capture,time,range,row rate\n' + rows.sort().join('\n') + '\n');
}
function lostGroup(list) {
  const c = list[0].c, none = c.status === 'no-panel', alike = none || list.every((x) => x.c.help === c.help), work = h('div', {});
  const img = h('img', { src: none ? c.plain : c.thumb, alt: 'The capture ' + base(c.name) + ', which could not be read.', onerror: (e) => { e.target.replaceWith(h('p', { class: 'gone' }, none ? 'No picture of it was kept; triage with --pictures all keeps them.' : 'The file holds no picture that could be shown.')); } });
  return h('section', { class: 'check lack', 'aria-label': 'Captures that could not be read' },
    h('h3', {}, list.length + (list.length === 1 ? ' capture' : ' captures') + (none ? ' of ' + c.w + ' × ' + c.h + ' pixels: no side-scan found' : ': not a readable picture')),
    h('div', { class: 'lostone' }, h('div', { class: 'pic' }, img), h('div', {}, h('p', {}, alike ? c.help : 'For reasons of their own, which stand beside their names.'),
      none ? h('div', { class: 'acts' }, button('Outline the side-scan', () => { outline(work, c); }, { class: 'main' })) : null,
      h('details', { class: 'why', open: list.length < 4 || !alike }, h('summary', {}, 'Which'), h('ul', {}, ...list.slice(0, 100).map((x) => h('li', {}, x.c.name + (!alike || x.c.help !== c.help ? ': ' + x.c.help : ''))), list.length > 100 ? h('li', {}, 'and ' + (list.length - 100) + ' more') : null)))),
    work);
}
// outline lets a person say once where the side-scan lies on screens of one size.
function outline(host, c) {
  const old = data.layouts.find((l) => l.width === c.w && l.height === c.h);
  const v = { box: old && old.panel ? { ...old.panel } : null, nadir: old && old.nadir ? old.nadir : -1, side: old && old.side ? old.side : '', byHand: false, start: null };
  const img = h('img', { src: c.plain, alt: '', draggable: 'false' });
  const svg = s('svg', { viewBox: '0 0 ' + c.w + ' ' + c.h, 'aria-hidden': 'true' });
  const pad = h('div', { class: 'frame pad', role: 'group', 'aria-label': 'The capture. Drag a box around the side-scan, then click the middle line, the nadir. The numbers below say the same.' }, img, svg);
  const field = (name, get, set) => { const el = h('input', { type: 'number', min: 0, 'aria-label': name, oninput: () => { set(Math.round(Number(el.value))); paint(el); } }); el.get = get; return el; };
  const box = () => v.box || (v.box = { x: 0, y: 0, w: c.w, h: c.h });
  const fields = [['left', 'x'], ['top', 'y'], ['width', 'w'], ['height', 'h']].map(([n, k]) => [n, field(n + ' of the side-scan in pixels', () => v.box ? v.box[k] : '', (x) => { box()[k] = x; })]);
  fields.push(['nadir', field('column of the nadir in pixels', () => v.nadir >= 0 ? v.nadir : '', (x) => { v.nadir = x; v.byHand = true; })]);
  const side = h('select', { onchange: (e) => { v.side = e.target.value; if (v.side && !v.byHand) v.nadir = -1; paint(); } }, ...[['', 'both sides'], ['port', 'port only'], ['starboard', 'starboard only']].map(([x, t]) => h('option', { value: x, selected: x === v.side }, t)));
  const trouble = h('p', { role: 'alert' }), after = h('div', {});
  const at = (e) => { const r = pad.getBoundingClientRect(); return [Math.min(c.w, Math.max(0, (e.clientX - r.left) * c.w / r.width)), Math.min(c.h, Math.max(0, (e.clientY - r.top) * c.h / r.height))]; };
  pad.addEventListener('pointerdown', (e) => { if (e.button) return; e.preventDefault(); try { pad.setPointerCapture(e.pointerId); } catch (err) { /* the pointer is gone already */ } v.start = at(e); v.drag = false; });
  pad.addEventListener('pointermove', (e) => {
    if (!v.start) return;
    const p = at(e);
    if (!v.drag && Math.hypot(p[0] - v.start[0], p[1] - v.start[1]) * pad.clientWidth / c.w < 6) return;
    v.drag = true;
    const x0 = Math.round(Math.min(p[0], v.start[0])), y0 = Math.round(Math.min(p[1], v.start[1]));
    v.box = { x: x0, y: y0, w: Math.round(Math.max(p[0], v.start[0])) - x0, h: Math.round(Math.max(p[1], v.start[1])) - y0 };
    paint();
  });
  pad.addEventListener('pointerup', (e) => {
    if (!v.start) return;
    if (!v.drag) { v.nadir = Math.max(1, Math.min(c.w - 1, Math.round(at(e)[0]))); v.byHand = true; say('Nadir at column ' + v.nadir + '.'); } else if (!v.byHand || v.nadir < v.box.x || v.nadir >= v.box.x + v.box.w) { v.byHand = false; v.nadir = v.side === '' ? Math.round(v.box.x + v.box.w / 2) : -1; say('Box drawn. Click the middle line, the nadir, if it is not where the line is now.'); }
    v.start = null;
    paint();
  });
  function paint(from) {
    fields.forEach(([, el]) => { if (el !== from) el.value = el.get(); });
    const b = v.box;
    svg.replaceChildren(...(b ? [s('path', { class: 'veil', 'fill-rule': 'evenodd', d: 'M0 0H' + c.w + 'V' + c.h + 'H0Z M' + b.x + ' ' + b.y + 'h' + b.w + 'v' + b.h + 'h' + -b.w + 'Z' }), s('rect', { class: 'case', x: b.x, y: b.y, width: b.w, height: b.h }), s('rect', { class: 'ln panelbox', x: b.x, y: b.y, width: b.w, height: b.h })] : []),
      ...(v.nadir >= 0 ? [s('line', { class: 'case', x1: v.nadir, x2: v.nadir, y1: b ? b.y : 0, y2: b ? b.y + b.h : c.h }), s('line', { class: 'ln nadirline', x1: v.nadir, x2: v.nadir, y1: b ? b.y : 0, y2: b ? b.y + b.h : c.h })] : []));
  }
  async function save() {
    trouble.textContent = '';
    const b = v.box;
    if (!b && v.nadir < 0) { trouble.textContent = 'Drag a box around the side-scan, or click its middle line, the nadir.'; return; }
    if (b && (b.w < 40 || b.h < 40 || b.x < 0 || b.y < 0 || b.x + b.w > c.w || b.y + b.h > c.h)) { trouble.textContent = 'The box must lie in the picture of ' + c.w + ' × ' + c.h + ' pixels and be 40 pixels wide and high at least.'; return; }
    if (b && v.nadir >= 0 && (v.nadir < b.x || v.nadir >= b.x + b.w)) { trouble.textContent = 'The nadir lies outside the box: click it inside.'; return; }
    const l = { width: c.w, height: c.h, ...(b ? { panel: b } : {}), ...(v.nadir > 0 ? { nadir: v.nadir } : {}), ...(v.side ? { side: v.side } : {}) };
    data.layouts = data.layouts.filter((o) => o.width !== c.w || o.height !== c.h).concat(l);
    if (served) {
      try {
        const res = await fetch('api/layout', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(l) });
        if (!res.ok) throw new Error((await res.text()).slice(0, 300));
      } catch (e) { trouble.textContent = 'Not kept: ' + e.message; return; }
    } else saveFile('layout.json', 'application/json', JSON.stringify({ schema: 1, layouts: data.layouts }, null, 1));
    after.replaceChildren(h('p', {}, h('strong', {}, 'Kept for every capture of ' + c.w + ' × ' + c.h + ' pixels.'), served ? ' Read them again with' : ' Put the downloaded layout.json into the run folder and read them again with'), command(data.again));
    say('Kept. Read the captures again with the command shown.');
  }
  host.replaceChildren(h('p', {}, 'Drag a box around the side-scan with the mouse: only the echo picture, no charts, bars or numbers. Then click its middle line, the nadir. That is enough for every capture of this size. A click on the nadir alone is enough where only that was missed.'),
    pad, h('div', { class: 'acts' }, ...fields.map(([n, el]) => h('label', {}, n + ' ', el)), h('label', {}, 'it shows ', side)), trouble,
    h('div', { class: 'acts' }, button('Keep', save, { class: 'main' }), button('Cancel', () => host.replaceChildren())), after);
  paint();
  pad.scrollIntoView({ block: 'nearest' });
}
