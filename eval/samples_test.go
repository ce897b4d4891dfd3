package eval_test

import (
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
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
	got, err := eval.Samples("a", label, marks, eval.DefaultGate())
	if err != nil {
		t.Fatal(err)
	}
	var classes []string
	for _, s := range got {
		classes = append(classes, s.Class)
	}
	if want := []string{string(detect.BottomObject), string(detect.Clutter)}; !slices.Equal(classes, want) {
		t.Errorf("classes %v, want %v: what lies on an unsure label teaches nothing", classes, want)
	}
}
