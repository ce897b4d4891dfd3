package figures

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func put(t *testing.T, dir, part, results string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(dir, part), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, part, "results.json"), []byte(results), 0o644); err != nil {
		t.Fatal(err)
	}
}

func ptr(v float64) *float64 { return &v }

// small has a bound met, one missed, one that is only told, a set, a set of tiles and a peer.
func small() *Bounds {
	b := &Bounds{Schema: Schema, Columns: []Named{{"fitted", "fitted on"}, {"unseen", "unseen"}, {"sealed", "sealed"}}}
	b.Bounds = []Bound{
		{Key: "near", What: "near", Least: ptr(0.9), Digits: 2, At: map[string]string{"fitted": "a:reading.near", "unseen": "b:reading.near"}},
		{Key: "wrong", What: "wrong", Most: ptr(1), Digits: 1, At: map[string]string{"unseen": "b:list.at[rate=1].wrong", "sealed": "s:wrong"}},
		{Key: "told", What: "told", Digits: 1, At: map[string]string{"fitted": "a:bare"}},
	}
	b.Sets = []Source{{Key: "a", Name: "set a"}, {Key: "t1", Name: "tiles, first", Tiles: "t:first"}}
	b.Peers.Methods = []Named{{"", "this"}, {"blob", "blobs"}}
	b.Peers.Sets = []Source{{Key: "a", Name: "set a"}}
	return b
}

const scored = `{"reading":{"near":{"k":95,"n":100,"value":0.954,"low":0.9,"high":0.98}},"bare":2.5,"captures":{"labelled":12},
	"detection":{"recall":{"value":0.75,"low":0.6,"high":0.9},"false_per_capture":{"value":1.25,"low":null,"high":null}},
	"right_class":{"value":null,"low":null,"high":null},"first_return_px":{"median":{"value":1.04},"p95":{"value":4}},
	"froc":{"at":[{"false_per_capture":0.5,"recall":{"value":0.3}},{"false_per_capture":1,"recall":{"value":0.5}}]}}`

func gathered(t *testing.T) (*Summary, string) {
	t.Helper()
	dir := t.TempDir()
	put(t, dir, "a", scored)
	put(t, dir, "b", `{"reading":{"near":{"value":0.899999}},"list":{"at":[{"rate":0.5,"wrong":9},{"rate":1,"wrong":{"value":1}}]}}`)
	put(t, dir, "t", `{"first":{"tiles":5,"found":{"value":0.8},"other_marks":{"value":0.4},"right_class":{"value":1}}}`)
	put(t, dir, "peer-blob-a", scored)
	s, err := Gather(dir, "new", small(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, dir
}

func TestTables(t *testing.T) {
	s, _ := gathered(t)
	for name, want := range map[string]string{
		"bounds": "|  | bound | fitted on | unseen |\n|---|---|---|---|\n" +
			"| near | ≥ 0.9 | 0.95 [0.90, 0.98] met | 0.90 **MISSED** |\n" + // judged unrounded
			"| wrong | ≤ 1 | – | 1.0 met |\n" +
			"| told | – | 2.5 | – |\n",
		"sets": "|  | captures | recall | false or other marks a capture | class right | first return, px: median, 95 % |\n" +
			"|---|---|---|---|---|---|\n" +
			"| set a | 12 | 0.75 [0.60, 0.90] | 1.2 | – | 1.0, 4.0 |\n" +
			"| tiles, first | 5 | 0.80 | 0.4 | 1.00 | – |\n",
		"peers": "| recall; false or other marks a picture; recall at up to 1 false mark | set a |\n|---|---|\n" +
			"| this | 0.75 [0.60, 0.90]; 1.2; 0.50 |\n| blobs | 0.75 [0.60, 0.90]; 1.2; 0.50 |\n",
	} {
		if got := s.tables(small())[name]; got != want {
			t.Errorf("%s:\n%s\nwant\n%s", name, got, want)
		}
	}
}

// A part that was not scored again keeps its figures, and says that the detector has changed since.
func TestGatherKeepsWhatWasNotScoredAgain(t *testing.T) {
	before, dir := gathered(t)
	if err := os.RemoveAll(filepath.Join(dir, "b")); err != nil {
		t.Fatal(err)
	}
	s, err := Gather(dir, "newer", small(), before)
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Values["near.unseen"]; got.Value != 0.899999 || got.Detector != "new" {
		t.Errorf("%+v", got)
	}
	table := s.BoundsTable(small())
	if !strings.Contains(table, "0.90 † **MISSED**") || strings.Contains(table, "0.98] †") ||
		!strings.Contains(table, "before the detector's last change") {
		t.Errorf("got\n%s", table)
	}
	file := filepath.Join(dir, "x", "summary.json")
	if err := s.Save(file); err != nil {
		t.Fatal(err)
	}
	again, err := Load(file)
	if err != nil || again.BoundsTable(small()) != table {
		t.Errorf("read again (%v):\n%s", err, again.BoundsTable(small()))
	}
}

func TestGatherRefuses(t *testing.T) {
	for name, results := range map[string]string{
		"no json":         `{`,
		"no such field":   `{"reading":{}}`,
		"not a figure":    strings.Replace(scored, `"bare":2.5`, `"bare":"much"`, 1),
		"no figure in it": strings.Replace(scored, `"bare":2.5`, `"bare":{"k":1}`, 1),
	} {
		dir := t.TempDir()
		put(t, dir, "a", results)
		if _, err := Gather(dir, "new", small(), nil); err == nil {
			t.Errorf("%s: was taken", name)
		}
	}
	if s, err := Load(filepath.Join(t.TempDir(), "none.json")); s != nil || err != nil {
		t.Errorf("a summary that is not there: %v, %v", s, err)
	}
}

func TestQuote(t *testing.T) {
	s, _ := gathered(t)
	const text = "# Title\n\nBelow:\n\n<!-- figures sets -->\nold\n<!-- /figures -->\n\n" +
		"Within: <!-- figure near.fitted 3 -->0.1<!-- /figure -->" +
		" or <!-- figure near.fitted 1% -->1 %<!-- /figure -->.\n"
	got, err := s.Quote(text, small())
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(got, "-->\n|  | captures") || !strings.Contains(got, "3 -->0.954<!--") ||
		!strings.Contains(got, "1% -->95.4 %<!--") || strings.Contains(got, "old") || !strings.HasPrefix(got, "# Title\n\nBelow:\n") {
		t.Errorf("got\n%s", got)
	}
	if again, err := s.Quote(got, small()); err != nil || again != got {
		t.Errorf("quoted twice (%v):\n%s", err, again)
	}
	for _, bad := range []string{"<!-- figures sets -->\nnever closed", "<!-- figures nothing -->\n<!-- /figures -->",
		"<!-- figure near.fitted -->1<!-- /figure -->", "<!-- figure near.nowhere 2 -->1<!-- /figure -->"} {
		if _, err := s.Quote(bad, small()); err == nil || errors.Is(err, ErrNoFigures) {
			t.Errorf("%q: %v", bad, err)
		}
	}
	if _, err := s.Quote("plain", small()); !errors.Is(err, ErrNoFigures) {
		t.Errorf("a text without figures: %v", err)
	}
}

func TestProjectBounds(t *testing.T) {
	b, err := Project()
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Bounds) == 0 || len(b.Sets) == 0 || len(b.Peers.Methods) == 0 {
		t.Errorf("%d bounds, %d sets, %d methods", len(b.Bounds), len(b.Sets), len(b.Peers.Methods))
	}
	for what, spoil := range map[string]func(*Bounds){
		"two names":  func(b *Bounds) { b.Bounds[1].Key = b.Bounds[0].Key },
		"two bounds": func(b *Bounds) { b.Bounds[0].Least, b.Bounds[0].Most = ptr(1), ptr(2) },
		"no path":    func(b *Bounds) { b.Bounds[0].At["fitted"] = "open-a" },
		"no column":  func(b *Bounds) { b.Bounds[0].At = map[string]string{"middle": "a:b"} },
		"schema":     func(b *Bounds) { b.Schema = 2 },
	} {
		b := small()
		spoil(b)
		if b.check() == nil {
			t.Errorf("%s: was taken", what)
		}
	}
}

func TestFingerprint(t *testing.T) {
	root := t.TempDir()
	file := func(name, text string) {
		full := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	take := func() string {
		f, err := Fingerprint(root)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	if _, err := Fingerprint(root); err == nil {
		t.Error("a detector that is not there has a fingerprint")
	}
	file("detect/a.go", "package detect")
	file("features/b.go", "package features")
	file("models/finder/finder.onnx", "net")
	first := take()
	file("detect/a_test.go", "package detect")
	file("detect/testdata/x.go", "x")
	file("models/README.md", "x")
	if take() != first {
		t.Error("what is not built changed the fingerprint")
	}
	file("models/finder/finder.onnx", "another")
	if take() == first {
		t.Error("another network has the same fingerprint")
	}
}
