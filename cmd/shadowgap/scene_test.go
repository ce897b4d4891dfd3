package main

import (
	"os"
	"path/filepath"
	"testing"

	"shadowgap/eval"
	"shadowgap/eval/scene"
	"shadowgap/internal/survey"
)

// Heights of rendered captures can be measured only where triage is told their ranges: it reads what scene writes, and is told nothing
// of a capture that no longer ends at its range.
func TestRangesOfRenderedCaptures(t *testing.T) {
	dir := t.TempDir()
	labels := eval.Labels{Schema: eval.SchemaVersion}
	var set []scene.Named
	for _, c := range []struct {
		name           string
		rangeM         float64
		cut            int
		slantCorrected bool
	}{{"whole.png", 12.5, 0, false}, {"cut.jpg", 30, 200, false}, {"ground.png", 30, 0, true}} {
		labels.Captures = append(labels.Captures, eval.CaptureLabel{Capture: c.name, By: "scene", RangeM: c.rangeM})
		var s scene.Spec
		s.Output.CropW, s.Display.SlantCorrected = c.cut, c.slantCorrected
		set = append(set, scene.Named{Name: c.name, Spec: s})
	}
	if err := eval.WriteJSON(filepath.Join(dir, "labels.json"), labels); err != nil {
		t.Fatal(err)
	}
	if err := writeRanges(dir, set); err != nil {
		t.Fatal(err)
	}
	m, err := survey.ReadManifestFile(filepath.Join(dir, sceneManifest), nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{"whole.png": 12.5, "cut.jpg": 0, "ground.png": 0} {
		got := 0.0
		if e := m.Lookup(name); e != nil && e.RangeM != nil {
			got = *e.RangeM
		}
		if got != want {
			t.Errorf("%s: range %g m, want %g", name, got, want)
		}
	}
	if err := writeRanges(dir, set[:1]); err == nil {
		t.Error("labels of other captures were taken")
	}
	if err := os.Remove(filepath.Join(dir, "labels.json")); err != nil {
		t.Fatal(err)
	}
	if err := writeRanges(dir, set); err == nil {
		t.Error("ranges without labels")
	}
}
