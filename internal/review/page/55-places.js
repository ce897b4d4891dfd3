/* ---- where to go first ---- */

let placesShown = 10;
const worth = () => data.things.filter((t) => t.c !== clutter && thingState(t).verdict !== 'reject' && thingState(t).cls !== 'clutter');
function paintPlaces() {
  const all = worth(), list = all.slice(0, placesShown);
  $('places-p').textContent = !data.captures.length ? 'This run holds no captures.' : !list.length ? 'Nothing that is worth a look was found in ' + data.captures.length + ' captures.' :
    'The ' + (list.length === 1 ? 'best' : list.length + ' best') + ' of ' + all.length + ' things in ' + data.captures.length + ' captures' + (data.things.some((t) => t.m.length > 1) ? '; what was seen several times is one.' : '.');
  $('places').replaceChildren(...list.map((t, n) => {
    const st = thingState(t);
    return h('li', { class: 'place' },
      h('img', { src: t.chip, alt: t.alt, loading: n < 4 ? 'eager' : 'lazy', decoding: 'async', onerror: (e) => { e.target.hidden = true; } }),
      h('div', {},
        h('h3', {}, badge(st.cls || classes[t.c].id, String(n + 1)), h('span', {}, t.say)),
        facts(t),
        t.m.length > 1 ? h('p', { class: 'soft' }, 'Seen in ' + t.m.length + ' captures.') : null,
        st.verdict || st.note ? h('p', {}, h('strong', { class: 'state ' + (st.verdict || '') }, sign[st.verdict] || ''), st.note ? ' “' + st.note + '”' : '') : null,
        h('details', { class: 'why' }, h('summary', {}, 'Why'), h('p', {}, odds(t)), h('ul', {}, ...t.why.map((w) => h('li', {}, w)))),
        h('div', { class: 'acts noprint' }, button('Look closer', () => lookCloser(t)), t.xy ? button('On the map', () => onMap(t)) : null)));
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
