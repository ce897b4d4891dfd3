package review

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/rs/zerolog"

	"shadowgap/detect"
)

// browse starts a fresh headless browser; it skips the test where Chromium is not installed. Dialogs, exceptions and refused
// resources fail the test.
func browse(t testing.TB, width, height int) context.Context {
	t.Helper()
	if p, ok := t.(interface{ Parallel() }); ok { // tests run beside each other, benchmarks never
		p.Parallel()
	}
	path := ""
	for _, name := range []string{"chromium", "chromium-browser"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("Chromium is not installed (Debian: apt-get install chromium), so the page is not tried in a browser")
	}
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(),
		chromedp.ExecPath(path), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.WindowSize(width, height),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.UserDataDir(t.TempDir()))
	t.Cleanup(stopAlloc)
	ctx, stop := chromedp.NewContext(alloc)
	t.Cleanup(stop)
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	t.Cleanup(cancel)
	var mu sync.Mutex
	var bad []string
	add := func(s string) { mu.Lock(); defer mu.Unlock(); bad = append(bad, s) }
	if err := chromedp.Listen(ctx, func(ev any) {
		if d, ok := ev.(*page.EventJavascriptDialogOpening); ok {
			add("dialog: " + d.Message)
		}
	}); err != nil {
		t.Fatal(err)
	}
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			// A server stopped on purpose and a refused post from elsewhere show here too; neither is a fault of the page.
			if (m.Type == chromedp.ConsoleError || m.IsException()) && m.Source != "network" &&
				!strings.Contains(m.Text, "blocked by CORS policy") {
				add(m.String())
			}
		}
	}()
	t.Cleanup(func() {
		mu.Lock()
		defer mu.Unlock()
		for _, s := range bad {
			t.Errorf("the page caused an error: %s", s)
		}
	})
	return ctx
}

func do(t testing.TB, ctx context.Context, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// js evaluates an expression.
func js[T any](t testing.TB, ctx context.Context, expr string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expr))
	if err != nil {
		t.Fatalf("%s: %v", expr, err)
	}
	return v
}

// run evaluates statements for what they do.
func run(statements string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void]("{" + statements + "}")
}

// until waits for an expression to hold. It asks from outside: the page's policy forbids code made from strings inside it.
func until(t testing.TB, ctx context.Context, expr string) {
	t.Helper()
	var err error
	for end := time.Now().Add(8 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		var ok bool
		if ok, err = chromedp.Run(ctx, chromedp.Evaluate[bool]("!!("+expr+")")); ok {
			return
		}
	}
	t.Fatalf("waited in vain for %s (%v)", expr, err)
}

func shoot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("SHADOWGAP_LOOK")
	if dir == "" {
		return
	}
	do(t, ctx, chromedp.Sleep(250*time.Millisecond))
	b, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
		t.Fatal(err)
	}
}

func cardState(n int) string {
	return fmt.Sprintf(`document.querySelector('#mark-%d .state').textContent`, n)
}

func TestBrowserFromFile(t *testing.T) {
	ctx := browse(t, 1360, 900)
	dir, caps, marks := testRun(t, 500)
	if err := writePages(context.Background(), dir, caps, marks, PageOptions{Name: "Lake Virrel, " + hostile}); err != nil {
		t.Fatal(err)
	}
	url := "file://" + filepath.Join(dir, "review.html")
	do(t, ctx, chromedp.Navigate(url+"#captures"))
	until(t, ctx, `document.querySelectorAll('#list li').length === 500 && document.querySelector('.card.active') !== null`)
	t.Logf("500 captures: first contentful paint after %.0f ms",
		js[float64](t, ctx, `performance.getEntriesByName('first-contentful-paint')[0].startTime`))
	until(t, ctx, `document.querySelector('.card img.chip').naturalWidth > 0 && document.querySelector('#list img').naturalWidth > 0`)
	shoot(t, ctx, "page-light.png")
	// Likeliest clutter is shown on request only: the fifth mark of each capture.
	if n := js[int](t, ctx, `document.querySelectorAll('.card:not([hidden])').length`); n != 4 {
		t.Errorf("%d marks are shown before clutter was asked for, want 4", n)
	}
	do(t, ctx, run(`document.querySelector('#hidden-cards button').click()`))
	until(t, ctx, `document.querySelectorAll('.card:not([hidden])').length === 5`)
	slow, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`new Promise(done => {
	const nav = document.querySelector('#side'), times = [];
	let last = performance.now(), n = 0;
	const step = () => {
		const now = performance.now();
		times.push(now - last);
		last = now;
		nav.scrollTop += 400;
		if (++n < 60) requestAnimationFrame(step);
		else done(times.sort((a, b) => a - b)[57]);
	};
	requestAnimationFrame(step);
})`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("scrolling the list: 95 of 100 frames within %.0f ms", slow)
	do(t, ctx, run(`document.querySelector('#side').scrollTop = 0`))

	if got := js[string](t, ctx, `document.querySelectorAll('#list .nm')[1].textContent`); !strings.Contains(got, "script>.png") {
		t.Errorf("hostile name is shown as %q", got)
	}
	if js[bool](t, ctx, `document.querySelectorAll('main script, main iframe, #list script').length > 0`) {
		t.Error("a name became markup")
	}

	// Decide by keyboard: accept the first, call the second clutter and reject it.
	do(t, ctx, chromedp.KeyEvent("a"))
	until(t, ctx, cardState(1)+` === '✓ accepted' && document.activeElement.id === 'mark-2'`)
	do(t, ctx, chromedp.KeyEvent("4"), chromedp.KeyEvent("r"))
	until(t, ctx, cardState(2)+` === '✗ rejected, class changed'`)
	do(t, ctx, chromedp.KeyEvent("p"), chromedp.KeyEvent("c"), chromedp.SendKeys("#mark-2 textarea", "anchor <b>line</b>, a r u z"),
		chromedp.KeyEvent(kb.Escape))
	until(t, ctx, `JSON.parse(localStorage.getItem(Object.keys(localStorage).find(k => k.startsWith('shadowgap-decisions')))).length === 4`)

	do(t, ctx, chromedp.Reload())
	until(t, ctx, `document.querySelectorAll('.card').length === 5`)
	for n, want := range map[int]string{1: "✓ accepted", 2: "✗ rejected, class changed", 3: "open"} {
		if got := js[string](t, ctx, cardState(n)); got != want {
			t.Errorf("after reloading mark %d is %q, want %q", n, got, want)
		}
	}
	// Undo takes back the note, the verdict and the class, in that order; then the first mark's acceptance.
	for _, want := range []string{"✗ rejected, class changed", "open, class changed", "open"} {
		do(t, ctx, chromedp.KeyEvent("z"))
		until(t, ctx, cardState(2)+` === '`+want+`'`)
	}
	do(t, ctx, chromedp.KeyEvent("z"))
	until(t, ctx, cardState(1)+` === 'open' && document.getElementById('b-undo').disabled`)

	// The whole capture: what is asked for is outlined at once; picture there, closed and open again, zoom, slant-corrected view and back.
	do(t, ctx, run(`document.querySelector('#filter [name=clutter]').click()`))
	until(t, ctx, `document.querySelectorAll('.stage g.mk').length === 5 && document.querySelector('.stage g.mk .k-clutter')`)
	do(t, ctx, chromedp.KeyEvent("o"))
	until(t, ctx, `document.querySelector('.stage') === null`)
	do(t, ctx, chromedp.KeyEvent("o"))
	until(t, ctx, `document.querySelector('.stage img').naturalWidth === 800 && document.querySelectorAll('.stage g.mk').length === 5`)
	shoot(t, ctx, "page-whole.png")
	// Numbers and names lie over all frames, and none on another.
	if !js[bool](t, ctx, `(() => {
		const all = [...document.querySelectorAll('.stage svg > *')], first = all.findIndex((e) => e.tagName === 'text');
		return first > 0 && all.slice(first).every((e) => e.tagName === 'text') && !document.querySelector('.stage g.mk text');
	})()`) {
		t.Error("frames are drawn over numbers")
	}
	crowded := js[[]string](t, ctx, `(() => {
		const out = [], all = [...document.querySelectorAll('.stage svg > text')].filter((e) => e.style.display !== 'none');
		all.forEach((a, i) => all.slice(0, i).forEach((b) => { const p = a.getBoundingClientRect(), q = b.getBoundingClientRect();
			if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 4 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 6)
				out.push(a.textContent + ' on ' + b.textContent); }));
		return out; })()`)
	if len(crowded) > 0 {
		t.Errorf("labels lie on each other: %q", crowded)
	}
	before := js[string](t, ctx, `document.querySelector('.stage').style.transform`)
	do(t, ctx, chromedp.KeyEvent("+"), chromedp.KeyEvent("+"))
	if js[string](t, ctx, `document.querySelector('.stage').style.transform`) == before {
		t.Error("plus does not zoom")
	}
	do(t, ctx, chromedp.KeyEvent("0"), chromedp.KeyEvent("g"))
	until(t, ctx, `!document.querySelector('.stage canvas').hidden && document.querySelectorAll('.stage g.mk').length === 4`)
	if got := js[string](t, ctx, `document.querySelector('.lookbar .soft').textContent`); !strings.Contains(got,
		"1 mark inside the water column") {
		t.Errorf("slant-corrected view says %q of the mark in the water column", got)
	}
	shoot(t, ctx, "page-ground.png")
	do(t, ctx, chromedp.KeyEvent("g"))

	// Filters.
	do(t, ctx, chromedp.KeyEvent("f"))
	until(t, ctx, `document.activeElement.name === 'text'`)
	// The driver sends a key's letter even when the page has taken the key, which no keyboard does: drop it.
	do(t, ctx, run(`document.activeElement.value = ''`), chromedp.KeyEvent("capture-001"))
	until(t, ctx, `document.getElementById('count').textContent.startsWith('10 of 500')`)
	do(t, ctx, chromedp.Click(`#filter [type=reset]`))
	until(t, ctx, `document.getElementById('count').textContent === '500 captures'`)
	do(t, ctx, run(`(() => {
	const f = document.getElementById('filter');
	f.elements.side.value = 'port';
	f.elements.hump.checked = true;
	f.dispatchEvent(new Event('input'));
})()`))
	until(t, ctx, `document.querySelectorAll('.card:not([hidden])').length === 1`)
	do(t, ctx, chromedp.Click(`#hidden-cards button`)) // clears the filters, the asking for clutter among them
	until(t, ctx, `document.querySelectorAll('.card:not([hidden])').length === 4`)

	// Next captures: the hostile one, then the one without a panel.
	do(t, ctx, run(`document.getElementById('main').focus()`), chromedp.KeyEvent("."))
	until(t, ctx, `document.querySelector('#main .path').textContent.includes('onerror')`)
	do(t, ctx, chromedp.KeyEvent("."))
	until(t, ctx, `document.getElementById('main').textContent.includes('no dark water column was found')`)
	do(t, ctx, chromedp.KeyEvent("a"), chromedp.KeyEvent("?"))
	until(t, ctx, `document.getElementById('help').open`)
	shoot(t, ctx, "page-help.png")
	do(t, ctx, chromedp.Click("#keys-on"), chromedp.KeyEvent(kb.Escape))
	until(t, ctx, `!document.getElementById('help').open`)
	do(t, ctx, chromedp.KeyEvent("."), chromedp.KeyEvent("?"))
	if js[bool](t, ctx, `document.getElementById('help').open || !document.getElementById('cap-h').textContent.includes('capture-0002')`) {
		t.Error("single keys still work after they were switched off")
	}
}

// drag moves the mouse with the button down, in pixels of the window.
func drag(t *testing.T, ctx context.Context, x0, y0, x1, y1 float64) {
	t.Helper()
	do(t, ctx,
		chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, x0, y0, chromedp.ButtonLeft, chromedp.ClickCount(1)),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, (x0+x1)/2, (y0+y1)/2, chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, x1, y1, chromedp.ButtonLeft),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, x1, y1, chromedp.ButtonLeft, chromedp.ClickCount(1)))
}

func TestBrowserServed(t *testing.T) {
	ctx := browse(t, 1200, 1000)
	dir, caps, marks := testRun(t, 3)
	store := testStore(t)
	sctx, stop := context.WithCancel(context.Background())
	defer stop()
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- Serve(sctx, store, caps, marks, ServeOptions{RunDir: dir, Log: zerolog.Nop(), Ready: func(u string) { ready <- u }})
	}()
	var url string
	select {
	case url = <-ready:
	case err := <-ended:
		t.Fatal(err)
	}
	stored := func(n int) []Decision {
		t.Helper()
		for range 100 {
			ds, err := store.All(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			if len(ds) >= n {
				return ds
			}
			time.Sleep(30 * time.Millisecond)
		}
		t.Fatalf("no %d decisions were stored", n)
		return nil
	}
	do(t, ctx, chromedp.Navigate(url+"#captures"))
	until(t, ctx, `document.querySelector('.card.active') !== null`)
	do(t, ctx, chromedp.KeyEvent("a"), chromedp.KeyEvent("u"), chromedp.KeyEvent("z"))
	ds := stored(3)
	if ds[0].Action != Accept || ds[1].Action != Unsure || ds[2].Action != Undo || ds[2].Undoes != ds[1].ID {
		t.Fatalf("stored %+v", ds)
	}

	// Draw a missed mark: a highlight, then its shadow, over known pixels of the picture.
	do(t, ctx, chromedp.KeyEvent("d"))
	until(t, ctx, `document.querySelector('.stage img').naturalWidth === 800 && !document.querySelector('.draw').hidden`)
	do(t, ctx, run(`document.querySelector('.port').scrollIntoView({block: 'center'})`))
	type rect struct{ X, Y, K float64 }
	at := js[rect](t, ctx, `(() => {
	const r = document.querySelector('.stage').getBoundingClientRect();
	return { X: r.left, Y: r.top, K: r.width / 800 };
})()`)
	px := func(x, y float64) (float64, float64) { return at.X + x*at.K, at.Y + y*at.K }
	for _, b := range []detect.Box{{X: 520, Y: 60, W: 40, H: 30}, {X: 600, Y: 60, W: 80, H: 30}} {
		x0, y0 := px(float64(b.X)+.4, float64(b.Y)+.4)
		x1, y1 := px(float64(b.X+b.W)-.4, float64(b.Y+b.H)-.4)
		drag(t, ctx, x0, y0, x1, y1)
	}
	shoot(t, ctx, "page-draw.png")
	do(t, ctx, chromedp.SetValue(`.draw select`, string(detect.SuspendedTarget)),
		run(`document.querySelectorAll('.draw .acts button')[0].click()`))
	missed := stored(4)[3]
	if missed.Action != Missed || missed.Class != detect.SuspendedTarget || missed.Highlight == nil || missed.Shadow == nil {
		t.Fatalf("stored %+v", missed)
	}
	for name, d := range map[string][2]int{"left": {missed.Highlight.X, 520}, "top": {missed.Highlight.Y, 60},
		"width": {missed.Highlight.W, 40}, "shadow left": {missed.Shadow.X, 600}, "shadow width": {missed.Shadow.W, 80}} {
		if d[0] < d[1]-2 || d[0] > d[1]+2 {
			t.Errorf("%s of the drawn box is %d, want %d within 2", name, d[0], d[1])
		}
	}
	until(t, ctx, `document.getElementById('drawn').textContent.includes('M1')`)
	do(t, ctx, chromedp.KeyEvent("e"))
	stored(5)
	if l := Labels(caps, marks, stored(5), true); len(l.Captures) != 1 || len(l.Captures[0].Marks) != 2 ||
		l.Captures[0].Marks[1].Side != detect.Starboard {
		t.Errorf("labels %+v, want the accepted and the drawn mark", l.Captures)
	}
	do(t, ctx, chromedp.Reload())
	until(t, ctx, `document.querySelectorAll('.card').length === 5 && `+cardState(1)+` === '✓ accepted' && `+cardState(2)+` === 'open'`)

	// Take in a file of decisions, one of them about another run.
	strange := decision(Reject, marks[3])
	strange.Mark = "m77"
	file, err := json.Marshal(DecisionsFile{DecisionsSchema, "", []Decision{decision(Reject, marks[2]), strange}})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "decisions.json")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.SetUploadFiles("#take", []string{path}))
	until(t, ctx, `document.getElementById('banner').textContent.startsWith('Taken in: 1 new') && `+cardState(3)+` === '✗ rejected'`)
	stored(6)

	// A page elsewhere that even knows the address can't decide anything.
	evil := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprintf(w, `<script>window.tried = Promise.allSettled(['text/plain', 'application/json'].flatMap(t => ['no-cors', 'cors'].map(m =>
fetch(%q + 'api/decisions', {method: 'POST', mode: m, headers: {'Content-Type': t}, body: JSON.stringify(%s)}).then(
	r => r.ok && r.type !== 'opaque'))))</script>`,
			url, `{"id":"0123456789abcdef0123456789abcdef","at":"2031-05-04T03:02:01Z","action":"done","capture":"`+caps[0].Capture+`"}`)
	}))
	defer evil.Close()
	other := strings.Replace(evil.URL, "127.0.0.1", "localhost", 1)
	do(t, ctx, chromedp.Navigate(other))
	through, err := chromedp.Run(ctx, chromedp.Evaluate[[]struct{ Value bool }](`window.tried`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range through {
		if r.Value {
			t.Error("a post from another page was answered")
		}
	}
	if ds := stored(6); len(ds) != 6 {
		t.Errorf("%d decisions after a post from another page, want 6", len(ds))
	}

	// When the server goes away, the page keeps the decision and says so; when it is back, the decision is sent.
	do(t, ctx, chromedp.Navigate(url+"#captures"))
	until(t, ctx, `document.querySelector('.card.active') !== null`)
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.KeyEvent("a"))
	until(t, ctx, `document.getElementById('banner').textContent.includes('not stored yet')`)
	waiting := js[int](t, ctx, `JSON.parse(localStorage.getItem(
	Object.keys(localStorage).find(k => k.startsWith('shadowgap-decisions')))).length`)
	if waiting != 1 {
		t.Errorf("%d decisions wait in the browser, want 1", waiting)
	}
}

func TestBrowserPhoneAndDark(t *testing.T) {
	ctx := browse(t, 390, 800)
	dir, caps, marks := testRun(t, 12)
	if err := writePages(context.Background(), dir, caps, marks, PageOptions{Name: "Lake Virrel"}); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, chromedp.EmulateViewport(390, 800, chromedp.EmulateMobile, chromedp.EmulateTouch),
		chromedp.Navigate("file://"+filepath.Join(dir, "review.html#captures")))
	until(t, ctx, `document.querySelector('.card.active') !== null`)
	shoot(t, ctx, "phone-light.png")
	do(t, ctx, run(`document.getElementById('b-theme').click(); document.getElementById('b-theme').click();
document.querySelectorAll('#list .row')[3].click()`))
	until(t, ctx, `document.documentElement.dataset.theme === 'dark'`)
	shoot(t, ctx, "phone-dark.png")
	until(t, ctx, `document.querySelector('.stage img').naturalWidth === 800`)
	shoot(t, ctx, "phone-whole.png")
	if w := js[float64](t, ctx, `document.documentElement.scrollWidth`); w > 390 {
		t.Errorf("the page is %v pixels wide on a phone of 390", w)
	}
	small := js[[]string](t, ctx, `Array.from(document.querySelectorAll('button, select, input, summary'))
	.filter(e => e.offsetParent && (e.offsetWidth < 24 || e.offsetHeight < 24) && !['checkbox', 'radio'].includes(e.type))
	.map(e => e.outerHTML.slice(0, 80))`)
	if len(small) > 0 {
		t.Errorf("controls below 24 pixels (WCAG 2.2, 2.5.8): %v", small)
	}
	unnamed := js[[]string](t, ctx, `Array.from(document.querySelectorAll('button, select, input, textarea'))
	.filter(e => !(e.getAttribute('aria-label') || e.textContent.trim() || (e.labels && e.labels.length)))
	.map(e => e.outerHTML.slice(0, 80))`)
	if len(unnamed) > 0 {
		t.Errorf("controls without a name: %v", unnamed)
	}
	do(t, ctx, chromedp.EmulateViewport(1360, 900), run(`window.scrollTo(0, 0)`))
	shoot(t, ctx, "page-dark.png")
}
