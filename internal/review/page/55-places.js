/* ---- where to go first ---- */

let placesShown = 10;
// standing of a place's things: those that a reviewer did not throw out
const leftOf = (p) => p.things.map((n) => data.things[n]).filter((t) => { const st = thingState(t); return st.verdict !== 'reject' && st.cls !== 'clutter'; });
const worth = () => data.places.filter((p) => !p.things.length || leftOf(p).length);
const firstThings = () => worth().slice(0, 10).map((p) => leftOf(p)[0]);
function paintPlaces() {
  const all = worth(), list = all.slice(0, placesShown);
  $('places-p').textContent = !data.captures.length ? 'This run holds no captures.' : !list.length ? 'Nothing that is there at better than even odds was found in ' + data.captures.length + ' captures.' :
    'The ' + (list.length === 1 ? 'best place' : list.length + ' best places') + ' of ' + Math.max(all.length, data.placesOf) + ' in ' + data.captures.length + ' captures, best first; what was seen several times is one.';
  $('places-l').replaceChildren(...list.map((p, n) => {
    const left = leftOf(p), t = left[0], st = t ? thingState(t) : {}, note = st.note || p.note, name = st.name || p.name;
    return h('li', { class: 'place' },
      h('img', { src: p.chip, alt: p.alt, loading: n < 4 ? 'eager' : 'lazy', decoding: 'async', onerror: (e) => { if (p.spare && !e.target.src.endsWith(p.spare)) e.target.src = p.spare; else e.target.hidden = true; } }),
      h('div', {},
        h('h3', {}, badge(st.cls || classes[p.c].id, String(n + 1)), h('span', {}, name ? name + ': ' + p.say : p.say)),
        facts(p),
        st.verdict || note ? h('p', {}, h('strong', { class: 'state ' + (st.verdict || '') }, sign[st.verdict] || ''), note ? ' “' + note + '”' : '') : null,
        h('p', { class: 'soft path' }, p.in + (p.seen > 1 ? ' and ' + (p.seen - 1) + ' more' : '')),
        h('details', { class: 'why' }, h('summary', {}, 'Why: ' + (p.why[0] || 'see its odds')), t ? h('p', {}, odds(t)) : null, h('ul', {}, ...p.why.slice(1).map((w) => h('li', {}, w)))),
        h('p', { class: 'why printonly' }, 'Why: ' + p.why.slice(0, 2).join('; ') + '.'),
        t ? h('div', { class: 'acts noprint' }, button('Look closer', () => lookCloser(t)), p.xy ? button('On the map', () => onMap(t)) : null) : null));
  }));
  const more = $('b-more-places');
  more.hidden = all.length <= placesShown;
  more.textContent = Math.min(10, all.length - placesShown) + ' more';
}
const odds = (t) => 'Odds: ' + classes.map((c, k) => [c.name, t.odds[k]]).sort((a, b) => b[1] - a[1]).map(([n, v]) => n + ' ' + pct(v)).join(', ') + '.';
$('b-more-places').addEventListener('click', () => { placesShown += 10; paintPlaces(); });
$('b-print').addEventListener('click', () => window.print());
function lookCloser(t) { pickThing(t); location.hash = '#queue'; }
function openAt(t) {
  const [i, j] = t.m[0];
  go('captures');
  openCapture(i, true);
  if (quiet(data.captures[i].marks[j], thingState(t))) { filter.elements.clutter.checked = true; refilter(); }
  activate(j, true);
}

/* what could not be read comes first */
const lostOnes = data.captures.map((c, i) => ({ c: c, i: i })).filter((x) => x.c.status !== 'read');
function paintLost() {
  const n = lostOnes.length;
  $('bad-n').hidden = n === 0;
  $('bad-n').textContent = ' ' + n;
  const box = $('lost');
  box.hidden = n === 0;
  if (!n) return;
  const x = lostOnes.find((y) => y.c.status === 'no-panel') || lostOnes[0];
  box.replaceChildren(h('img', { src: x.c.thumb, alt: '', onerror: (e) => { e.target.hidden = true; } }),
    h('div', {}, h('p', {}, h('strong', {}, n + (n === 1 ? ' capture' : ' captures') + ' could not be read'), ', such as ' + base(x.c.name) + '. ' + x.c.help),
      h('p', { class: 'noprint' }, h('a', { class: 'button', href: '#checkup' }, x.c.status === 'no-panel' ? 'Outline the side-scan' : 'See what to do'))));
}
