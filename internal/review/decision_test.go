package review

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
)

func TestFoldUndoesAndRedoes(t *testing.T) {
	_, _, marks := testRun(t, 1)
	m := marks[0]
	accept, change := decision(Accept, m), decision(Change, m)
	change.Class = detect.Clutter
	note := decision(Note, m)
	note.Note = "seen from both sides"
	undo := func(d Decision) Decision {
		return Decision{ID: newID(), At: testTime, Action: Undo, Undoes: d.ID}
	}
	u1 := undo(accept)
	u2 := undo(u1)
	for _, tc := range []struct {
		name string
		ds   []Decision
		want MarkState
	}{
		{"nothing", nil, MarkState{}},
		{"all three", []Decision{accept, change, note}, MarkState{Verdict: Accept, Class: detect.Clutter, Note: note.Note}},
		{"undone out of order", []Decision{accept, change, u1}, MarkState{Class: detect.Clutter}},
		{"undo undone", []Decision{accept, u1, u2}, MarkState{Verdict: Accept}},
		{"latest verdict counts", []Decision{accept, decision(Reject, m)}, MarkState{Verdict: Reject}},
		{"undo brings back the one before", []Decision{decision(Unsure, m), accept, u1}, MarkState{Verdict: Unsure}},
		{"undo of what is not there", []Decision{accept, undo(change)}, MarkState{Verdict: Accept}},
	} {
		if got := Fold(tc.ds).Mark(m.Capture, m.Mark); got != tc.want {
			t.Errorf("%s: %+v, want %+v", tc.name, got, tc.want)
		}
	}
}

func TestCheckRefusesWhatCannotBe(t *testing.T) {
	_, caps, marks := testRun(t, 2)
	ix := NewIndex(caps, marks)
	m := marks[0]
	box := func(x, y, w, h int) *detect.Box { return &detect.Box{X: x, Y: y, W: w, H: h} }
	edit := func(f func(*Decision)) Decision { d := decision(Accept, m); f(&d); return d }
	missed := func(b *detect.Box) Decision {
		return edit(func(d *Decision) {
			d.Action, d.Mark, d.Class, d.Highlight = Missed, "", detect.BottomObject, b
		})
	}
	const huge = int(^uint(0) >> 1)
	for name, tc := range map[string]struct {
		d    Decision
		want error
	}{
		"fine":               {decision(Accept, m), nil},
		"fine missed":        {missed(box(790, 470, 10, 10)), nil},
		"no id":              {edit(func(d *Decision) { d.ID = "" }), ErrBadDecision},
		"id with a path":     {edit(func(d *Decision) { d.ID = "../../../../../../../etc/password" }), ErrBadDecision},
		"no time":            {edit(func(d *Decision) { d.At = time.Time{} }), ErrBadDecision},
		"unknown action":     {edit(func(d *Decision) { d.Action = "delete" }), ErrBadDecision},
		"unknown class":      {edit(func(d *Decision) { d.Action, d.Class = Change, "mine" }), ErrBadDecision},
		"long note":          {edit(func(d *Decision) { d.Action, d.Note = Note, strings.Repeat("x", maxNote+1) }), ErrBadDecision},
		"broken note":        {edit(func(d *Decision) { d.Action, d.Note = Note, "\xff" }), ErrBadDecision},
		"other capture":      {edit(func(d *Decision) { d.Capture = "elsewhere.png" }), errNotInRun},
		"other mark":         {edit(func(d *Decision) { d.Mark = "m99" }), errNotInRun},
		"mark of another":    {edit(func(d *Decision) { d.Capture = caps[1].Capture }), errNotInRun},
		"missed, no box":     {missed(nil), ErrBadDecision},
		"missed, empty box":  {missed(box(5, 5, 0, 4)), ErrBadDecision},
		"missed, outside":    {missed(box(795, 5, 10, 4)), ErrBadDecision},
		"missed, overflow":   {missed(box(huge, 5, huge, 4)), ErrBadDecision},
		"missed, off to top": {missed(box(5, -1, 10, 4)), ErrBadDecision},
		"undo of nothing":    {edit(func(d *Decision) { d.Action = Undo }), ErrBadDecision},
	} {
		if err := ix.Check(tc.d); !errors.Is(err, tc.want) {
			t.Errorf("%s: %v, want %v", name, err, tc.want)
		}
	}
}

func TestFileStoreSurvivesReopeningAndACutLastLine(t *testing.T) {
	_, _, marks := testRun(t, 1)
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "d.jsonl")
	s, err := OpenFileStore(path)
	if err != nil {
		t.Fatal(err)
	}
	a, b := decision(Accept, marks[0]), decision(Reject, marks[1])
	if n, err := s.Append(ctx, a, b, a); err != nil || n != 2 {
		t.Fatalf("stored %d, %v; want 2", n, err)
	}
	if n, err := s.Append(ctx, a); err != nil || n != 0 {
		t.Fatalf("stored %d again, %v; want 0", n, err)
	}
	s.Close()
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString(`{"id":"cut of`); err != nil {
		t.Fatal(err)
	}
	f.Close()
	for round := range 2 {
		if s, err = OpenFileStore(path); err != nil {
			t.Fatal(err)
		}
		ds, err := s.All(ctx)
		if err != nil || len(ds) != 2+round || ds[0].ID != a.ID || ds[1].ID != b.ID {
			t.Fatalf("round %d: %d decisions, %v", round, len(ds), err)
		}
		if _, err := s.Append(ctx, decision(Unsure, marks[2])); err != nil {
			t.Fatal(err)
		}
		s.Close()
	}
	if err := os.WriteFile(path, []byte("not json\n{}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenFileStore(path); err == nil || !strings.Contains(err.Error(), "line 1") || !strings.Contains(err.Error(), path) {
		t.Errorf("broken line: error %v, want one that names file and line", err)
	}
}

func TestTakeIsAllOrNothingAndHarmlessTwice(t *testing.T) {
	_, caps, marks := testRun(t, 1)
	ctx := context.Background()
	ix, s := NewIndex(caps, marks), testStore(t)
	strange := decision(Accept, marks[0])
	strange.Capture = "of another run.png"
	f := &DecisionsFile{Schema: 1, Decisions: []Decision{decision(Accept, marks[0]), strange, decision(Reject, marks[1])}}
	for round, want := range []Taken{{Added: 2}, {Known: 2}} {
		got, err := Take(ctx, s, ix, f)
		if err != nil || got.Added != want.Added || got.Known != want.Known || len(got.Skipped) != 1 {
			t.Fatalf("round %d: %+v, %v; want %+v and one skipped", round, got, err, want)
		}
	}
	bad := &DecisionsFile{Schema: 1, Decisions: []Decision{decision(Accept, marks[2]), {ID: "x"}}}
	if _, err := Take(ctx, s, ix, bad); !errors.Is(err, ErrBadDecision) || !strings.Contains(err.Error(), "decision 2") {
		t.Errorf("error %v, want a bad decision 2", err)
	}
	if ds, _ := s.All(ctx); len(ds) != 2 {
		t.Errorf("%d decisions stored, want the first 2 only", len(ds))
	}
}

func TestReadDecisionsRefusesBadFiles(t *testing.T) {
	for _, text := range []string{"", "{", `{"schema":2}`, `[]`, `{"schema":1,"decisions":[{"at":"yesterday"}]}`, "\x00"} {
		if _, err := ReadDecisions(strings.NewReader(text)); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}

func TestLabelsFromDecisions(t *testing.T) {
	_, caps, marks := testRun(t, 4)
	c := caps[0]
	change := decision(Change, marks[0])
	change.Class = detect.BottomObject
	no := false
	missed := Decision{ID: newID(), At: testTime, Action: Missed, Capture: c.Capture, Class: detect.SuspendedTarget, Kind: "fish",
		Highlight: &detect.Box{X: 500, Y: 50, W: 9, H: 6}, Sure: &no}
	taken := missed
	taken.ID = newID()
	ds := []Decision{decision(Accept, marks[0]), change, decision(Reject, marks[1]), decision(Unsure, marks[2]), missed, taken,
		{ID: newID(), At: testTime, Action: Undo, Undoes: taken.ID}}
	if got := Labels(caps, marks, ds, true); len(got.Captures) != 0 {
		t.Errorf("%d captures counted as looked at to the end, want none", len(got.Captures))
	}
	ds = append(ds, Decision{ID: newID(), At: testTime, Action: Done, Capture: c.Capture})
	got := Labels(caps, marks, ds, true)
	if len(got.Captures) != 1 || got.Captures[0].By != "hand" || got.Captures[0].Capture != c.Capture {
		t.Fatalf("captures %+v, want one by hand", got.Captures)
	}
	ms := got.Captures[0].Marks
	if len(ms) != 3 {
		t.Fatalf("%d labels, want accepted, unsure and drawn", len(ms))
	}
	if ms[0].Class != detect.BottomObject || ms[0].Sure != nil {
		t.Errorf("accepted mark became %+v", ms[0])
	}
	if ms[1].Sure == nil || *ms[1].Sure {
		t.Error("unsure mark is not labelled unsure")
	}
	if ms[2].Kind != "fish" || ms[2].Side != detect.Starboard || ms[2].Sure == nil {
		t.Errorf("drawn mark became %+v", ms[2])
	}
}

// Another file of the same schema number, such as labels, holds no decisions: taking it in must not look as if it had held none.
func TestDecisionsFileHoldsAList(t *testing.T) {
	for text, good := range map[string]bool{`{"schema":1,"decisions":[]}`: true, `{"schema":1,"captures":[]}`: false} {
		if _, err := ReadDecisions(strings.NewReader(text)); (err == nil) != good {
			t.Errorf("%s: %v", text, err)
		}
	}
}
