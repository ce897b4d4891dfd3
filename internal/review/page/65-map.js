/* ---- the map: drawn from the run's own data ---- */

const chart = { el: null, k: 1, x: 0, y: 0, sel: null, strip: -1, unit: data.unit, shapes: [], pictures: new Map(), only: false };
const rad = (deg) => deg * Math.PI / 180;
// edges are the corners of a strip on the ground, metres east and north.
function edges(p) {
  const port = [], star = [];
  for (const [e, n, c] of p.way) {
    const x = Math.cos(rad(c)), y = -Math.sin(rad(c)); // to starboard
    port.push([e - x * p.reach[0], n - y * p.reach[0]]);
    star.push([e + x * p.reach[1], n + y * p.reach[1]]);
  }
  const ring = port.concat(star.reverse());
  let area = 0;
  ring.forEach((a, i) => { const b = ring[(i + 1) % ring.length]; area += a[0] * b[1] - b[0] * a[1]; });
  return area < 0 ? ring.reverse() : ring; // all turn the same way, so that together they fill without holes
}
function openMap() {
  const host = $('v-map');
  if (chart.el) { sizeMap(); return; }
  if (!data.map) {
    host.replaceChildren(h('h2', { id: 'map-h', tabindex: '-1' }, 'Map'), h('div', { class: 'panel' }, h('p', {}, 'Nothing in this run has a place: that takes the boat’s track and the captures’ times, or a manifest with positions.'),
      h('p', {}, h('a', { class: 'button', href: '#checkup' }, 'See what is missing'))));
    return;
  }
  chart.shapes = data.map.strips.map((p) => ({ p: p, ring: edges(p) }));
  chart.el = h('canvas', { tabindex: '0', role: 'img', 'aria-describedby': 'map-say', 'aria-label': 'Map of the run: ' + data.map.strips.length + ' captures and ' + data.things.filter((t) => t.xy && !t.dull).length + ' things with a place.' });
  const only = h('input', { type: 'checkbox', onchange: (e) => { chart.only = e.target.checked; drawMap(); } });
  host.replaceChildren(
    h('div', { class: 'line' }, h('h2', { id: 'map-h', tabindex: '-1' }, 'Map'),
      h('div', { class: 'acts' }, button('Zoom in', () => zoomMap(1.5), {}, '+'), button('Zoom out', () => zoomMap(1 / 1.5), {}, '-'), button('All of it', () => fitMap(), {}, '0'),
        button('Scale in ' + (chart.unit === 'm' ? 'feet' : 'metres'), (e) => { chart.unit = chart.unit === 'm' ? 'ft' : 'm'; e.target.textContent = 'Scale in ' + (chart.unit === 'm' ? 'feet' : 'metres'); drawMap(); }), h('label', { class: 'tick' }, only, 'only where to go first'))),
    h('div', { class: 'chart' }, h('div', { class: 'sea' }, chart.el),
      h('div', { class: 'beside' }, h('div', { id: 'map-card' }), h('h3', {}, 'In view, best first'), h('ul', { id: 'map-list' }),
        h('p', { class: 'soft', id: 'map-say' }, (data.map.known ? 'Line: the boat’s track.' : 'Line: the boat’s way as far as its marks tell; --track gives all of it.') + ' Square: lies on the bottom; circle: hangs in the water; triangle: stands up; numbers: where to go first. Shaded: bottom that was seen. Rings: within one standard deviation of the place. Click a thing or a capture’s strip; drag, wheel, arrow keys, + and - move the map. It is no chart: not for navigation.'))));
  wireMap(chart.el);
  new ResizeObserver(() => sizeMap()).observe(chart.el.parentElement);
  sizeMap();
}
function sizeMap() {
  const box = chart.el.parentElement, w = box.clientWidth, hh = box.clientHeight, dpr = window.devicePixelRatio || 1;
  if (!w || !hh) return;
  const first = !chart.w;
  if (chart.el.width !== Math.round(w * dpr) || chart.el.height !== Math.round(hh * dpr)) { chart.el.width = Math.round(w * dpr); chart.el.height = Math.round(hh * dpr); }
  Object.assign(chart, { w: w, h: hh, dpr: dpr });
  if (first) fitMap(); else drawMap();
  if (first && chart.want) { const t = chart.want; chart.want = null; pickOnMap(t, true); }
}
function fitMap() {
  const all = chart.shapes.flatMap((q) => q.ring).concat(...data.map.track, data.things.filter((t) => t.xy && !t.dull).map((t) => t.xy));
  if (!all.length) return;
  let [x0, x1, y0, y1] = [Infinity, -Infinity, Infinity, -Infinity];
  for (const [e, n] of all) { x0 = Math.min(x0, e); x1 = Math.max(x1, e); y0 = Math.min(y0, n); y1 = Math.max(y1, n); }
  chart.x = (x0 + x1) / 2; chart.y = (y0 + y1) / 2;
  chart.k = Math.min(chart.w / Math.max(10, x1 - x0), chart.h / Math.max(10, y1 - y0)) * 0.92;
  drawMap();
}
function zoomMap(f, px, py) {
  if (px === undefined) { px = chart.w / 2; py = chart.h / 2; }
  const e = chart.x + (px - chart.w / 2) / chart.k, n = chart.y - (py - chart.h / 2) / chart.k;
  chart.k = Math.min(200, Math.max(0.002, chart.k * f));
  chart.x = e - (px - chart.w / 2) / chart.k; chart.y = n + (py - chart.h / 2) / chart.k;
  drawMap();
}
const onX = (e) => (e - chart.x) * chart.k + chart.w / 2;
const onY = (n) => (chart.y - n) * chart.k + chart.h / 2;
const placed = () => { const ten = new Set(firstThings()); return data.things.filter((t) => { if (!t.xy) return false; const st = thingState(t); return st.verdict !== 'reject' && st.cls !== 'clutter' && (!t.dull || st.verdict || st.cls) && (!chart.only || ten.has(t)); }); };
let mapAsked = false;
function drawMap() {
  if (mapAsked) return;
  mapAsked = true;
  requestAnimationFrame(() => { mapAsked = false; if (chart.w && view === 'map') paintMap(); });
}
function paintMap() {
  const g = chart.el.getContext('2d'), css = getComputedStyle(document.documentElement), v = (n) => css.getPropertyValue(n).trim();
  g.setTransform(chart.dpr, 0, 0, chart.dpr, 0, 0);
  g.fillStyle = v('--sea'); g.fillRect(0, 0, chart.w, chart.h);
  const trace = (pts) => pts.forEach((p, i) => { if (i) g.lineTo(onX(p[0]), onY(p[1])); else g.moveTo(onX(p[0]), onY(p[1])); });
  g.beginPath();
  for (const q of chart.shapes) { trace(q.ring); g.closePath(); }
  g.fillStyle = v('--swath'); g.fill();
  drape(g);
  const picked = chart.shapes.find((q) => q.p.c === chart.strip);
  if (picked) {
    g.beginPath(); trace(picked.ring); g.closePath(); g.lineWidth = 2; g.strokeStyle = v('--accent'); g.setLineDash(picked.p.guess ? [6, 4] : []); g.stroke(); g.setLineDash([]);
  }
  g.lineJoin = 'round';
  g.setLineDash(data.map.known ? [] : [8, 5]);
  for (const run of data.map.track) { g.beginPath(); trace(run); g.lineWidth = 1.6; g.strokeStyle = v('--soft'); g.stroke(); }
  g.setLineDash([]);
  const ten = firstThings(), list = placed();
  for (const t of list.slice().reverse()) sighting(g, t, ten.indexOf(t), v);
  placeNumbers(g, ten.map((t, n) => [t, n + 1]).filter(([t]) => list.includes(t)), v);
  furniture(g, v);
  inView(list);
}
const shades = { 'bottom-object': '#E69F00', 'suspended-target': '#56B4E9', 'raised-structure': '#009E73', clutter: '#CC79A7' };
function sighting(g, t, rank, v) {
  const x = onX(t.xy[0]), y = onY(t.xy[1]), r = t.pos[2] * chart.k, big = t === chart.sel;
  if (x < -r - 20 || y < -r - 20 || x > chart.w + r + 20 || y > chart.h + r + 20) return;
  const cls = thingState(t).cls || classes[t.c].id;
  if (r > 7 && r < 2000) {
    g.beginPath(); g.arc(x, y, r, 0, 7); g.lineWidth = big ? 2.5 : 1; g.strokeStyle = v('--fg'); g.globalAlpha = big || rank >= 0 ? 0.9 : 0.35; g.stroke(); g.globalAlpha = 1;
  }
  const a = big ? 8 : rank >= 0 ? 7 : 4.5; // one shape a class, so that colour alone tells nothing
  g.beginPath();
  if (cls === 'suspended-target') g.arc(x, y, a, 0, 7);
  else if (cls === 'raised-structure') { g.moveTo(x, y - a * 1.2); g.lineTo(x + a * 1.1, y + a * 0.8); g.lineTo(x - a * 1.1, y + a * 0.8); g.closePath(); }
  else g.rect(x - a * 0.85, y - a * 0.85, a * 1.7, a * 1.7);
  g.fillStyle = shades[cls] || shades.clutter; g.fill(); g.lineWidth = big ? 3 : 1.5; g.strokeStyle = v('--fg'); g.stroke();
}
// placeNumbers writes the numbers of where to go first beside their signs, over all signs, and off each other and each other's signs.
function placeNumbers(g, list, v) {
  g.font = '700 14px system-ui, sans-serif'; g.textAlign = 'center'; g.textBaseline = 'middle'; g.lineWidth = 4; g.lineJoin = 'round';
  const taken = list.map(([t]) => [onX(t.xy[0]), onY(t.xy[1])]);
  list.forEach(([, n], i) => {
    const [x, y] = taken[i], free = (p) => taken.every((q, k) => k === i || Math.abs(q[0] - p[0]) > 17 || Math.abs(q[1] - p[1]) > 15);
    const spots = [[x + 17, y], [x - 17, y], [x, y - 17], [x, y + 17], [x + 15, y - 14], [x - 15, y - 14], [x + 15, y + 14], [x - 15, y + 14]];
    const at = spots.find(free) || spots[0];
    taken.push(at);
    g.strokeStyle = v('--card'); g.strokeText(String(n), ...at); g.fillStyle = v('--fg'); g.fillText(String(n), ...at);
  });
}
// furniture draws the scale bar and north.
function furniture(g, v) {
  const per = chart.unit === 'ft' ? 0.3048 : 1, most = 140 / chart.k / per, m = Math.pow(10, Math.floor(Math.log10(most)));
  const len = [5, 2, 1].map((q) => q * m).find((q) => q <= most), px = len * per * chart.k, x = 16, y = chart.h - 18;
  g.fillStyle = v('--card'); g.fillRect(x - 8, y - 24, px + 16, 34);
  g.strokeStyle = g.fillStyle = v('--fg'); g.lineWidth = 2;
  g.beginPath(); g.moveTo(x, y - 5); g.lineTo(x, y); g.lineTo(x + px, y); g.lineTo(x + px, y - 5); g.stroke();
  g.font = '13px system-ui, sans-serif'; g.textAlign = 'center'; g.textBaseline = 'alphabetic'; g.fillText(Number(len.toPrecision(3)) + ' ' + chart.unit, x + px / 2, y - 8);
  const nx = chart.w - 26, ny = 46;
  g.fillStyle = v('--card'); g.fillRect(nx - 16, ny - 40, 32, 58);
  g.fillStyle = v('--fg'); g.beginPath(); g.moveTo(nx, ny - 18); g.lineTo(nx + 7, ny + 12); g.lineTo(nx, ny + 6); g.lineTo(nx - 7, ny + 12); g.closePath(); g.fill();
  g.font = '700 14px system-ui, sans-serif'; g.fillText('N', nx, ny - 22);
  chart.bar = { len: len, unit: chart.unit, px: px };
}
// drape lays the picked capture's own picture on its strip, columns at ground range.
function drape(g) {
  const q = chart.shapes.find((x) => x.p.c === chart.strip), d = q && detailOf(q.p.c), panel = d && (d.panels || [])[0];
  if (!panel) return;
  let img = chart.pictures.get(d.plain);
  if (!img) {
    img = new Image();
    img.decoding = 'async';
    img.onload = drawMap;
    img.src = d.plain;
    chart.pictures.clear(); // one is enough
    chart.pictures.set(d.plain, img);
  }
  if (!img.complete || !img.naturalWidth) return;
  const p = q.p, cuts = [0, 1, 2, 3, 4, 6, 8, 11, 15, 20, 26, 33, 41, 50, 60, 72, 86, 100].map((c) => c / 100);
  g.save();
  const fine = p.way.flatMap((a, i) => { // the first return bends more than the boat's way
    const b = p.way[i + 1];
    return b ? [0, 1, 2, 3].map((k) => a.map((v, n) => n === 2 ? v : v + (b[n] - v) * k / 4)) : [a];
  });
  for (let i = 0; i + 1 < fine.length; i++) {
    const a = fine[i], b = fine[i + 1], r0 = Math.min(a[3], b[3]), dr = Math.abs(b[3] - a[3]);
    if (!dr) continue;
    const up = b[3] < a[3], from = up ? b : a, to = up ? a : b;
    const nadir = interpolate(panel.nadir, (a[3] + b[3]) / 2, 1), alt = interpolate(panel.altPx, (a[3] + b[3]) / 2, 1) || 0;
    if (nadir === null) continue;
    const sx = Math.cos(rad(from[2])), sy = -Math.sin(rad(from[2])), k = chart.k;
    g.setTransform(chart.dpr * sx * k, chart.dpr * -sy * k, chart.dpr * (to[0] - from[0]) / dr * k, chart.dpr * -(to[1] - from[1]) / dr * k, chart.dpr * onX(from[0]), chart.dpr * onY(from[1]));
    for (const dir of [-1, 1]) {
      const reach = dir < 0 ? nadir - panel.box.x : panel.box.x + panel.box.w - nadir;
      const most = Math.sqrt(Math.max(0, reach * reach - alt * alt));
      for (let c = 1; c < cuts.length; c++) {
        const g0 = cuts[c - 1] * most, g1 = cuts[c] * most, s0 = Math.hypot(g0, alt), s1 = Math.hypot(g1, alt);
        if (s1 - s0 < 0.01) continue;
        const m0 = g0 * p.k, m1 = g1 * p.k;
        g.drawImage(img, dir < 0 ? nadir - s1 : nadir + s0, r0, s1 - s0, dr, dir < 0 ? -m1 : m0, 0, m1 - m0, dr + 0.6);
      }
    }
  }
  g.restore();
  g.setTransform(chart.dpr, 0, 0, chart.dpr, 0, 0);
}
let listTimer = 0;
function inView(list) {
  clearTimeout(listTimer);
  listTimer = setTimeout(() => {
    const seen = list.filter((t) => { const x = onX(t.xy[0]), y = onY(t.xy[1]); return x >= 0 && y >= 0 && x <= chart.w && y <= chart.h; }).slice(0, 12);
    const ten = firstThings();
    $('map-list').replaceChildren(...seen.map((t) => h('li', {}, badge(thingState(t).cls || classes[t.c].id, ten.includes(t) ? String(ten.indexOf(t) + 1) : classes[t.c].short.slice(0, 1).toUpperCase()),
      h('button', { type: 'button', class: 'link', onclick: () => pickOnMap(t, false) }, t.say))));
  }, 150);
}
function pickOnMap(t, centre) {
  if (!chart.w) { chart.want = t; return; }
  chart.sel = t;
  chart.strip = t.m[0][0];
  if (centre) { chart.x = t.xy[0]; chart.y = t.xy[1]; chart.k = Math.max(chart.k, Math.min(chart.w, chart.h) / 90); }
  mapCard();
  drawMap();
}
function mapCard() {
  const t = chart.sel, i = chart.strip, box = $('map-card');
  if (!box) return;
  if (t) {
    const st = thingState(t);
    const decideOn = (a) => { decideAll(onAll([t], { action: a }), t.say.replace(/\.$/, '') + ': ' + inPast[a] + '.'); mapCard(); };
    box.replaceChildren(h('article', { class: 'card active', tabindex: '-1' },
      h('header', {}, badge(st.cls || classes[t.c].id, classes[t.c].short.slice(0, 1).toUpperCase()), h('h3', {}, t.say), h('span', { class: 'state ' + (st.verdict || '') }, sign[st.verdict] || 'open')),
      h('img', { class: 'chip', src: t.chip, alt: t.alt, onerror: (e) => { e.target.hidden = true; } }), facts(t),
      h('div', { class: 'acts' }, ...[['accept', 'Accept'], ['reject', 'Reject'], ['unsure', 'Unsure']].map(([a, text]) => button(text, () => decideOn(a), { 'aria-pressed': String(st.verdict === a) }))),
      h('div', { class: 'acts' }, button('Go to the mark', () => openAt(t), {}, 'o'), button('Look closer', () => lookCloser(t)))));
    say(t.say);
  } else if (i >= 0) {
    const c = data.captures[i];
    box.replaceChildren(h('article', { class: 'card active' }, h('h3', {}, base(c.name)), headLine(i), h('img', { class: 'chip', src: c.thumb, alt: '', onerror: (e) => { e.target.hidden = true; } }),
      chart.shapes.find((q) => q.p.c === i).p.guess ? h('p', { class: 'soft' }, 'Its rows a second are unknown, so its length on the map is a guess.') : null,
      h('div', { class: 'acts' }, button('Open the capture', () => { go('captures'); openCapture(i, true); }))));
    say('Capture ' + base(c.name));
  } else box.replaceChildren();
}
function hit(x, y) {
  let best = null, least = 14 * 14;
  for (const t of placed()) { const d = (onX(t.xy[0]) - x) ** 2 + (onY(t.xy[1]) - y) ** 2; if (d < least) { least = d; best = t; } }
  return best;
}
function stripAt(x, y) {
  const e = chart.x + (x - chart.w / 2) / chart.k, n = chart.y - (y - chart.h / 2) / chart.k;
  const inside = chart.shapes.filter(({ ring }) => { let in_ = false; for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) { const [xi, yi] = ring[i], [xj, yj] = ring[j]; if ((yi > n) !== (yj > n) && e < (xj - xi) * (n - yi) / (yj - yi) + xi) in_ = !in_; } return in_; });
  if (!inside.length) return -1;
  const k = inside.findIndex((q) => q.p.c === chart.strip); // where strips lie on each other, each click shows the next
  return inside[(k + 1) % inside.length].p.c;
}
function wireMap(el) {
  const fingers = new Map();
  let moved = 0;
  const at = (e) => { const r = el.getBoundingClientRect(); return [e.clientX - r.left, e.clientY - r.top]; };
  el.addEventListener('wheel', (e) => { e.preventDefault(); zoomMap(Math.exp(-e.deltaY / 400), ...at(e)); }, { passive: false });
  el.addEventListener('pointerdown', (e) => { if (e.button) return; try { el.setPointerCapture(e.pointerId); } catch (err) { /* the pointer is gone already */ } fingers.set(e.pointerId, at(e)); moved = 0; });
  el.addEventListener('pointermove', (e) => {
    const was = fingers.get(e.pointerId), now = at(e);
    if (!was) { el.style.cursor = hit(...now) ? 'pointer' : 'grab'; return; }
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== e.pointerId)[1];
      zoomMap(Math.hypot(now[0] - other[0], now[1] - other[1]) / Math.max(1, Math.hypot(was[0] - other[0], was[1] - other[1])), (now[0] + other[0]) / 2, (now[1] + other[1]) / 2);
    } else { chart.x -= (now[0] - was[0]) / chart.k; chart.y += (now[1] - was[1]) / chart.k; drawMap(); }
    moved += Math.abs(now[0] - was[0]) + Math.abs(now[1] - was[1]);
    fingers.set(e.pointerId, now);
  });
  const lift = (e) => {
    if (!fingers.delete(e.pointerId) || e.type !== 'pointerup' || moved > 4) return;
    const t = hit(...at(e));
    if (t) { pickOnMap(t, false); return; }
    chart.sel = null; chart.strip = stripAt(...at(e));
    mapCard(); drawMap();
  };
  el.addEventListener('pointerup', lift);
  el.addEventListener('pointercancel', lift);
}
function panMap(key) {
  const by = 60 / chart.k;
  chart.x += { ArrowLeft: -by, ArrowRight: by }[key] || 0; chart.y += { ArrowUp: by, ArrowDown: -by }[key] || 0;
  drawMap();
}
// stepMap picks the next or last thing in the order of their worth.
function stepMap(by) {
  const list = placed(), k = list.indexOf(chart.sel) + by;
  if (!list.length || (chart.sel === null && by < 0) || k < 0 || k >= list.length) { say('This is the last one.'); return; }
  pickOnMap(list[k], true);
}
function onMap(t) { chart.want = t; go('map'); if (chart.w && chart.want) { chart.want = null; pickOnMap(t, true); } }
