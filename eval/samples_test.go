package eval_test

import (
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/models/fit"
)

func TestSamplesOfWhatNobodyIsSureOf(t *testing.T) {
	box := func(x, y, w, h int) *detect.Box { return &detect.Box{X: x, Y: y, W: w, H: h} }
	no := false
	label := eval.CaptureLabel{Capture: "a.png", Marks: []eval.MarkLabel{
		{Class: detect.BottomObject, Highlight: box(10, 10, 8, 8)},
		{Class: detect.RaisedStructure, Highlight: box(100, 10, 40, 40), Sure: &no},
	}}
	marks := []detect.MarkRecord{
		{Highlight: box(11, 10, 8, 8)},    // the stone
		{Highlight: box(110, 20, 20, 20)}, // what may be a wall
		{Highlight: box(118, 30, 8, 8)},   // and a part of it
		{Highlight: box(200, 10, 8, 8)},   // nothing
	}
	classes := classesOf(eval.Samples("a", label, marks, eval.DefaultGate()))
	if want := []string{string(detect.BottomObject), string(detect.Clutter)}; !slices.Equal(classes, want) {
		t.Errorf("classes %v, want %v: what lies on an unsure label teaches nothing", classes, want)
	}
}

// What tells a thing best is its find, though another mark may lie nearer to where a person drew it.
func TestSamplesOfOneThing(t *testing.T) {
	box := func(x, y, w, h int) *detect.Box { return &detect.Box{X: x, Y: y, W: w, H: h} }
	odds := func(chance float64) detect.Odds {
		return detect.Odds{detect.RaisedStructure: chance, detect.Clutter: 1 - chance}
	}
	label := eval.CaptureLabel{Capture: "a.png", Marks: []eval.MarkLabel{{Class: detect.RaisedStructure, Highlight: box(100, 100, 60, 100)}}}
	splinter := detect.MarkRecord{Highlight: box(120, 140, 20, 20), Odds: odds(0.2)}
	whole := detect.MarkRecord{Highlight: box(110, 90, 60, 100), Odds: odds(0.9)}
	again := detect.MarkRecord{Highlight: box(104, 90, 60, 70), Odds: odds(0.4)}
	decided := detect.MarkRecord{Highlight: box(100, 100, 60, 100), Odds: odds(0.1)}
	wall, none := string(detect.RaisedStructure), string(detect.Clutter)
	for _, tt := range []struct {
		name  string
		marks []detect.MarkRecord
		want  []string
	}{
		{"the nearest is a splinter", []detect.MarkRecord{{Highlight: box(128, 148, 4, 4), Odds: odds(0.2)}, whole}, []string{none, wall}},
		{"another like it", []detect.MarkRecord{again, whole}, []string{wall}},
		{"the splinter alone", []detect.MarkRecord{splinter}, []string{wall}},
		{"decided on", []detect.MarkRecord{decided, {Highlight: box(130, 170, 20, 60), Odds: odds(0.9)}}, []string{wall, none}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := classesOf(eval.Samples("a", label, tt.marks, eval.DefaultGate())); !slices.Equal(got, tt.want) {
				t.Errorf("classes %v, want %v", got, tt.want)
			}
		})
	}
}

// What lies in a further panel is nothing to learn from: its things aren't labelled.
func TestSamplesOfFurtherPanels(t *testing.T) {
	second := eval.PanelLabel{Box: detect.Box{X: 200, Y: 0, W: 100, H: 100}}
	label := eval.CaptureLabel{Capture: "a.png", Marks: []eval.MarkLabel{}, Panels: []eval.PanelLabel{second}}
	mark := func(x int) detect.MarkRecord {
		b := detect.Box{X: x, Y: 40, W: 20, H: 20}
		return detect.MarkRecord{Box: b, Highlight: &b, Odds: detect.Odds{detect.BottomObject: 0.9, detect.Clutter: 0.1}}
	}
	got := classesOf(eval.Samples("a", label, []detect.MarkRecord{mark(100), mark(240)}, eval.DefaultGate()))
	if want := []string{string(detect.Clutter)}; !slices.Equal(got, want) {
		t.Errorf("classes %v, want %v: of the mark in the first panel alone", got, want)
	}
}

func classesOf(samples []fit.Sample) []string {
	var out []string
	for _, s := range samples {
		out = append(out, s.Class)
	}
	return out
}
