package runstore

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
)

func open(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Create(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func capture(path, content string, interest float64) *detect.CaptureRecord {
	return &detect.CaptureRecord{
		Schema: 1, Capture: path, SHA256: detect.Sum([]byte(content)), Status: detect.StatusRead, Interest: interest,
		Versions: detect.Versions{Code: "c", Model: "m", Settings: "s"},
	}
}

func marksOf(c *detect.CaptureRecord, n int) []detect.MarkRecord {
	marks := make([]detect.MarkRecord, n)
	for i := range marks {
		marks[i] = detect.MarkRecord{
			Schema: 1, Capture: c.Capture, SHA256: c.SHA256, Mark: fmt.Sprintf("%s-%d", CaptureID(c.Capture, c.SHA256), i),
			Class: detect.BottomObject, Odds: detect.Odds{detect.BottomObject: 0.9, detect.Clutter: 0.1},
		}
	}
	return marks
}

func keep(t testing.TB, s *Store, root string, c *detect.CaptureRecord, marks int) {
	t.Helper()
	if err := s.Put(t.Context(), Origin{Root: root}, c, marksOf(c, marks)); err != nil {
		t.Fatal(err)
	}
}

// listing is the run's captures with their marks, as exports would show them.
func listing(t testing.TB, s *Store) []string {
	t.Helper()
	var out []string
	for c, err := range s.Captures(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for m, err := range s.MarksOf(t.Context(), c) {
			if err != nil || m.Capture != c.Capture {
				t.Fatal(m, err)
			}
			n++
		}
		out = append(out, fmt.Sprintf("%s %.4s %d", c.Capture, c.SHA256, n))
	}
	return out
}

func TestPutReplacesAndKeepsApart(t *testing.T) {
	s := open(t, t.TempDir())
	keep(t, s, "/in", capture("b.png", "same", 0.5), 2)
	keep(t, s, "/in", capture("a.png", "same", 0.5), 1) // the same picture under two names
	keep(t, s, "/in", capture("c.png", "old", 0.9), 3)
	keep(t, s, "/in", capture("c.png", "new", 0.1), 1)   // the file changed: its old result goes
	keep(t, s, "/else", capture("c.png", "far", 0.2), 0) // another folder's file of that name
	sum := func(content string) string { return detect.Sum([]byte(content))[:4] }
	want := []string{"a.png " + sum("same") + " 1", "b.png " + sum("same") + " 2", "c.png " + sum("far") + " 0", "c.png " + sum("new") + " 1"}
	if got := listing(t, s); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	roots, err := s.Roots(t.Context())
	if err != nil || !maps.Equal(roots, map[string]int{"/in": 3, "/else": 1}) {
		t.Errorf("roots %v, %v", roots, err)
	}
	for root, want := range map[string]bool{"/in": true, "/else": false, "/none": false} {
		if got, err := s.Holds(t.Context(), root, "a.png"); err != nil || got != want {
			t.Errorf("a.png below %s: %t, %v; want %t", root, got, err, want)
		}
	}
	n := 0
	for _, err := range s.Marks(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	if n != 4 {
		t.Errorf("%d marks, want 4: those of a replaced result must go with it", n)
	}
	for most, want := range map[int][]int{9: {1, 2, 0, 1}, 2: {1, 2}} { // as the listing has them
		if got, err := s.MarkCounts(t.Context(), most); err != nil || !slices.Equal(got, want) {
			t.Errorf("marks of the first %d captures: %v, %v; want %v", most, got, err, want)
		}
	}
	tally, err := s.Tally(t.Context())
	if err != nil || tally.Captures[detect.StatusRead] != 4 || tally.Marks[detect.BottomObject] != 4 {
		t.Errorf("tally %+v, %v", tally, err)
	}
}

func TestDone(t *testing.T) {
	s := open(t, t.TempDir())
	c := capture("a.png", "x", 0)
	keep(t, s, "/in", c, 0)
	tests := []struct {
		path, sha, settings, model string
		want                       bool
	}{
		{"a.png", c.SHA256, "s", "m", true},
		{"a.png", detect.Sum([]byte("y")), "s", "m", false},
		{"b.png", c.SHA256, "s", "m", false},
		{"a.png", c.SHA256, "other", "m", false},
		{"a.png", c.SHA256, "s", "other", false},
	}
	for _, tt := range tests {
		_, got, err := s.Done(t.Context(), tt.path, tt.sha, tt.settings, tt.model)
		if err != nil || got != tt.want {
			t.Errorf("%+v: got %v, %v", tt, got, err)
		}
	}
}

func TestFailedPutLeavesNothing(t *testing.T) {
	s := open(t, t.TempDir())
	c := capture("a.png", "x", 0.5)
	keep(t, s, "/in", c, 2)
	bad := capture("a.png", "x", 0.7)
	bad.Status = "no such status"
	if err := s.Put(t.Context(), Origin{Root: "/in"}, bad, marksOf(bad, 1)); err == nil {
		t.Fatal("a record that breaks the schema was stored")
	}
	if got := listing(t, s); len(got) != 1 || !strings.HasSuffix(got[0], " 2") {
		t.Errorf("after a failed Put the run holds %q, want the old result", got)
	}
}

func TestOneWriter(t *testing.T) {
	dir := t.TempDir()
	s, err := Create(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Create(t.Context(), dir); !errors.Is(err, ErrInUse) {
		t.Errorf("second writer: got %v, want ErrInUse", err)
	}
	reader, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatalf("reader beside a writer: %v", err)
	}
	if err := errors.Join(reader.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
	again := open(t, dir)
	if again.Dir() != dir {
		t.Errorf("dir %q", again.Dir())
	}
}

func TestNotRun(t *testing.T) {
	dir := t.TempDir()
	if _, err := Open(t.Context(), dir); !errors.Is(err, ErrNotRun) {
		t.Errorf("open empty folder: %v", err)
	}
	if _, err := Create(t.Context(), filepath.Dir(dir)); !errors.Is(err, ErrNotRun) {
		t.Errorf("create in a folder with other things: %v", err)
	}
}

// Tests may run as a user who may write everywhere, so this opens as Open does for one who may not.
func TestReadOnlyLeavesTheFolderAlone(t *testing.T) {
	dir := t.TempDir()
	s, err := Create(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, s, "in", capture("a.png", "a", 0.5), 2)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	ro, err := openDB(t.Context(), dir, true)
	if err != nil {
		t.Fatal(err)
	}
	defer ro.Close()
	marks := 0
	for _, err := range ro.Marks(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		marks++
	}
	if marks != 2 || !ro.ReadOnly() {
		t.Errorf("%d marks, read-only %v", marks, ro.ReadOnly())
	}
	if _, err := ro.AddDecisions(t.Context(), []Decision{{ID: "d", At: "2025-06-01T12:00:00Z", Record: []byte("{}")}}); err == nil {
		t.Error("a decision was taken")
	}
	after, err := os.ReadDir(dir)
	if err != nil || len(after) != len(before) {
		t.Errorf("files before %v, after %v, %v", before, after, err)
	}
}

func TestNewerSchemaIsRefused(t *testing.T) {
	dir := t.TempDir()
	s, err := Create(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite3", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.Exec("PRAGMA user_version = 999")
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), dir); err == nil || !strings.Contains(err.Error(), "newer") {
		t.Errorf("got %v, want a hint at a newer shadowgap", err)
	}
}

func TestFolderNamesThatURLsWouldMisread(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "100% sand? #2 & more")
	s := open(t, dir)
	keep(t, s, "/in", capture("a.png", "x", 0), 1)
	if !IsRun(dir) {
		t.Error("the database is not in its folder")
	}
}

func TestMerge(t *testing.T) {
	decision := func(id, at string) Decision { return Decision{id, at, json.RawMessage(`{"n":1}`)} }
	a, b, out := open(t, t.TempDir()), open(t, t.TempDir()), open(t, t.TempDir())
	keep(t, a, "/data", capture("1.png", "one", 0.3), 1)
	keep(t, a, "/data", capture("2.png", "two", 0.2), 2)
	keep(t, b, "/data", capture("2.png", "two", 0.2), 2)   // both saw it
	keep(t, b, "/data", capture("1.png", "other", 0.1), 1) // another file of the same name on the other machine
	for s, d := range map[*Store]Decision{a: decision("d1", "2026-01-01T00:00:00Z"), b: decision("d2", "2026-01-02T00:00:00Z")} {
		if n, err := s.AddDecisions(t.Context(), []Decision{d, d}); err != nil || n != 1 {
			t.Fatalf("added %d, %v", n, err)
		}
	}
	for range 2 { // merging again changes nothing
		for _, s := range []*Store{a, b} {
			if _, err := out.Merge(t.Context(), s, false); err != nil {
				t.Fatal(err)
			}
		}
	}
	sum := func(content string) string { return detect.Sum([]byte(content))[:4] }
	want := []string{"1.png " + sum("one") + " 1", "2.png " + sum("two") + " 2", "1.png " + sum("other") + " 1"}
	if got := listing(t, out); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	ds, err := out.Decisions(t.Context())
	if err != nil || len(ds) != 2 || ds[0].ID != "d1" || ds[1].ID != "d2" {
		t.Errorf("decisions %v, %v", ds, err)
	}
}

// Results of one capture that were made in different ways are not mixed silently.
func TestMergeComparesHowResultsWereMade(t *testing.T) {
	made := func(settings, model string, interest float64) *Store {
		s := open(t, t.TempDir())
		keep(t, s, "/data", capture("same.png", "same", 0.5), 1)
		c := capture("1.png", "one", interest)
		c.Versions.Settings, c.Versions.Model = settings, model
		keep(t, s, "/data", c, 2)
		return s
	}
	for name, other := range map[string]*Store{"settings": made("new", "m", 0.9), "model": made("s", "new", 0.9)} {
		out := made("s", "m", 0.1)
		before := listing(t, out)
		m, err := out.Merge(t.Context(), other, false)
		if !errors.Is(err, ErrDiffer) || !strings.Contains(err.Error(), "1 of them") || m != (Merged{}) {
			t.Errorf("other %s: got %+v, %v; want ErrDiffer", name, m, err)
		}
		if after := listing(t, out); !slices.Equal(after, before) {
			t.Errorf("other %s: a refused merge changed the run: %q", name, after)
		}
		m, err = out.Merge(t.Context(), other, true)
		if err != nil || m != (Merged{Known: 1, Replaced: 1}) {
			t.Errorf("other %s, replacing: got %+v, %v", name, m, err)
		}
		if after := listing(t, out); !strings.HasPrefix(after[0], "1.png") || len(after) != 2 {
			t.Errorf("other %s: not replaced: %q", name, after)
		}
		if m, err := out.Merge(t.Context(), other, false); err != nil || m != (Merged{Known: 2}) {
			t.Errorf("other %s, again: got %+v, %v", name, m, err)
		}
	}
}

func TestSeen(t *testing.T) {
	s := open(t, t.TempDir())
	c := capture("a.png", "x", 0)
	from := Origin{Root: "/in", Stamp: "stamp", Basis: "basis"}
	if err := s.Put(t.Context(), from, c, nil); err != nil {
		t.Fatal(err)
	}
	keep(t, s, "/in", capture("old.png", "y", 0), 0) // by a version that kept no stamps
	for _, tt := range []struct {
		path  string
		from  Origin
		model string
		want  bool
	}{
		{"a.png", from, "m", true},
		{"a.png", Origin{Root: "/else", Stamp: "stamp", Basis: "basis"}, "m", false},
		{"a.png", Origin{Root: "/in", Stamp: "other", Basis: "basis"}, "m", false},
		{"a.png", Origin{Root: "/in", Stamp: "stamp", Basis: "other"}, "m", false},
		{"a.png", from, "other", false},
		{"old.png", Origin{Root: "/in"}, "m", false},
	} {
		sum, status, got, err := s.Seen(t.Context(), tt.path, tt.from, tt.model)
		if err != nil || got != tt.want || got && (sum != c.SHA256 || status != c.Status) {
			t.Errorf("%+v: got %q, %q, %v, %v", tt, sum, status, got, err)
		}
	}
	moved := Origin{Root: "/in", Stamp: "new stamp", Basis: "basis"}
	if err := s.Restamp(t.Context(), []Look{{"a.png", c.SHA256, moved}}); err != nil {
		t.Fatal(err)
	}
	if _, _, got, err := s.Seen(t.Context(), "a.png", moved, "m"); err != nil || !got {
		t.Errorf("after Restamp: %v, %v", got, err)
	}
	for basis, want := range map[string]int{"basis": 1, "other": 2} {
		if n, err := s.Otherwise(t.Context(), basis); err != nil || n != want {
			t.Errorf("on another basis than %q: %d, %v; want %d", basis, n, err, want)
		}
	}
}

func TestStateChangesWithWhatARunHolds(t *testing.T) {
	s, other := open(t, t.TempDir()), open(t, t.TempDir())
	keep(t, other, "/in", capture("b.png", "y", 0), 1)
	state := func() string {
		v, err := s.State(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	last := state()
	for _, tt := range []struct {
		name    string
		do      func() error
		changes bool
	}{
		{"a result", func() error { return s.Put(t.Context(), Origin{Root: "/in"}, capture("a.png", "x", 0), nil) }, true},
		{"it again", func() error { return s.Put(t.Context(), Origin{Root: "/in"}, capture("a.png", "x", 0), nil) }, true},
		{"another run", func() error { _, err := s.Merge(t.Context(), other, false); return err }, true},
		{"that run again", func() error { _, err := s.Merge(t.Context(), other, false); return err }, false},
		{"something kept", func() error { return s.SetMeta(t.Context(), "k", "v") }, true},
		{"exports", func() error { return s.SetExported(t.Context(), "x") }, false},
		{"a decision", func() error {
			_, err := s.AddDecisions(t.Context(), []Decision{{"d", "2026-01-01T00:00:00Z", json.RawMessage("{}")}})
			return err
		}, true},
	} {
		if err := tt.do(); err != nil {
			t.Fatal(err)
		}
		if now := state(); (now != last) != tt.changes {
			t.Errorf("%s: the state changed: %v", tt.name, now != last)
		}
		last = state()
	}
}

func TestTriedIsKeptUntilThereIsAResult(t *testing.T) {
	s := open(t, t.TempDir())
	c := capture("a.png", "x", 0)
	tried := func() string {
		why, err := s.Tried(t.Context(), c.Capture, c.SHA256, "s", "m")
		if err != nil {
			t.Fatal(err)
		}
		return why
	}
	if err := s.SetTried(t.Context(), c.Capture, c.SHA256, "s", "m", "crashed"); err != nil || tried() != "crashed" {
		t.Errorf("got %q, %v", tried(), err)
	}
	if why, err := s.Tried(t.Context(), c.Capture, c.SHA256, "s", "other"); err != nil || why != "" {
		t.Errorf("with another model: %q, %v", why, err)
	}
	keep(t, s, "/in", c, 0)
	if tried() != "" {
		t.Errorf("still %q after a result", tried())
	}
}

func TestMeta(t *testing.T) {
	s := open(t, t.TempDir())
	for _, want := range []string{"", "one", "two"} {
		if want != "" {
			if err := s.SetMeta(t.Context(), "k", want); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := s.Meta(t.Context(), "k"); err != nil || got != want {
			t.Errorf("got %q, %v; want %q", got, err, want)
		}
	}
}

func TestWaysAreKeptAndMerged(t *testing.T) {
	a, out := open(t, t.TempDir()), open(t, t.TempDir())
	values := map[string]string{MetaWay + "one": "1", MetaWay + "two": "2", MetaRoot: "/a", "way": "not one"}
	if err := a.SetMetas(t.Context(), maps.All(values)); err != nil {
		t.Fatal(err)
	}
	if err := out.SetMeta(t.Context(), MetaWay+"two", "its own"); err != nil {
		t.Fatal(err)
	}
	if _, err := out.Merge(t.Context(), a, false); err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]string{MetaWay + "one": "1", MetaWay + "two": "its own", MetaRoot: "", "way": ""} {
		if got, err := out.Meta(t.Context(), key); err != nil || got != want {
			t.Errorf("%s: %q, %v; want %q", key, got, err, want)
		}
	}
}

func TestMark(t *testing.T) {
	s := open(t, t.TempDir())
	c := capture("a.png", "x", 0)
	keep(t, s, "/in", c, 2)
	id := CaptureID(c.Capture, c.SHA256) + "-1"
	for _, tt := range []struct {
		capture, id string
		there       bool
	}{{"a.png", id, true}, {"b.png", id, false}, {"a.png", id + "0", false}} {
		m, err := s.Mark(t.Context(), tt.capture, tt.id)
		if err != nil || (m != nil) != tt.there || m != nil && m.Mark != tt.id {
			t.Errorf("%s of %s: %+v, %v", tt.id, tt.capture, m, err)
		}
	}
}
