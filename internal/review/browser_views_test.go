package review

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/rs/zerolog"

	"shadowgap/detect"
)

// steps does something again and again until it returns false, a promise each, and calls after each. It returns how often.
func steps(t testing.TB, ctx context.Context, promise string, each func()) int {
	t.Helper()
	for n := 1; n <= 300; n++ {
		on := await[bool](t, ctx, promise)
		each()
		if !on {
			return n
		}
	}
	t.Fatal("no end after 300 steps")
	return 0
}

func await[T any](t testing.TB, ctx context.Context, expr string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expr, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", expr, err)
	}
	return v
}

// inPage gives the page's tests in a browser their words: painted waits until what was done is on the screen.
const inPage = `window.painted = () => new Promise((f) => requestAnimationFrame(() => setTimeout(f, 0)));
window.press = (key) => document.body.dispatchEvent(new KeyboardEvent('keydown', { key: key, bubbles: true }));
window.pressed = 0;
window.turns = 0`

// decideNext decides what is shown as a person in a hurry would, one key a step; it returns false when everything is decided.
const decideNext = `(async () => {
press('aru'[pressed++ % 3]);
await painted();
return document.getElementById('queue-h').textContent !== 'Everything is decided';
})()`

func TestBrowserReviewsFiveHundredCapturesInAHundredKeys(t *testing.T) {
	url := surveyPage(t, 500)
	ctx := browse(t, 1440, 900)
	do(t, ctx, chromedp.Navigate(url))
	until(t, ctx, `document.querySelectorAll('.place').length === 10`)
	until(t, ctx, `document.querySelector('.place img').naturalWidth > 0 && document.querySelectorAll('#list li').length === 500`)
	shoot(t, ctx, "places-500.png")
	do(t, ctx, run(`location.hash = '#queue'`))
	until(t, ctx, `document.querySelector('#v-queue .card') !== null`)
	t.Log("tally: " + js[string](t, ctx, `document.getElementById('tally').textContent`))
	shoot(t, ctx, "queue-single.png")

	// Reload in the midst: where one was.
	for range 3 {
		do(t, ctx, chromedp.KeyEvent("a"))
	}
	until(t, ctx, `document.getElementById('queue-h').textContent.startsWith('4 of')`)
	here := js[string](t, ctx, `document.getElementById('q-say').textContent`)
	do(t, ctx, chromedp.Reload())
	until(t, ctx, `document.querySelector('#v-queue .card') !== null`)
	again := js[string](t, ctx, `document.getElementById('queue-h').textContent.slice(0, 4) + document.getElementById('q-say').textContent`)
	if again != "4 of"+here {
		t.Errorf("after reloading one is at %q, want %q", again, "4 of"+here)
	}
	// Undo takes all looks at a thing back together, and the queue goes back to it.
	do(t, ctx, chromedp.KeyEvent("z"))
	until(t, ctx, `document.getElementById('queue-h').textContent.startsWith('3 of') &&
	document.querySelector('#v-queue .state').textContent === 'open'`)
	do(t, ctx, chromedp.KeyEvent("a"))
	until(t, ctx, `document.getElementById('queue-h').textContent.startsWith('4 of')`)
	if n := js[string](t, ctx, `document.getElementById('tally').textContent`); !strings.HasPrefix(n, "3 of ") {
		t.Errorf("tally %q after three decisions", n)
	}

	// The first bundle: what is taken out of it comes next, by itself.
	do(t, ctx, run(`const end = () => document.querySelectorAll('.tile').length > 0;
for (let k = 0; k < 100 && !end(); k++) document.body.dispatchEvent(new KeyboardEvent('keydown', { key: 'n', bubbles: true }))`))
	until(t, ctx, `document.querySelectorAll('.tile').length > 5`)
	shoot(t, ctx, "queue-bundle.png")
	odd := js[string](t, ctx, `(() => {
	const b = document.querySelectorAll('.tile')[2];
	b.click();
	return b.querySelector('span').textContent;
})()`)
	before := js[int](t, ctx, `document.querySelectorAll('.tile').length`)
	do(t, ctx, chromedp.KeyEvent("r"))
	until(t, ctx, `document.getElementById('q-say') !== null`)
	if got := js[string](t, ctx, `document.getElementById('q-say').textContent`); got != odd {
		t.Errorf("after the bundle of %d comes %q, want what was taken out, %q", before, got, odd)
	}
	done := 3 + 1 // decisions so far
	do(t, ctx, run(inPage))
	// What a step shows stays small, however long the run: that is what keeps the next item quick.
	most := 0
	done += steps(t, ctx, decideNext, func() {
		most = max(most, js[int](t, ctx, `document.querySelectorAll('#v-queue *').length`))
	})
	if done > 100 {
		t.Errorf("the run took %d decisions, want 100 at most", done)
	}
	t.Logf("500 captures were reviewed in %d keys, of %d elements at most", done, most)
	if most > 500 {
		t.Errorf("an item of the queue is made of %d elements", most)
	}
	tally := js[string](t, ctx, `document.getElementById('tally').textContent`)
	var a, b int
	if _, err := fmt.Sscanf(tally, "%d of %d", &a, &b); err != nil || a != b || b < 500 {
		t.Errorf("after the review the tally says %q", tally)
	}
	// Keys past the end change nothing.
	kept := `localStorage.getItem(Object.keys(localStorage).find(k => k.startsWith('shadowgap-decisions'))).length`
	n := js[int](t, ctx, kept)
	for _, k := range []string{"a", "r", "u", "4", "A", "R", "n"} {
		do(t, ctx, chromedp.KeyEvent(k))
	}
	if got := js[int](t, ctx, kept); got != n {
		t.Error("keys past the end of the queue changed something")
	}
	shoot(t, ctx, "queue-end.png")
	do(t, ctx, chromedp.Reload())
	until(t, ctx, `document.getElementById('queue-h').textContent === 'Everything is decided'`)
}

// What is scrolled and zoomed, a step each.
const (
	scroll = `(async () => { (%s).scrollTop += 500; await painted(); return ++turns %% 60 !== 0; })()`
	zoom   = `(async () => {
document.querySelector('.sea canvas').dispatchEvent(new WheelEvent('wheel',
	{ deltaY: turns % 60 < 30 ? -60 : 60, clientX: 500, clientY: 500, bubbles: true, cancelable: true }));
await painted();
return ++turns % 60 !== 0;
})()`
	morePlaces = `location.hash = '#places'; for (let k = 0; k < 9; k++) document.getElementById('b-more-places').click()`
	listed     = `document.querySelectorAll('#list li').length === 500 && document.querySelector('.card.active') !== null`
)

// Every view that scrolls scrolls, and nothing in it goes wrong on the way.
func TestBrowserScrollsFiveHundredCaptures(t *testing.T) {
	url := surveyPage(t, 500)
	ctx := browse(t, 1440, 900)
	do(t, ctx, chromedp.Navigate(url+"#captures"))
	until(t, ctx, listed)
	do(t, ctx, run(inPage))
	through := func(what, box string) {
		steps(t, ctx, fmt.Sprintf(scroll, box), func() {})
		if at := js[float64](t, ctx, `(`+box+`).scrollTop`); at < 1000 {
			t.Errorf("%s: scrolled to %.0f", what, at)
		}
	}
	through("captures", `document.getElementById('side')`)
	do(t, ctx, run(morePlaces))
	until(t, ctx, `document.querySelectorAll('.place').length > 60`)
	through("places", `document.scrollingElement`)
	do(t, ctx, run(`location.hash = '#map'`))
	until(t, ctx, `document.querySelectorAll('#map-list li').length > 0`)
	steps(t, ctx, zoom, func() {})
}

func TestBrowserMap(t *testing.T) {
	url := surveyPage(t, 60)
	ctx := browse(t, 1440, 900)
	do(t, ctx, chromedp.Navigate(url+"#map"))
	until(t, ctx, `document.querySelectorAll('#map-list li').length > 3`)
	shoot(t, ctx, "map-all.png")
	// The numbers on the map lie apart, and the list calls its things by them, not by numbers of its own.
	type number struct {
		N    string
		X, Y float64
	}
	do(t, ctx, run(`const write = CanvasRenderingContext2D.prototype.fillText; window.written = [];
		CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
			window.written.push({ N: text, X: x, Y: y });
			return write.call(this, text, x, y);
		}`), chromedp.KeyEvent("0"))
	const numbered = `window.written.filter((q) => /^\d+$/.test(q.N))`
	until(t, ctx, numbered+`.length >= 5`)
	numbers := js[[]number](t, ctx, numbered)
	for i, a := range numbers {
		for _, b := range numbers[:i] {
			if a.N != b.N && math.Abs(a.X-b.X) < 14 && math.Abs(a.Y-b.Y) < 12 {
				t.Errorf("numbers %v and %v lie on each other", a, b)
			}
		}
	}
	listed := js[[]string](t, ctx, `[...document.querySelectorAll('#map-list li')].map((li) => li.querySelector('.badge')?.textContent)`)
	known := map[string]bool{"S": true, "B": true, "R": true}
	for _, n := range numbers {
		known[n.N] = true
	}
	if len(listed) == 0 || slices.ContainsFunc(listed, func(s string) bool { return !known[s] }) ||
		js[int](t, ctx, `document.querySelectorAll('ol #map-list, ol#map-list').length`) > 0 {
		t.Errorf("the list calls its things %q; on the map are %v", listed, numbers)
	}
	do(t, ctx, chromedp.KeyEvent("n"))
	until(t, ctx, `document.querySelector('#map-card h3') !== null`)
	first := js[string](t, ctx, `document.querySelector('#map-card h3').textContent`)
	shoot(t, ctx, "map-picked.png")
	type rect struct{ X, Y, W, H float64 }
	r := js[rect](t, ctx, `(() => {
	const r = document.querySelector('.sea canvas').getBoundingClientRect();
	return { X: r.left, Y: r.top, W: r.width, H: r.height };
})()`)
	do(t, ctx, chromedp.MouseClickXY(r.X+r.W-60, r.Y+r.H-60))
	until(t, ctx, `document.querySelector('#map-card h3') === null || document.querySelector('#map-card h3').textContent !== `+jsString(first))
	do(t, ctx, chromedp.MouseClickXY(r.X+r.W/2, r.Y+r.H/2))
	until(t, ctx, `document.querySelector('#map-card h3')?.textContent === `+jsString(first))
	// Deciding there, then on to the mark itself.
	do(t, ctx, run(`document.querySelector('#map-card .acts button').click()`))
	until(t, ctx, `document.querySelector('#map-card .state').textContent === '✓ accepted'`)
	do(t, ctx, chromedp.KeyEvent("o"))
	until(t, ctx, `!document.getElementById('v-captures').hidden &&
	document.querySelector('.card.active h3')?.textContent.endsWith(`+jsString(first)+`)`)
	if got := js[string](t, ctx, `document.querySelector('.card.active .state').textContent`); got != "✓ accepted" {
		t.Errorf("the mark is %q after it was accepted on the map", got)
	}
	shoot(t, ctx, "map-mark.png")
}

func jsString(s string) string {
	b, _ := json.Marshal(s) // a string always can
	return string(b)
}

func TestBrowserOutlinesAScreenOnce(t *testing.T) {
	ctx := browse(t, 1440, 900)
	dir, caps, marks := testRun(t, 4)
	store := testStore(t)
	sctx, stop := context.WithCancel(context.Background())
	defer stop()
	ready, ended := make(chan string, 1), make(chan error, 1)
	opt := ServeOptions{RunDir: dir, Log: zerolog.Nop(), Ready: func(u string) { ready <- u },
		Page: PageOptions{Command: []string{"triage", "my captures", "--out", "run"}}}
	go func() { ended <- Serve(sctx, store, caps, marks, opt) }()
	var url string
	select {
	case url = <-ready:
	case err := <-ended:
		t.Fatal(err)
	}
	do(t, ctx, chromedp.Navigate(url))
	until(t, ctx, `!document.getElementById('lost').hidden && document.getElementById('lost').textContent.includes('could not be read')`)
	if !js[bool](t, ctx, `document.getElementById('v-places').firstElementChild.id === 'lost'`) {
		t.Error("what could not be read does not come first")
	}
	do(t, ctx, chromedp.Click(`#lost a`))
	until(t, ctx, `document.querySelector('#v-checkup button.main') !== null`)
	do(t, ctx, chromedp.Click(`#v-checkup button.main`))
	until(t, ctx, `document.querySelector('.pad img')?.naturalWidth === 800`)
	do(t, ctx, run(`document.querySelector('.pad').scrollIntoView({ block: 'center' })`))
	type rect struct{ X, Y, K float64 }
	at := js[rect](t, ctx, `(() => {
	const r = document.querySelector('.pad').getBoundingClientRect();
	return { X: r.left, Y: r.top, K: r.width / 800 };
})()`)
	drag(t, ctx, at.X+100*at.K, at.Y+40*at.K, at.X+700*at.K, at.Y+440*at.K)
	do(t, ctx, chromedp.MouseClickXY(at.X+395*at.K, at.Y+200*at.K))
	shoot(t, ctx, "outline.png")
	do(t, ctx, run(`[...document.querySelectorAll('#v-checkup button.main')].at(-1).click()`))
	until(t, ctx, `document.querySelector('#v-checkup').textContent.includes('Kept for every capture of 800 × 480')`)
	f, err := ReadLayouts(t.Context(), dir)
	if err != nil || len(f.Layouts) != 1 || f.Layouts[0].Panel == nil {
		t.Fatalf("%+v, %v", f, err)
	}
	l := f.Layouts[0]
	near := func(what string, got, want int) {
		if math.Abs(float64(got-want)) > 2 {
			t.Errorf("%s is %d, want %d within 2", what, got, want)
		}
	}
	near("left", l.Panel.X, 100)
	near("top", l.Panel.Y, 40)
	near("width", l.Panel.W, 600)
	near("height", l.Panel.H, 400)
	near("nadir", int(l.NadirX), 395)
	if l.Width != 800 || l.Height != 480 || l.Side != "" {
		t.Errorf("layout %+v", l)
	}
	shown := js[string](t, ctx, `[...document.querySelectorAll('#v-checkup .command code')].map(e => e.textContent).join('\n')`)
	if !strings.Contains(shown, `shadowgap triage 'my captures' --out run --layout run/layout.json`) {
		t.Errorf("the command shown is %q", shown)
	}
	// A capture as one picture comes from the server, drawn as decided.
	size := await[int](t, ctx, `fetch('share/0.jpg').then((r) => r.ok ? r.blob() : Promise.reject(r.status)).then((b) => b.size)`)
	if size < 20000 {
		t.Errorf("a shared picture of %d bytes", size)
	}
}

func TestBrowserPrintsTheTenPlacesOnOnePage(t *testing.T) {
	url := surveyPage(t, 80)
	ctx := browse(t, 1440, 900)
	do(t, ctx, chromedp.Navigate(url))
	until(t, ctx, `document.querySelectorAll('.place').length === 10 &&
	[...document.querySelectorAll('.place img')].slice(0, 4).every(i => i.naturalWidth > 0)`)
	res, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: new(true), PrintBackground: new(true)})
	if err != nil {
		t.Fatal(err)
	}
	pdf := res.Data
	if n := bytes.Count(pdf, []byte("/Type /Page\n")) + bytes.Count(pdf, []byte("/Type /Page ")); n != 1 {
		t.Errorf("the places print on %d pages, want one", n)
	}
	if d := os.Getenv("SHADOWGAP_LOOK"); d != "" {
		if err := os.WriteFile(filepath.Join(d, "print.pdf"), pdf, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// Every view, on a phone and on a desktop, in both themes: nothing is wider than the window, every control has a name and a size, and,
// where SHADOWGAP_AXE names axe.min.js (npm: axe-core), axe finds nothing serious.
func TestBrowserEveryViewIsAccessible(t *testing.T) {
	url := surveyPage(t, 110)
	ctx := browse(t, 1440, 900)
	axe := ""
	if name := os.Getenv("SHADOWGAP_AXE"); name != "" {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		axe = string(b)
	}
	for _, width := range []int64{390, 820, 1440} {
		do(t, ctx, chromedp.EmulateViewport(width, 900))
		for _, theme := range []string{"light", "dark"} {
			media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}}}
			if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
				t.Fatal(err)
			}
			for view, ready := range map[string]string{
				"places": `.place`, "queue": `#v-queue .card`, "map": `#map-list li`, "captures": `.card.active`, "checkup": `.check`,
			} {
				do(t, ctx, chromedp.Navigate(url+"?"+theme+"#"+view))
				until(t, ctx, `document.querySelector(`+jsString(ready)+`) !== null`)
				where := fmt.Sprintf("%s, %s, %d wide", view, theme, width)
				if w := js[int64](t, ctx, `document.documentElement.scrollWidth`); w > width {
					wide := js[[]string](t, ctx, `[...document.querySelectorAll('main *')]
	.filter(e => e.getBoundingClientRect().right > innerWidth + 1).slice(0, 5).map(e => e.outerHTML.slice(0, 90))`)
					t.Errorf("%s: the page is %d pixels wide: %q", where, w, wide)
				}
				bad := js[[]string](t, ctx, `[...document.querySelectorAll('button, select, input, textarea, a, summary')]
	.filter(e => e.offsetParent && !['checkbox', 'radio'].includes(e.type) && (e.offsetHeight < 24 || e.offsetWidth < 24 ||
		!(e.getAttribute('aria-label') || e.textContent.trim() || (e.labels && e.labels.length))))
	.filter(e => !(e.tagName === 'A' && getComputedStyle(e).display === 'inline'))
	.map(e => e.outerHTML.slice(0, 90))`)
				if len(bad) > 0 {
					t.Errorf("%s: controls without a name or under 24 pixels: %q", where, bad)
				}
				if theme == "dark" || width != 820 {
					shoot(t, ctx, fmt.Sprintf("view-%s-%s-%d.png", view, theme, width))
				}
				if axe == "" {
					continue
				}
				do(t, ctx, run(axe))
				found := await[[]string](t, ctx, `axe.run().then(r => r.violations
	.filter(v => ['serious', 'critical'].includes(v.impact))
	.map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 120)).join(' | ')))`)
				if len(found) > 0 {
					t.Errorf("%s: %s", where, strings.Join(found, "\n"))
				}
			}
		}
	}
}

func TestLayoutIsChecked(t *testing.T) {
	box := func(x, y, w, h int) *detect.Box { return &detect.Box{X: x, Y: y, W: w, H: h} }
	good := detect.Layout{Width: 800, Height: 480, Panel: box(10, 10, 700, 400), NadirX: 300}
	for name, tc := range map[string]struct {
		edit func(*detect.Layout)
		ok   bool
	}{
		"good":                      {func(*detect.Layout) {}, true},
		"one side, nadir to find":   {func(l *detect.Layout) { l.Side, l.NadirX = detect.Port, 0 }, true},
		"nadir alone":               {func(l *detect.Layout) { l.Panel = nil }, true},
		"nothing set":               {func(l *detect.Layout) { l.Panel, l.NadirX = nil, 0 }, false},
		"nadir left of the panel":   {func(l *detect.Layout) { l.NadirX = 3 }, false},
		"nadir right of the panel":  {func(l *detect.Layout) { l.NadirX = 711 }, false},
		"nadir is no number":        {func(l *detect.Layout) { l.NadirX = math.NaN() }, false},
		"panel leaves the screen":   {func(l *detect.Layout) { l.Panel = box(10, 10, 791, 400) }, false},
		"panel overflows":           {func(l *detect.Layout) { l.Panel = box(10, 10, math.MaxInt, 400) }, false},
		"panel too small":           {func(l *detect.Layout) { l.Panel = box(10, 10, 700, 3) }, false},
		"no such side":              {func(l *detect.Layout) { l.Side = "left" }, false},
		"a screen of no size":       {func(l *detect.Layout) { l.Width = 0 }, false},
		"panel left of the picture": {func(l *detect.Layout) { l.Panel = box(-1, 10, 700, 400) }, false},
	} {
		l := good
		tc.edit(&l)
		if err := checkLayout(l); (err == nil) != tc.ok {
			t.Errorf("%s: %v", name, err)
		}
	}
	dir := t.TempDir()
	other := good
	other.Width = 1000
	good.Strong = detect.Dark
	for _, l := range []detect.Layout{good, other, {Width: 800, Height: 480, Panel: box(20, 10, 700, 400), NadirX: 310}} {
		if _, err := keepLayout(t.Context(), dir, l); err != nil {
			t.Fatal(err)
		}
	}
	if info, err := os.Stat(filepath.Join(dir, layoutName)); err != nil || info.Mode().Perm() != 0o644 {
		t.Errorf("%v, %v: whoever may read the run must be able to read its layouts", info.Mode(), err)
	}
	f, err := ReadLayouts(t.Context(), dir)
	if err != nil || len(f.Layouts) != 2 || f.Layouts[1].NadirX != 310 || f.Layouts[0].Width != 1000 || f.Layouts[1].Strong != detect.Dark {
		t.Errorf("kept %+v, %v; want one a size, the newest, with what the page does not ask for", f, err)
	}
	if err := os.WriteFile(filepath.Join(dir, layoutName), []byte(`{"schema":9}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := keepLayout(t.Context(), dir, good); err == nil {
		t.Error("a layout file of another schema was written over")
	}
}

// A capture whose file and drawing are both out of reach is told of where its picture would stand.
func TestBrowserTellsOfAPictureOutOfReach(t *testing.T) {
	ctx := browse(t, 1440, 900)
	do(t, ctx, chromedp.Navigate(surveyPage(t, 30)+"#queue"))
	until(t, ctx, `document.querySelector('#v-queue .scene img') !== null`)
	for range 2 { // the plain picture, then the drawn one
		do(t, ctx, run(`document.querySelector('#v-queue .scene img').dispatchEvent(new Event('error'))`))
	}
	until(t, ctx, `(document.querySelector('#v-queue .scene .gone')?.textContent || '').startsWith('No picture')`)
	shoot(t, ctx, "queue-gone.png")
	if n := js[int](t, ctx, `document.querySelectorAll('#v-queue .scene svg').length`); n != 0 {
		t.Error("an outline is drawn on no picture")
	}
}

// What is seen several times is decided once: the server gets one decision for each look, in one step.
func TestBrowserServedStoresAStepWhole(t *testing.T) {
	dir, caps, marks, way := testSurvey(t, 30)
	ctx := browse(t, 1440, 900)
	store := testStore(t)
	sctx, stop := context.WithCancel(context.Background())
	defer stop()
	ready, ended := make(chan string, 1), make(chan error, 1)
	opt := ServeOptions{RunDir: dir, Log: zerolog.Nop(), Ready: func(u string) { ready <- u }, Page: PageOptions{Track: way}}
	go func() { ended <- Serve(sctx, store, caps, marks, opt) }()
	var url string
	select {
	case url = <-ready:
	case err := <-ended:
		t.Fatal(err)
	}
	do(t, ctx, chromedp.Navigate(url+"#queue"))
	until(t, ctx, `document.querySelector('#v-queue .card') !== null`)
	stored := func(least int) []Decision {
		t.Helper()
		var ds []Decision
		for range 100 {
			var err error
			if ds, err = store.All(context.Background()); err != nil {
				t.Fatal(err)
			}
			if len(ds) >= least {
				break
			}
			time.Sleep(30 * time.Millisecond)
		}
		return ds
	}
	looks := js[int](t, ctx, `Number(document.querySelector('#v-queue .card').textContent.match(/Seen in (\d+) captures/)?.[1] || 1)`)
	if looks < 2 {
		t.Fatalf("the first thing is seen in %d captures, want several", looks)
	}
	do(t, ctx, chromedp.KeyEvent("a"))
	ds := stored(looks)
	if len(ds) != looks || ds[0].Group == "" {
		t.Fatalf("%d decisions of group %q, want %d of one", len(ds), ds[0].Group, looks)
	}
	for _, d := range ds {
		if d.Action != Accept || d.Group != ds[0].Group {
			t.Errorf("stored %+v", d)
		}
	}
	do(t, ctx, chromedp.KeyEvent("z"))
	if ds = stored(2 * looks); len(ds) != 2*looks {
		t.Fatalf("%d decisions after one undo, want %d", len(ds), 2*looks)
	}
	st := Fold(ds)
	for _, d := range ds[:looks] {
		if got := st.Mark(d.Capture, d.Mark); got != (MarkState{}) {
			t.Errorf("after undo %s is %+v", d.Mark, got)
		}
	}
	// The rest of a capture in one key.
	capture := ds[0].Capture
	do(t, ctx, chromedp.KeyEvent("R"))
	ds = stored(2*looks + 1)
	st = Fold(ds)
	for _, m := range marks {
		if m.Capture == capture && m.Class != detect.Clutter && st.Mark(m.Capture, m.Mark).Verdict != Reject {
			t.Errorf("mark %s of the capture is still open", m.Mark)
		}
	}
}
