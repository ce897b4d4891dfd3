package main

import (
	"bytes"
	"encoding/json"
	"image/color"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// What another program found is scored by the same rule, from a level that is found on one set of captures and held on another.
func TestScoreOfRecordsAtALevel(t *testing.T) {
	dir := t.TempDir()
	box := func(x int) detect.Box { return detect.Box{X: x, Y: 10, W: 12, H: 12} }
	var captures, marks bytes.Buffer
	labels := eval.Labels{Schema: eval.SchemaVersion}
	mark := func(name string, b detect.Box, chance float64) {
		m := detect.MarkRecord{Schema: 1, Capture: name, Class: detect.BottomObject, Box: b, Highlight: &b, Reasons: []string{},
			Odds: detect.Odds{detect.BottomObject: chance, detect.Clutter: 1 - chance}}
		if err := json.NewEncoder(&marks).Encode(m); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"a.png", "b.png"} {
		c := detect.CaptureRecord{Schema: 1, Capture: name, Status: detect.StatusRead, Width: 300, Height: 100}
		if err := json.NewEncoder(&captures).Encode(c); err != nil {
			t.Fatal(err)
		}
		b := box(10)
		labels.Captures = append(labels.Captures, eval.CaptureLabel{Capture: name, By: "hand", Humps: [][2]int{},
			Marks: []eval.MarkLabel{{Class: detect.BottomObject, Kind: "rock", Highlight: &b}}})
		mark(name, box(10), 0.75)
		mark(name, box(100), 0.5)
		mark(name, box(200), 0.25)
	}
	write(t, filepath.Join(dir, "peer", "captures.jsonl"), captures.Bytes())
	write(t, filepath.Join(dir, "peer", "marks.jsonl"), marks.Bytes())
	file := filepath.Join(dir, "labels.json")
	if err := eval.WriteJSON(file, labels); err != nil {
		t.Fatal(err)
	}
	score := func(out, level string) (r struct {
		Options struct {
			MinScore float64 `json:"min_score"`
		}
		Detection struct {
			Precision struct{ K, N int }
		}
	}) {
		args := []string{"score", filepath.Join(dir, "peer"), "--records", "--labels", file, "--out", out}
		if level != "" {
			args = append(args, "--level", level)
		}
		var stdout, stderr bytes.Buffer
		if code := run(args, &stdout, &stderr); code != exitRead {
			t.Fatalf("exit status %d: %s", code, stderr.String())
		}
		data, err := os.ReadFile(filepath.Join(out, "results.json"))
		if err == nil {
			err = json.Unmarshal(data, &r)
		}
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if r := score(filepath.Join(dir, "all"), ""); r.Options.MinScore != 0 || r.Detection.Precision.N != 6 {
		t.Errorf("without a level: %+v", r)
	}
	best := filepath.Join(dir, "best")
	if r := score(best, "best"); r.Options.MinScore != 0.75 || r.Detection.Precision.K != 2 || r.Detection.Precision.N != 2 {
		t.Errorf("at the best level: %+v", r)
	}
	held := score(filepath.Join(dir, "held"), filepath.Join(best, "results.json"))
	if r := held; r.Options.MinScore != 0.75 || r.Detection.Precision.N != 2 {
		t.Errorf("at the other's level: %+v", r)
	}
}

// A run over pictures that are no sonar is told as a count, and no picture is named.
func TestScoreOfWhatIsNoSonar(t *testing.T) {
	dir := t.TempDir()
	blank := pngOf(t, 64, 64, func(int, int) color.Color { return color.Gray{90} })
	write(t, filepath.Join(dir, "in", "blank-picture.png"), blank)
	runDir, out := filepath.Join(dir, "run"), filepath.Join(dir, "out")
	code, _, said := shadowgap(t, "triage", filepath.Join(dir, "in"), "--out", runDir, "--workers", "1", "--pictures", "none")
	if code != exitRead {
		t.Fatalf("triage: exit status %d: %s", code, said)
	}
	code, said, errs := shadowgap(t, "score", runDir, "--no-sonar", "--out", out)
	if code != exitRead || !strings.Contains(said, "(0/1)") || strings.Contains(said, "blank-picture") {
		t.Errorf("score: exit status %d, said %q, %s", code, said, errs)
	}
	if _, err := os.Stat(filepath.Join(out, "results.json")); err != nil {
		t.Error(err)
	}
}
