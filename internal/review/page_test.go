package review

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"shadowgap/detect"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
)

func TestWritePageIsSelfContainedAndEscapesNames(t *testing.T) {
	dir, caps, marks := testRun(t, 6)
	if err := writePages(context.Background(), dir, caps, marks, PageOptions{Name: hostile}); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(dir, "review.html"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(b)
	for _, bad := range []string{"<img src=x", "<script>alert", "https://", "ZgotmplZ", "NaN", "src=\"http", "@import", "url("} {
		if strings.Contains(page, bad) {
			t.Errorf("page holds %q", bad)
		}
	}
	if n := strings.Count(page, "<script>"); n != 1 {
		t.Errorf("%d scripts, want one", n)
	}
	// The policy must name exactly the script and style that are in the page.
	for _, tag := range []string{"script", "style"} {
		_, rest, _ := strings.Cut(page, "<"+tag+">")
		content, _, _ := strings.Cut(rest, "</"+tag+">")
		if want := strings.ReplaceAll(cspHash(content), "'", "&#39;"); !strings.Contains(strings.ReplaceAll(page, "&#43;", "+"), want) {
			t.Errorf("the policy does not name the page's %s", tag)
		}
	}
	for _, c := range detect.Cautions() {
		if !strings.Contains(page, c) {
			t.Errorf("page lacks the caution %q", c)
		}
	}
	var again bytes.Buffer
	p, err := firstPage(caps, marks, PageOptions{Name: hostile})
	if err != nil {
		t.Fatal(err)
	}
	if err := p.render(&again, nil, modeFile); err != nil || again.String() != page {
		t.Errorf("the same records give another page (%v)", err)
	}
}

func TestPageLeavesOutTheLeastInteresting(t *testing.T) {
	_, caps, marks := testRun(t, 6)
	p, err := firstPage(caps, marks, PageOptions{MaxCaptures: 2})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.shown) != 2 || !strings.Contains(string(p.main), `"total":6`) || !strings.Contains(string(p.main), "capture-0000") {
		t.Errorf("%d captures on the page", len(p.shown))
	}
}

// A page shows the user's own file where a browser can, and the drawn copy is made when somebody asks for it.
func TestOwnFileAndDrawingOnRequest(t *testing.T) {
	s := scene()
	captures := t.TempDir()
	own := filepath.Join(captures, "a b.png")
	var b bytes.Buffer
	if err := png.Encode(&b, s.img); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(own, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	dir, capt := t.TempDir(), s.capt
	capt.SHA256 = detect.Sum(b.Bytes())
	if err := media.Write(t.Context(), dir, s.img, capt, s.marks, media.Options{Own: own, NoDrawn: true}); err != nil {
		t.Fatal(err)
	}
	m := media.Of(capt.Capture, capt.SHA256)
	if got, err := os.ReadFile(filepath.Join(dir, m.Plain)); err != nil || !bytes.Equal(got, b.Bytes()) {
		t.Errorf("the plain picture is not the user's own file (%v)", err)
	}
	if to, err := os.Readlink(filepath.Join(dir, m.Plain)); err != nil || filepath.IsAbs(to) {
		t.Errorf("link to %q, %v; want a way that holds when both folders are moved together", to, err)
	}
	if _, err := os.Stat(filepath.Join(dir, m.Drawn)); err == nil {
		t.Error("a drawn copy was made unasked")
	}
	h, err := newHandler(testStore(t), []detect.CaptureRecord{capt}, s.marks, ServeOptions{RunDir: dir, Log: zerolog.Nop()}, "127.0.0.1:4711")
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	srv := served{h: h}
	res := srv.ask("GET", m.Plain, "", nil)
	if got, err := io.ReadAll(res.Body); err != nil || res.StatusCode != 200 || res.Header.Get("Content-Type") != "image/png" ||
		!bytes.Equal(got, b.Bytes()) {
		t.Errorf("plain: status %d, type %s, %d bytes, %v", res.StatusCode, res.Header.Get("Content-Type"), len(got), err)
	}
	res = srv.ask("GET", m.Drawn, "", nil)
	if conf, err := jpeg.DecodeConfig(res.Body); err != nil || res.StatusCode != 200 || conf.Width != s.img.Bounds().Dx() ||
		conf.Height <= s.img.Bounds().Dy() {
		t.Errorf("drawn: status %d, %+v, %v; want the picture with a legend below", res.StatusCode, conf, err)
	}
	res = srv.ask("GET", "share/0.jpg", "", nil)
	if conf, err := jpeg.DecodeConfig(res.Body); err != nil || res.StatusCode != 200 || conf.Width < s.img.Bounds().Dx() {
		t.Errorf("to share: status %d, %+v, %v; want a picture made from the user's own file", res.StatusCode, conf, err)
	}
	// The close-up of a mark that was left out of the pictures is made when the page shows it.
	chip := media.ChipOf(capt.Capture, s.marks[len(s.marks)-1].Mark)
	if err := os.Remove(filepath.Join(dir, chip)); err != nil {
		t.Fatal(err)
	}
	if res := srv.ask("GET", chip, "", nil); res.StatusCode != 200 || res.Header.Get("Content-Type") != "image/jpeg" {
		t.Errorf("close-up: status %d, type %s", res.StatusCode, res.Header.Get("Content-Type"))
	}
	// Another file in its place is not what was looked at, and nobody's business.
	if err := os.WriteFile(own, []byte("private"), 0o600); err != nil {
		t.Fatal(err)
	}
	if res := srv.ask("GET", m.Plain, "", nil); res.StatusCode != 404 {
		t.Errorf("status %d for a file that changed since, want 404", res.StatusCode)
	}
}

func TestContactSheet(t *testing.T) {
	dir, caps, marks := testRun(t, 5)
	ds := []Decision{decision(Accept, marks[0]), decision(Reject, marks[1])}
	for _, m := range marks {
		if m.Capture == caps[3].Capture {
			ds = append(ds, decision(Reject, m))
		}
	}
	ranked := atlas(caps, marks, ds, overlay.Metres)
	// The test run's close-ups are the same few pictures; here each place gets one of its own, but for one without.
	for i, p := range ranked.Places {
		name := filepath.Join(dir, media.ChipOf(p.Best.Capture, p.Best.Mark))
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
		if p.Best.Capture == caps[4].Capture {
			continue
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 40+i, 30)), nil); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	sizes := map[bool]int{}
	for _, only := range []bool{false, true} {
		if err := WriteContactSheet(context.Background(), dir, ranked, SheetOptions{Name: "Lake Virrel ř", OnlyAccepted: only}); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(dir, SheetName))
		if err != nil || !bytes.HasPrefix(b, []byte("%PDF-")) {
			t.Fatalf("not a PDF (%v)", err)
		}
		if d := os.Getenv("SHADOWGAP_LOOK"); d != "" {
			if err := os.WriteFile(filepath.Join(d, fmt.Sprintf("sheet-%v.pdf", only)), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		sizes[only] = bytes.Count(b, []byte("/Subtype /Image"))
	}
	// Captures 0, 1 and 4 are places; 2 has no panel, 3 was rejected whole, and one of the close-ups is missing.
	if sizes[true] != 1 || sizes[false] != 2 {
		t.Errorf("pictures on the sheet: %v, want 1 when only what was accepted is shown and 2 else", sizes)
	}
	got, left := sheetPlaces(ranked, SheetOptions{MaxPlaces: 2})
	if len(got) != 2 || left != 1 {
		t.Errorf("%d places and %d left out", len(got), left)
	}
}

// A place's sentence stands on the contact sheet to its end.
func TestSheetTellsPlacesWhole(t *testing.T) {
	reader, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext is not installed (Debian: apt-get install poppler-utils), so the sheet can't be read")
	}
	dir, caps, marks := testRun(t, 2)
	ranked := atlas(caps, marks, nil, overlay.Metres)
	ranked.Places[0].Sentence = "9 targets hanging near a hump of the bottom, 0.3 m to 1.7 m off the bottom, in 6 m of water; " +
		"with 4 things lying there"
	if err := WriteContactSheet(t.Context(), dir, ranked, SheetOptions{Name: "lake"}); err != nil {
		t.Fatal(err)
	}
	text, err := exec.CommandContext(t.Context(), reader, "-layout", filepath.Join(dir, SheetName), "-").Output()
	if err != nil || !strings.Contains(string(text), "things lying there.") {
		t.Errorf("the sheet says %q, %v", text, err)
	}
}

func TestPrintedPageIsOnePage(t *testing.T) {
	dir, caps, marks, _ := testSurvey(t, 80)
	for _, tc := range []struct {
		caps []detect.CaptureRecord
		want int // pictures
	}{{caps, 3}, {nil, 0}} {
		a := atlas(tc.caps, marks[:len(marks)*min(1, len(tc.caps))], nil, overlay.Feet)
		if err := WritePlaces(context.Background(), dir, "Lake Virrel ř", a, overlay.Feet); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(dir, PrintedName))
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(b, []byte("/Type /Page\n")); n != 1 {
			t.Errorf("%d pages, want one", n)
		}
		if n := bytes.Count(b, []byte("/Subtype /Image")); (n > 0) != (tc.want > 0) {
			t.Errorf("%d pictures", n)
		}
		if d := os.Getenv("SHADOWGAP_LOOK"); d != "" && len(tc.caps) > 0 {
			if err := os.WriteFile(filepath.Join(d, "places.pdf"), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := WritePlaces(ctx, dir, "x", atlas(caps, marks, nil, overlay.Metres), overlay.Metres); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}

// WCAG 2.2: 1.4.3 asks 4.5:1 for text, 1.4.11 asks 3:1 for what a control or graphic is told by. The ratio is that of its
// definition of contrast, with relative luminance as in its glossary.
func TestContrastMeetsAA(t *testing.T) {
	light, dark := themeOf(t, `(?s)^:root \{(.*?)\}`), themeOf(t, `(?s)\n:root\[data-theme="dark"\] \{(.*?)\}`)
	media := themeOf(t, `(?s):root:not\(\[data-theme="light"\]\) \{(.*?)\}`)
	if fmt.Sprint(dark) != fmt.Sprint(media) {
		t.Error("dark by choice and dark by system differ")
	}
	type pair struct {
		fg, bg string
		want   float64
	}
	pairs := []pair{
		{"fg", "bg", 4.5}, {"fg", "card", 4.5}, {"fg", "hover", 4.5}, {"soft", "bg", 4.5}, {"soft", "card", 4.5},
		{"accent", "bg", 4.5}, {"accent", "card", 4.5},
		{"onaccent", "accent", 4.5}, {"yes", "card", 4.5}, {"no", "card", 4.5}, {"maybe", "card", 4.5},
		{"onwarn", "warn", 4.5}, {"bg", "fg", 4.5}, {"soft", "hover", 4.5},
		{"line", "bg", 3}, {"line", "card", 3}, {"bar", "trough", 3}, {"bar", "card", 3}, {"accent", "hover", 3},
	}
	for name, th := range map[string]map[string]string{"light": light, "dark": dark} {
		for _, p := range pairs {
			if th[p.fg] == "" || th[p.bg] == "" {
				t.Fatalf("%s: no colour %s or %s", name, p.fg, p.bg)
			}
			if got := contrast(t, th[p.fg], th[p.bg]); got < p.want {
				t.Errorf("%s: %s on %s has %.2f:1, want %.1f:1", name, p.fg, p.bg, got, p.want)
			}
		}
	}
	// Fixed colours: class lines and lettering on the dark badge and casing, the chart's on white.
	for _, m := range regexp.MustCompile(`\.k-([a-z-]+) \{ stroke: (#[0-9A-F]{6})`).FindAllStringSubmatch(pageCSS, -1) {
		if got := contrast(t, m[2], "#14181a"); got < 3 {
			t.Errorf("%s on its badge has %.2f:1, want 3:1", m[1], got)
		}
	}
	for _, p := range []pair{
		{"#1b2225", "#ffffff", 4.5}, {"#0072B2", "#ffffff", 3}, {"#ffffff", "#14181a", 4.5}, {"#e9edef", "#101010", 4.5},
	} {
		if got := contrast(t, p.fg, p.bg); got < p.want {
			t.Errorf("%s on %s has %.2f:1, want %.1f:1", p.fg, p.bg, got, p.want)
		}
	}
}

// W3C's own worked figure: #777777 on white is 4.48:1, just short of AA (WebAIM's and W3C's examples; from memory, unverified).
func TestContrastFormula(t *testing.T) {
	if got := contrast(t, "#777777", "#ffffff"); math.Abs(got-4.48) > 0.01 {
		t.Errorf("%.3f, want 4.48", got)
	}
	if got := contrast(t, "#000000", "#ffffff"); math.Abs(got-21) > 1e-9 {
		t.Errorf("%.3f, want 21", got)
	}
}

func themeOf(t *testing.T, pattern string) map[string]string {
	t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(pageCSS)
	if m == nil {
		t.Fatalf("no theme %s", pattern)
	}
	out := map[string]string{}
	for _, v := range regexp.MustCompile(`--([a-z]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(m[1], -1) {
		out[v[1]] = v[2]
	}
	return out
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := relativeLuminance(t, a), relativeLuminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func relativeLuminance(t *testing.T, hex string) float64 {
	t.Helper()
	v, err := strconv.ParseUint(hex[1:], 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	lin := func(c uint64) float64 {
		x := float64(c&0xff) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(v>>16) + 0.7152*lin(v>>8) + 0.0722*lin(v)
}

func BenchmarkPageOf500Captures(b *testing.B) {
	_, caps, marks := testRun(b, 500)
	for b.Loop() {
		p, err := firstPage(caps, marks, PageOptions{})
		if err != nil {
			b.Fatal(err)
		}
		var out bytes.Buffer
		if err := p.render(&out, nil, modeFile); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(out.Len())/1e6, "MB/page")
	}
}

func TestLongRunFillsSeveralPages(t *testing.T) {
	dir, caps, marks := testRun(t, 5)
	read := func(part int) string {
		t.Helper()
		b, err := os.ReadFile(filepath.Join(dir, PageName(part)))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	if err := writePages(context.Background(), dir, caps, marks, PageOptions{MaxCaptures: 2}); err != nil {
		t.Fatal(err)
	}
	for part, name := range []string{"capture-0000", "capture-0003", "capture-0004"} {
		page := read(part)
		if !strings.Contains(page, name+`.png","status"`) {
			t.Errorf("page %d lacks %s", part+1, name)
		}
		for k := range 3 {
			if !strings.Contains(page, `href="`+PageName(k)+`"`) {
				t.Errorf("page %d does not lead to page %d", part+1, k+1)
			}
		}
	}
	if err := writePages(context.Background(), dir, caps, marks, PageOptions{}); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, PageName(1))); !os.IsNotExist(err) || strings.Contains(read(0), PageName(1)) {
		t.Errorf("a page of an earlier run is still there, or led to (%v)", err)
	}
}

// A later triage may find a mark a little elsewhere, under another id; what was decided on it still shows.
func TestPageKeepsDecisionsOnMarksThatMoved(t *testing.T) {
	_, caps, marks := testRun(t, 3)
	was := marks[0]
	was.Mark, was.SHA256 = "as-it-was-called", caps[0].SHA256
	was.Evidence = nil
	d := decision(Accept, was)
	d.Seen = &was
	p, err := firstPage(caps, marks, PageOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := p.render(&b, []Decision{d, decision(Reject, marks[1])}, modeFile); err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(b.String(), `id="decisions">`)
	text, _, _ := strings.Cut(rest, "</script>")
	var got []Decision
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 || got[0].Mark != marks[0].Mark || got[0].Seen != nil || got[1].Mark != marks[1].Mark || d.Mark != was.Mark {
		t.Errorf("the page takes the decisions as %+v", got)
	}
}
