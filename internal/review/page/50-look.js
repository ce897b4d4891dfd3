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
  const chart = h('div', { class: 'alt' });
  const info = h('span', { class: 'soft', role: 'status' });
  const panels = d.panels || [];
  const canGround = panels.some((p) => p.nadir.length && p.altPx.length);
  const bLines = button('Outlines', () => { v.lines = !v.lines; paint(); }, { 'aria-pressed': 'true' }, 'h');
  const bGround = button('Slant-corrected', () => setGround(!v.ground), { 'aria-pressed': 'false', disabled: !canGround }, 'g');
  const bDraw = button('Draw a missed mark', () => setDraw(!v.drawing), { 'aria-pressed': 'false' }, 'd');
  host.replaceChildren(h('div', { class: 'look' },
    h('div', { class: 'lookbar' }, button('Zoom in', () => zoom(1.4), {}, '+'), button('Zoom out', () => zoom(1 / 1.4), {}, '-'), button('All of it', () => fit(), {}, '0'), bLines, bGround, bDraw, info),
    port, h('div', { class: 'draw', hidden: true }), panels.some((p) => p.alt.length) ? h('details', { class: 'under' }, h('summary', {}, 'Altitude over the bottom'), chart) : chart));
  const form = host.querySelector('.draw');
  stage.style.width = d.w + 'px'; stage.style.height = d.h + 'px';
  img.style.width = d.w + 'px';
  img.addEventListener('error', () => {
    if (v.plain) { v.plain = false; bLines.disabled = true; bGround.disabled = true; v.lines = false; img.src = d.drawn; paint(); return; }
    img.hidden = true;
    port.append(h('p', { class: 'gone' }, noPicture));
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
    thinLabels();
    const win = chart.querySelector('.win');
    if (win) { const r0 = Math.max(0, -v.y / v.k), r1 = Math.min(d.h, (p.h - v.y) / v.k); win.setAttribute('y', chart.row(r0)); win.setAttribute('height', Math.max(0, chart.row(r1) - chart.row(r0))); }
  }
  // thinLabels hides numbers that would lie on each other at this zoom, the names of fields first; the picked mark's number always shows.
  function thinLabels() {
    const rank = (t) => t.classList.contains('on') ? 0 : t.classList.contains('number') ? 1 : 2;
    const kept = [], all = [...svg.querySelectorAll('.number, .field')].sort((a, b) => rank(a) - rank(b));
    for (const t of all) {
      const x = Number(t.getAttribute('x')) * v.k, y = Number(t.getAttribute('y')) * v.k, wide = rank(t) > 1 ? 84 : 20;
      const near = kept.some((q) => q[0] - x > -20 && q[0] - x < wide && Math.abs(q[1] - y) < 16);
      t.style.display = near ? 'none' : '';
      if (!near) kept.push([x, y]);
    }
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
    const kids = [], names = []; // names lie over all frames
    let lost = 0;
    bLines.setAttribute('aria-pressed', String(v.lines));
    const mapFor = (p) => v.ground && p ? (x, row) => ground(p, x, row) : (x) => x;
    const panelAt = (b) => panels.find((p) => b.x < p.box.x + p.box.w && b.x + b.w > p.box.x && b.y < p.box.y + p.box.h && b.y + b.h > p.box.y);
    if (v.lines) {
      for (const p of panels) {
        kids.push(path(p.nadir.map((q) => [q[1], q[0]]), 'nadir'));
        if (!v.ground) kids.push(path(p.port.map((q) => [q[1], q[0]]), 'first'), path(p.star.map((q) => [q[1], q[0]]), 'first'));
        for (const u of p.humps || []) for (const [x, dx] of [[p.box.x + 3, 10], [p.box.x + p.box.w - 3, -10]]) kids.push(path([[x + dx, u.rows[0]], [x, u.rows[0]], [x, u.rows[1]], [x + dx, u.rows[1]]], 'hump'));
        if (!v.ground) for (const r of p.regions || []) kids.push(s('rect', { class: 'region', x: r.box.x, y: r.box.y, width: r.box.w, height: r.box.h }));
        if (!v.ground) for (const r of p.regions || []) names.push(s('text', { class: 'field', x: r.box.x, y: r.box.y - 2, dy: '-0.3em' }, r.kind.replace('-', ' ')));
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
        const on = j === open.at ? ' on' : '';
        kids.push(s('g', { class: 'mk' + on }, ...parts));
        names.push(s('text', { class: 'number' + on, x: x === null ? m.box.x : x, y: m.box.y - 2, dy: '-0.3em' }, String(j + 1)));
      });
      state.missed.filter((q) => q.capture === c.name).forEach((q, n) => {
        const b = q.highlight || q.shadow;
        const parts = [q.highlight, q.shadow].filter(Boolean).flatMap((o) => frame(o, q.class, mapFor(panelAt(b))));
        const x = mapFor(panelAt(b))(b.x, b.y + b.h / 2);
        if (x !== null) names.push(s('text', { x: x, y: b.y - 2, dy: '-0.3em' }, 'M' + (n + 1)));
        kids.push(s('g', {}, ...parts));
      });
      kids.push(...names);
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
