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
  $('more').open = false;
  const named = (d) => { const many = d.group ? log.filter((x) => x.group === d.group).length : 1; if (many > 1 && d.action !== 'undo') return inWords(d, many); const t = d.action === 'undo' ? log.find((x) => x.id === d.undoes) : null; return (t ? 'taken back: ' + inWords(t) : inWords(d)) + (d.capture ? ' in ' + base(d.capture) : ''); };
  $('history-l').replaceChildren(...log.filter((d, i) => !d.group || !log[i - 1] || log[i - 1].group !== d.group).slice(-200).reverse().map((d) => h('li', {},
    h('span', { class: state.cancelled.has(d.id) ? 'undone' : null }, String(d.at).replace('T', ' ').slice(0, 19) + ' UTC, ' + named(d)), state.cancelled.has(d.id) ? ' (taken back) ' : ' ',
    state.cancelled.has(d.id) ? null : button(d.action === 'undo' ? 'Do it again' : 'Take back', () => { undo(d.id); $('history').close(); }))));
  if (!log.length) $('history-l').append(h('li', {}, 'Nothing was decided yet.'));
  $('history').showModal();
});
$('b-save').addEventListener('click', () => {
  saveFile('decisions.json', 'application/json', JSON.stringify({ schema: 1, run: data.run, decisions: log }, null, 1));
  say(log.length + ' decisions downloaded.');
});
// The exports: from the server as decisions leave them now, else as they were when the page was written.
for (const [name, words, placed] of [['first.gpx', 'Ten places, GPX', true], ['places.kml', 'All places, KML', true], ['places.geojson', 'All places, GeoJSON', true], ['places.csv', 'All places, CSV', false], ['marks.csv', 'All marks, CSV', false]]) {
  if (!placed || data.map) $('take-along').append(h('a', { class: 'button', href: (served ? 'export/' : '') + name, download: name }, words));
}
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
      keep();
      warn('Taken in: ' + fresh.length + ' new decisions.');
    }
    fold();
    stale = false;
    items.forEach((_, i) => paintItem(i));
    paintOpen(null);
    repaint([]);
  } catch (e) { warn('Could not take in ' + f.name + ': ' + e.message); }
});
filter.addEventListener('input', refilter);
filter.addEventListener('reset', () => setTimeout(refilter, 0));
filter.addEventListener('submit', (e) => e.preventDefault());
