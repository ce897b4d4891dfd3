package eval

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/features"
)

func ptr[T any](v T) *T { return &v }

func box(x, y, w, h int) *detect.Box { return &detect.Box{X: x, Y: y, W: w, H: h} }

func label(class detect.Class, b *detect.Box) MarkLabel { return MarkLabel{Class: class, Highlight: b} }

// mark gives a class the odds o and clutter the rest.
func mark(capture string, class detect.Class, o float64, b *detect.Box) detect.MarkRecord {
	odds := detect.Odds{detect.BottomObject: 0, detect.SuspendedTarget: 0, detect.RaisedStructure: 0, detect.Clutter: 1 - o}
	odds[class] = o
	return detect.MarkRecord{Schema: 1, Capture: capture, Class: class, Odds: odds, Box: *b, Highlight: b}
}

func capture(name string) detect.CaptureRecord {
	return detect.CaptureRecord{Schema: 1, Capture: name, Status: detect.StatusRead, Width: 400, Height: 300}
}

func quick() Options {
	o := DefaultOptions()
	o.Resamples = 50
	return o
}

// survey is a small run with every fate in it:
//
//	a.png  rock found, fish found but called bottom-object, small label with a mark, faint label without, one false mark
//	b.png  fish missed; two marks in a rock field
//	c.png  nothing labelled, one false mark
//	d.png  unreadable, one label
//	e.png  not labelled
func survey() (Run, Labels) {
	run := Run{
		Captures: []detect.CaptureRecord{capture("a.png"), capture("b.png"), capture("c.png"), capture("d.png"), capture("e.png")},
		Marks: []detect.MarkRecord{
			mark("a.png", detect.BottomObject, 0.9, box(101, 50, 20, 10)),
			mark("a.png", detect.BottomObject, 0.6, box(200, 80, 12, 12)),
			mark("a.png", detect.SuspendedTarget, 0.7, box(300, 20, 4, 4)),
			mark("a.png", detect.RaisedStructure, 0.55, box(20, 250, 30, 8)),
			mark("b.png", detect.BottomObject, 0.8, box(60, 60, 9, 9)),
			mark("b.png", detect.BottomObject, 0.8, box(80, 75, 9, 9)),
			mark("c.png", detect.SuspendedTarget, 0.8, box(10, 10, 9, 9)),
			mark("e.png", detect.SuspendedTarget, 0.8, box(10, 10, 9, 9)),
		},
	}
	run.Captures[3].Status, run.Captures[3].Width, run.Captures[3].Height = detect.StatusUnreadable, 0, 0
	faint := label(detect.BottomObject, box(350, 200, 10, 10))
	faint.Contrast = ptr(0.1)
	fish := label(detect.SuspendedTarget, box(199, 79, 12, 12))
	fish.GapPx = ptr(6.0)
	labels := Labels{Schema: 1, Captures: []CaptureLabel{
		{Capture: "c.png", By: "scene"},
		{Capture: "a.png", By: "scene", Palette: "copper", Marks: []MarkLabel{
			label(detect.BottomObject, box(100, 50, 20, 10)), fish, label(detect.SuspendedTarget, box(300, 20, 4, 4)), faint}},
		{Capture: "b.png", By: "scene", Palette: "grey", Marks: []MarkLabel{label(detect.SuspendedTarget, box(300, 200, 8, 8))},
			Regions: []detect.Region{{Kind: "rock-field", Box: *box(50, 50, 60, 60)}}},
		{Capture: "d.png", By: "hand", Marks: []MarkLabel{label(detect.BottomObject, box(5000, 5, 10, 10))}},
	}}
	return run, labels
}

func TestScoreCountsEveryFate(t *testing.T) {
	run, labels := survey()
	r, err := Score(context.Background(), run, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	if r.Captures != (CaptureTally{Labelled: 4, Unlabelled: 1, Unreadable: 1}) {
		t.Errorf("captures %+v", r.Captures)
	}
	if r.Labels != (LabelTally{Total: 6, Counted: 4, TooSmall: 1, TooFaint: 1}) {
		t.Errorf("labels %+v", r.Labels)
	}
	if d := r.Detection; d.Recall.K != 2 || d.Recall.N != 4 || d.Precision.K != 2 || d.Precision.N != 4 || d.DontCare != 1 {
		t.Errorf("recall %+v, precision %+v, don't care %d", d.Recall, d.Precision, d.DontCare)
	}
	near(t, "false marks a capture", r.Detection.FalsePerCapture.Value, 0.5, 0)
	near(t, "in regions", r.Detection.InRegionPerCapture.Value, 0.5, 0)
	if r.Detection.EmptyCaptures != 1 {
		t.Errorf("%d empty captures", r.Detection.EmptyCaptures)
	}
	near(t, "marks where nothing is", r.Detection.MarksPerEmpty.Value, 1, 0)
	if r.RightClass.K != 1 || r.RightClass.N != 2 {
		t.Errorf("right class %+v", r.RightClass)
	}
	if b := r.BottomOrNot; b.Both.K != 1 || b.Both.N != 2 || b.Suspended.N != 1 || b.Bottom.K != 1 {
		t.Errorf("bottom or not %+v", b)
	}
	want := [][]int{ // columns: bottom-object, suspended-target, raised-structure, clutter, missed
		{1, 0, 0, 0, 1},
		{1, 0, 0, 0, 1},
		{0, 0, 0, 0, 0},
		{0, 1, 1, 0, 0},
	}
	for i := range want {
		for j := range want[i] {
			if r.Confusion.Count[i][j] != want[i][j] {
				t.Errorf("confusion %s → %s: %d, want %d", r.Confusion.Truth[i], r.Confusion.Given[j], r.Confusion.Count[i][j], want[i][j])
			}
		}
	}
	// bottom-object: marks by odds 0.9 (right), 0.6 (a fish); one of two labels found: AP = 0.5 · 1.
	near(t, "average precision of bottom-object", r.Classes[0].AP.Value, 0.5, 1e-12)
	if len(r.Worst) != 2+2+1 {
		t.Errorf("worst %+v", r.Worst)
	}
	if r.PerCapture[0].Capture != "a.png" {
		t.Errorf("captures out of order: %+v", r.PerCapture)
	}
}

func TestSeenButCalledClutterIsToldApartFromMissed(t *testing.T) {
	run := Run{Captures: []detect.CaptureRecord{capture("a.png")}, Marks: []detect.MarkRecord{
		mark("a.png", detect.Clutter, 0, box(10, 10, 10, 10)),
		mark("a.png", detect.Clutter, 0, box(200, 10, 10, 10)),
	}}
	for i := range run.Marks {
		run.Marks[i].Odds = detect.Odds{detect.BottomObject: 0.3, detect.Clutter: 0.7}
	}
	labels := Labels{Schema: 1, Captures: []CaptureLabel{
		{Capture: "a.png", By: "hand", Marks: []MarkLabel{label(detect.BottomObject, box(10, 10, 10, 10))}},
	}}
	r, err := Score(context.Background(), run, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	if r.Confusion.Count[0][3] != 1 || r.Confusion.Count[0][4] != 0 || r.Confusion.Count[3][3] != 1 {
		t.Errorf("confusion %v", r.Confusion.Count)
	}
	if r.Detection.Recall.K != 0 || r.Detection.FalsePerCapture.Value != 0 {
		t.Errorf("a mark called clutter was taken as reported: %+v", r.Detection)
	}
	near(t, "best recall of the curve", r.FROC.At[2].Recall.Value, 1, 0)
}

func TestMatchingTakesTheMostPairs(t *testing.T) {
	// The first mark overlaps both labels, the second only the first label: greedy would leave one out.
	labels := []MarkLabel{label(detect.BottomObject, box(0, 0, 20, 20)), label(detect.BottomObject, box(12, 0, 20, 20))}
	a, b := mark("", detect.BottomObject, 0.9, box(4, 0, 20, 20)), mark("", detect.BottomObject, 0.8, box(-8, 0, 20, 20))
	m, err := matchOptimal(Gate{MinIoU: 0.2}, labels, []bool{true, true}, []*detect.MarkRecord{&a, &b}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if m.markOf[0] != 1 || m.markOf[1] != 0 {
		t.Errorf("pairs %v", m.markOf)
	}
	swept := matchByScore(Gate{MinIoU: 0.2}, labels, []bool{true, true}, []*detect.MarkRecord{&a, &b}, nil, chanceReal)
	if swept.markOf[0] != 0 || swept.fate[1] != fateFalse {
		t.Errorf("a lower score changed what a higher one got: %+v", swept)
	}
}

func TestGate(t *testing.T) {
	g := DefaultGate()
	l := *box(100, 100, 10, 10)
	for _, c := range []struct {
		name string
		mark *detect.Box
		near bool
	}{
		{"same", box(100, 100, 10, 10), true},
		{"half over", box(105, 100, 10, 10), true},
		{"beside, centres within half the diagonal", box(107, 100, 10, 10), true},
		{"centres farther", box(108, 100, 10, 10), false},
		{"much larger on the same centre", box(55, 55, 100, 100), true},
		{"elsewhere", box(300, 100, 10, 10), false},
	} {
		if got := !math.IsInf(g.distance(l, *c.mark), 1); got != c.near {
			t.Errorf("%s: %v, want %v (IoU %v, centres %v px)", c.name, got, c.near, IoU(l, *c.mark), centreDistance(l, *c.mark))
		}
	}
	if tiny := *box(10, 10, 2, 2); math.IsInf(g.distance(tiny, *box(13, 10, 2, 2)), 1) {
		t.Error("a tiny box 3 px off is within 4 px")
	}
	near(t, "third", IoU(*box(0, 0, 10, 10), *box(5, 0, 10, 10)), 1.0/3, 1e-12)
}

func TestMatchingByShadowWhereThereIsNoHighlight(t *testing.T) {
	m := mark("", detect.RaisedStructure, 0.8, box(0, 0, 60, 20))
	m.Highlight, m.Shadow = nil, box(10, 0, 50, 20)
	l := MarkLabel{Class: detect.RaisedStructure, Shadow: box(12, 0, 50, 20)}
	if math.IsInf(DefaultGate().pair(&l, &m), 1) {
		t.Error("shadows overlap but don't pair")
	}
	l = label(detect.RaisedStructure, box(12, 0, 50, 20))
	if !math.IsInf(DefaultGate().pair(&l, &m), 1) {
		t.Error("a highlight paired with a shadow")
	}
}

func TestProfileErrorsHaveSigns(t *testing.T) {
	rec := capture("a.png")
	rec.Panels = []detect.PanelRecord{{
		Box:   *box(0, 0, 400, 300),
		Nadir: []detect.RowX{{0, 200}, {10, 200}, {20, 200}},
		FirstReturn: detect.FirstReturn{
			Port:      []detect.RowX{{0, 147}, {10, 147}, {20, 147}}, // 3 px too far out
			Starboard: []detect.RowX{{0, 251}, {20, 251}},            // 1 px too far out
		},
	}}
	lab := CaptureLabel{Capture: "a.png", By: "scene", Nadir: []detect.RowX{{0, 200}, {20, 200}}}
	for row := range 21 {
		lab.FirstReturn.Port = append(lab.FirstReturn.Port, detect.RowX{float64(row), 150})
		lab.FirstReturn.Starboard = append(lab.FirstReturn.Starboard, detect.RowX{float64(row), 250})
	}
	lab.FirstReturn.Port = append(lab.FirstReturn.Port, detect.RowX{200, 150}) // where the run says nothing
	labels := Labels{Schema: 1, Captures: []CaptureLabel{lab}}
	r, err := Score(context.Background(), Run{Captures: []detect.CaptureRecord{rec}}, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	if r.FirstReturn.Rows != 42 || r.FirstReturn.Absent.K != 1 {
		t.Errorf("first return %+v", r.FirstReturn)
	}
	near(t, "bias", r.FirstReturn.Bias.Value, 2, 1e-12)
	near(t, "median", r.FirstReturn.Median.Value, 1, 1e-12)
	near(t, "95th percentile", r.FirstReturn.P95.Value, 3, 1e-12)
	near(t, "altitude bias", r.Altitude.Bias.Value, 2, 1e-12)
	near(t, "relative bias", r.Relative.Bias.Value, 0.04, 1e-12)
	near(t, "nadir", r.Nadir.P95.Value, 0, 0)
	if len(r.WorstLines) != 1 || r.WorstLines[0].Side != detect.Port || r.WorstLines[0].Off.K != 1 || r.WorstLines[0].Absent != 1 {
		t.Errorf("worst lines %+v", r.WorstLines)
	}
}

func TestAtRow(t *testing.T) {
	p := []detect.RowX{{10, 100}, {20, 110}, {60, 150}}
	for _, c := range []struct {
		row, x float64
		ok     bool
	}{{10, 100, true}, {15, 105, true}, {2, 100, true}, {-5, 0, false}, {40, 0, false}, {66, 150, true}, {80, 0, false}} {
		x, ok := atRow(p, c.row)
		if ok != c.ok || (ok && x != c.x) {
			t.Errorf("row %v: %v, %v", c.row, x, ok)
		}
	}
	if _, ok := atRow(nil, 3); ok {
		t.Error("an empty profile answered")
	}
}

func TestValueErrors(t *testing.T) {
	m := mark("a.png", detect.SuspendedTarget, 0.9, box(10, 10, 10, 10))
	m.HeightM = &features.Measured{Value: 1.3, SD: 0.2}
	l := label(detect.SuspendedTarget, box(10, 10, 10, 10))
	l.HeightM, l.GapPx = ptr(1.0), ptr(5.0)
	r, err := Score(context.Background(), Run{Captures: []detect.CaptureRecord{capture("a.png")}, Marks: []detect.MarkRecord{m}},
		Labels{Schema: 1, Captures: []CaptureLabel{{Capture: "a.png", By: "scene", Marks: []MarkLabel{l}}}}, quick())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "height bias", float64(r.Height.Bias), 0.3, 1e-12)
	near(t, "height error over height", r.Height.Relative.Value, 0.3, 1e-12)
	if r.Height.N != 1 || r.Height.Within1SD.K != 0 || r.Height.Within2SD.K != 1 ||
		r.Gap.N != 0 || r.Gap.Absent != 1 || r.OffBottom.Absent != 0 {
		t.Errorf("height %+v, gap %+v", r.Height, r.Gap)
	}
}

func TestHumps(t *testing.T) {
	rec := capture("a.png")
	rec.Panels = []detect.PanelRecord{{Humps: []detect.Hump{{Rows: [2]int{12, 40}}, {Rows: [2]int{200, 210}}}}}
	r, err := Score(context.Background(), Run{Captures: []detect.CaptureRecord{rec}},
		Labels{Schema: 1, Captures: []CaptureLabel{{Capture: "a.png", By: "scene", Humps: [][2]int{{10, 42}, {100, 120}}}}}, quick())
	if err != nil {
		t.Fatal(err)
	}
	if r.Humps.Recall.K != 1 || r.Humps.Recall.N != 2 || r.Humps.Precision.N != 2 {
		t.Errorf("humps %+v", r.Humps)
	}
}

// A run of a part of what is labelled is scored by that part, and what is left out is counted, as captures without labels are.
func TestScoreOfAPartOfTheLabels(t *testing.T) {
	run, labels := survey()
	want, err := Score(t.Context(), run, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		labels.Captures = append(labels.Captures, CaptureLabel{Capture: fmt.Sprintf("elsewhere/%d.png", i), By: "hand",
			Marks: []MarkLabel{label(detect.BottomObject, box(50, 50, 20, 20))}})
	}
	got, err := Score(t.Context(), run, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	if got.Captures.Lacking != 3 || got.Captures.Labelled != want.Captures.Labelled || got.Detection.Recall != want.Detection.Recall {
		t.Errorf("captures %+v, recall %+v; want recall %+v", got.Captures, got.Detection.Recall, want.Detection.Recall)
	}
	var b strings.Builder
	if err := WriteText(&b, got); err != nil || !strings.Contains(b.String(), "3 labelled captures are not in the run and are not scored\n") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

func TestScoreRefusesBadLabels(t *testing.T) {
	for _, c := range []struct {
		name, want string
		change     func(*Labels)
	}{
		{"no known capture", `4 of 4 captures are unknown`, func(l *Labels) {
			for i := range l.Captures {
				l.Captures[i].Capture = "zz" + l.Captures[i].Capture
			}
		}},
		{"box outside", `mark 1: highlight box {395 50 20 10} lies outside the picture of 400 × 300`, func(l *Labels) {
			l.Captures[1].Marks[0].Highlight.X = 395
		}},
		{"unknown class", `mark 2: unknown class "whale"`, func(l *Labels) { l.Captures[1].Marks[1].Class = "whale" }},
		{"duplicate mark", `mark 2: duplicate of mark 1`, func(l *Labels) {
			*l.Captures[1].Marks[1].Highlight = *l.Captures[1].Marks[0].Highlight
		}},
		{"duplicate capture", `capture 3 ("a.png"): duplicate of capture 2`, func(l *Labels) { l.Captures[2].Capture = "a.png" }},
		{"schema", `schema 7`, func(l *Labels) { l.Schema = 7 }},
		{"neither", `mark 1: neither highlight nor shadow`, func(l *Labels) { l.Captures[1].Marks[0].Highlight = nil }},
		{"empty box", `box is 0 × 10 pixels`, func(l *Labels) { l.Captures[1].Marks[0].Highlight.W = 0 }},
		{"huge box", `lies outside the picture`, func(l *Labels) { l.Captures[1].Marks[0].Highlight.W = math.MaxInt }},
		{"by", `by is "robot"`, func(l *Labels) { l.Captures[0].By = "robot" }},
		{"hump", `hump 1`, func(l *Labels) { l.Captures[0].Humps = [][2]int{{9, 3}} }},
		{"profile", `does not come after`, func(l *Labels) { l.Captures[0].Nadir = []detect.RowX{{5, 1}, {5, 2}} }},
		{"upwards", `plain path below`, func(l *Labels) { l.Captures[0].Capture = "../c.png" }},
	} {
		run, labels := survey()
		c.change(&labels)
		r, err := Score(context.Background(), run, labels, quick())
		if r != nil || !errors.Is(err, errLabels) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: results %v, error %v", c.name, r != nil, err)
		}
	}
}

// Labels of another run know hundreds of captures that this one lacks; what else is wrong with them must stay in sight.
func TestUnknownCapturesAreSummedUp(t *testing.T) {
	sizes := map[string]image.Point{"known.png": {X: 400, Y: 300}}
	for _, c := range []struct {
		unknown int
		want    []string
		lines   int
	}{
		{3, []string{`capture 1 ("0.png"): unknown capture`, `capture 3 ("2.png"): unknown capture`}, 4},
		{4, []string{`4 of 5 captures are unknown, the run has no such files: capture 1 ("0.png"), capture 2 ("1.png"), ` +
			`capture 3 ("2.png") and 1 more`}, 2},
		{300, []string{"300 of 301 captures are unknown", "and 297 more"}, 2},
	} {
		l := Labels{Schema: 1}
		for i := range c.unknown {
			l.Captures = append(l.Captures, CaptureLabel{Capture: fmt.Sprintf("%d.png", i), By: "hand"})
		}
		l.Captures = append(l.Captures, CaptureLabel{Capture: "known.png", By: "robot"})
		err := l.Check(sizes)
		for _, want := range append(c.want, `("known.png"): by is "robot"`) {
			if !errors.Is(err, errLabels) || !strings.Contains(err.Error(), want) {
				t.Errorf("%d unknown: %v\nlacks %q", c.unknown, err, want)
			}
		}
		if lines := strings.Count(err.Error(), "\n") + 1; lines != c.lines {
			t.Errorf("%d unknown: told in %d lines, want %d", c.unknown, lines, c.lines)
		}
	}
}

func TestScoreStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	run, labels := survey()
	if r, err := Score(ctx, run, labels, quick()); r != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("results %v, error %v", r, err)
	}
}

func TestLabelsFindTheirCaptureBelowAnotherFolder(t *testing.T) {
	run, labels := survey()
	for i := range run.Captures {
		run.Captures[i].Capture = "night/" + run.Captures[i].Capture
	}
	for i := range run.Marks {
		run.Marks[i].Capture = "night/" + run.Marks[i].Capture
	}
	r, err := Score(context.Background(), run, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	if r.Detection.Recall.K != 2 {
		t.Errorf("recall %+v", r.Detection.Recall)
	}
	if labels.Captures[0].Capture != "c.png" {
		t.Error("the caller's labels were changed")
	}
	run.Captures = append(run.Captures, capture("day/a.png")) // now a.png could be either
	if _, err := Score(context.Background(), run, labels, quick()); !errors.Is(err, errLabels) {
		t.Errorf("two captures fit one label: error %v", err)
	}
}

func TestDecodeNamesTheFault(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"no JSON", "{\n\n!", "line 3"},
		{"wrong type", "{\"schema\":1,\n\"captures\":[{\"capture\":5}]}", "line 2"},
		{"no schema", `{"captures":[]}`, `no "schema"`},
		{"schema", `{"schema":2,"captures":[]}`, "schema 2, this program reads schema 1"},
		{"misspelt", `{"schema":1,"captures":[{"capture":"a.png","by":"hand","marks":[{"class":"bottom-object","hilight":null}]}]}`, `"hilight"`},
		{"trailing", `{"schema":1,"captures":[]} {}`, "line 1"},
		{
			"class", `{"schema":1,"captures":[{"capture":"a.png","by":"hand","marks":[{"class":"x","highlight":{"x":0,"y":0,"w":1,"h":1}}]}]}`,
			`capture 1 ("a.png"): mark 1: unknown class "x"`,
		},
	} {
		l, err := decodeLabels([]byte(c.in))
		if l != nil || !errors.Is(err, errLabels) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v", c.name, err)
		}
	}
	many := Labels{Schema: 1}
	for range 50 {
		many.Captures = append(many.Captures, CaptureLabel{Capture: "same.png", By: "hand"})
	}
	if err := many.Check(nil); err == nil || !strings.Contains(err.Error(), "and 29 more") {
		t.Errorf("fifty faults: %v", err)
	}
	if _, err := Load(filepath.Join(t.TempDir(), "none.json")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	_, labels := survey()
	data, err := json.Marshal(labels)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"schema":1,"captures":[{"capture":"a","by":"hand","marks":[{"class":"clutter","shadow":{"x":1,"y":2,"w":3,"h":4}}]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := decodeLabels(data)
		if (l == nil) == (err == nil) {
			t.Fatalf("labels %v with error %v", l, err)
		}
		if l != nil {
			run := Run{}
			for _, c := range l.Captures {
				run.Captures = append(run.Captures, capture(c.Capture))
			}
			opt := quick()
			opt.Resamples = 1
			if _, err := Score(context.Background(), run, *l, opt); err != nil && !errors.Is(err, errLabels) {
				t.Fatal(err)
			}
		}
	})
}

func TestCompare(t *testing.T) {
	result := func(found ...int) *Results {
		r := &Results{}
		for i, f := range found {
			r.PerCapture = append(r.PerCapture, CaptureResult{Capture: string(rune('a' + i)), Labels: 4, Found: f, RightClass: f, False: 4 - f})
		}
		return r
	}
	a, b := result(1, 1, 1, 1, 1, 1), result(3, 3, 3, 3, 3, 3)
	list, err := Compare(a, b, 1000, 1)
	if err != nil {
		t.Fatal(err)
	}
	// Only the two exchanges that swap none or all reach the difference: 2 of 2⁶.
	if c := list[1]; c.Statistic != "recall" || !c.Exact || math.Abs(float64(c.P)-2.0/64) > 1e-12 || math.Abs(float64(c.Diff)-0.5) > 1e-12 {
		t.Errorf("%+v", c)
	}
	if list, err = Compare(a, a, 1000, 1); err != nil || float64(list[0].P) != 1 {
		t.Errorf("a run against itself: %+v, %v", list, err)
	}
	long := func(v int) []int {
		out := make([]int, 70)
		for i := range out {
			out[i] = 1 + (i*7+v)%3
		}
		return out
	}
	if list, err = Compare(result(long(0)...), result(long(1)...), 2000, 1); err != nil || list[1].Exact || float64(list[1].P) < 0.3 {
		t.Errorf("shuffled results: %+v, %v", list, err)
	}
	if _, err := Compare(a, result(1), 10, 1); err == nil {
		t.Error("other captures: no error")
	}
	b.PerCapture[2].Labels = 9
	if _, err := Compare(a, b, 10, 1); err == nil {
		t.Error("other labels: no error")
	}
}

func TestTileAgreement(t *testing.T) {
	tiles := []Tile{
		{"left_2.png", *box(50, 50, 20, 20), []detect.MarkRecord{
			mark("", detect.BottomObject, 0.9, box(52, 50, 20, 20)), mark("", detect.Clutter, 0, box(0, 0, 9, 9)),
		}},
		{"left_1.png", *box(50, 50, 20, 20), []detect.MarkRecord{
			mark("", detect.SuspendedTarget, 0.9, box(50, 55, 20, 20)), mark("", detect.BottomObject, 0.9, box(90, 90, 9, 9)),
		}},
		{"right_1.png", *box(50, 50, 20, 20), []detect.MarkRecord{mark("", detect.BottomObject, 0.9, box(66, 66, 20, 20))}},
	}
	r := TileAgreement(tiles, quick())
	if r.All.Found.K != 2 || r.All.Class.K != 1 || r.First.Tiles != 2 || r.First.Found.K != 2 || r.Second.Found.K != 0 {
		t.Errorf("%+v", r)
	}
	near(t, "others", r.All.Others.Value, 2.0/3, 1e-12)
	if len(r.Second.Missing) != 1 || r.Second.Missing[0] != "right_1.png" {
		t.Errorf("missing %v", r.Second.Missing)
	}
	var b bytes.Buffer
	if err := WriteTilesText(&b, r); err != nil || !strings.Contains(b.String(), "(2/3)") {
		t.Errorf("%v\n%s", err, b.String())
	}
	if empty := TileAgreement(nil, quick()); empty.All.Found.N != 0 {
		t.Errorf("no tiles: %+v", empty)
	}
}

// writePNG writes a grey picture with one bright rectangle.
func writePNG(t *testing.T, file string, w, h int, bright image.Rectangle, level uint8) {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, w, h))
	for y := bright.Min.Y; y < bright.Max.Y; y++ {
		for x := bright.Min.X; x < bright.Max.X; x++ {
			img.SetGray(x, y, color.Gray{Y: level})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestLoadTiles(t *testing.T) {
	dir := t.TempDir()
	writePNG(t, filepath.Join(dir, "left_1.png"), 64, 64, image.Rect(10, 20, 14, 27), 1)
	run := Run{
		Captures: []detect.CaptureRecord{capture("images/left_1.png")},
		Marks:    []detect.MarkRecord{mark("images/left_1.png", detect.BottomObject, 0.9, box(10, 20, 4, 7))},
	}
	tiles, err := LoadTiles(context.Background(), dir, run)
	if err != nil {
		t.Fatal(err)
	}
	if len(tiles) != 1 || tiles[0].Mask != *box(10, 20, 4, 7) || len(tiles[0].Marks) != 1 {
		t.Errorf("%+v", tiles)
	}
	writePNG(t, filepath.Join(dir, "left_2.png"), 64, 64, image.Rectangle{}, 0)
	if _, err := LoadTiles(context.Background(), dir, run); err == nil || !strings.Contains(err.Error(), "left_2.png") {
		t.Errorf("mask without capture: %v", err)
	}
	run.Captures = append(run.Captures, capture("images/left_2.png"))
	if _, err := LoadTiles(context.Background(), dir, run); !errors.Is(err, errEmptyMask) {
		t.Errorf("empty mask: %v", err)
	}
	if _, err := LoadTiles(context.Background(), t.TempDir(), run); err == nil {
		t.Error("no masks: no error")
	}
}

func TestReports(t *testing.T) {
	run, labels := survey()
	root := t.TempDir()
	for _, name := range []string{"a.png", "b.png"} {
		writePNG(t, filepath.Join(root, name), 400, 300, image.Rect(100, 50, 120, 60), 200)
	}
	labels.Captures[1].Marks[1].Kind = `<script>alert("x")</script>`
	r, err := Score(context.Background(), run, labels, quick())
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteText(&b, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"recall", "0.500 [0.150, 0.850] (2/4)", "nothing there", strings.Join(detect.Cautions(), " ")} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("terminal table lacks %q:\n%s", want, b.String())
		}
	}
	jsonFile := filepath.Join(root, "results.json")
	if err := WriteJSON(jsonFile, r); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(jsonFile)
	if err != nil {
		t.Fatal(err)
	}
	var back map[string]any
	if err := json.Unmarshal(data, &back); err != nil || back["schema"] != 1.0 {
		t.Errorf("results.json: %v", err)
	}
	tiles := TileAgreement(nil, quick())
	htmlFile := filepath.Join(root, "report.html")
	if err := WriteHTML(context.Background(), htmlFile, "Score of <a run>", r, root, &tiles); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(htmlFile)
	if err != nil {
		t.Fatal(err)
	}
	text := string(page)
	if strings.Contains(text, "<script") || strings.Contains(text, "ZgotmplZ") || strings.Contains(text, "http://") ||
		strings.Contains(text, "NaN") {
		t.Error("report.html has a script, a refused address, an outside address or a NaN")
	}
	if n := strings.Count(text, `alt="Part of `); n != 3 { // missed in b, false in a, wrong class in a; c and d have no picture
		t.Errorf("%d pictures of misses, want 3", n)
	}
	if strings.Count(text, "no picture</div>") != 2 || strings.Count(text, "<figure><figcaption>") < 6 {
		t.Errorf("%d misses without picture, %d plots", strings.Count(text, "no picture</div>"), strings.Count(text, "<figure><figcaption>"))
	}
	if left, _ := filepath.Glob(filepath.Join(root, ".*")); len(left) != 0 {
		t.Errorf("temporary files left: %v", left)
	}
	if err := WriteJSON(filepath.Join(root, "none", "x.json"), r); err == nil {
		t.Error("missing folder: no error")
	}
}

func TestScoreOfAnEmptyRun(t *testing.T) {
	r, err := Score(context.Background(), Run{}, Labels{Schema: 1}, quick())
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WriteText(&b, r); err != nil || strings.Contains(b.String(), "NaN") {
		t.Errorf("%v\n%s", err, b.String())
	}
	file := filepath.Join(t.TempDir(), "report.html")
	if err := WriteHTML(context.Background(), file, "empty", r, "", nil); err != nil {
		t.Fatal(err)
	}
	if err := WriteJSON(filepath.Join(t.TempDir(), "r.json"), r); err != nil {
		t.Fatal(err)
	}
}

// openData is the folder of data that others have opened, beside the repository unless the environment names another.
func openData(t *testing.T, parts ...string) string {
	t.Helper()
	root := os.Getenv("SHADOWGAP_OPEN_DATA")
	if root == "" {
		root = filepath.Join("..", "..", "shared", "open-data")
	}
	dir := filepath.Join(append([]string{root}, parts...)...)
	if _, err := os.Stat(dir); err != nil {
		t.Skipf("needs the open side-scan tiles in %s (set SHADOWGAP_OPEN_DATA to their folder): %v", dir, err)
	}
	return dir
}

// Marks put exactly on the masks of the real tiles must all be found: 135 tiles of 256 × 256 pixels, some masks grey and some
// with an alpha channel.
func TestMasksOfTheOpenTiles(t *testing.T) {
	dir := openData(t, "river-effigy", "masks")
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var run Run
	for _, e := range entries {
		b, err := ReadMaskBox(context.Background(), filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if b.X < 0 || b.Y < 0 || b.X+b.W > 256 || b.Y+b.H > 256 || b.W > 200 {
			t.Errorf("%s: box %v", e.Name(), b)
		}
		run.Captures = append(run.Captures, capture("images/"+e.Name()))
		run.Marks = append(run.Marks, mark("images/"+e.Name(), detect.BottomObject, 0.9, &b))
	}
	tiles, err := LoadTiles(context.Background(), dir, run)
	if err != nil {
		t.Fatal(err)
	}
	if r := TileAgreement(tiles, quick()); r.All.Found.K != 135 || r.All.Others.Value != 0 || r.First.Tiles != 68 || r.All.Class.K != 135 {
		t.Errorf("%+v", r.All)
	}
}

func BenchmarkScore(b *testing.B) {
	run, labels := survey()
	opt := DefaultOptions()
	for b.Loop() {
		if _, err := Score(context.Background(), run, labels, opt); err != nil {
			b.Fatal(err)
		}
	}
}
