package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/internal/review"
)

func TestCompareRuns(t *testing.T) {
	triage, run := surveyed(t, 3)
	later := filepath.Join(t.TempDir(), "later")
	args := append([]string{}, triage...)
	for i, a := range args {
		if a == run {
			args[i] = later
		}
	}
	mustRun(t, append(args, "--water-temp", "15")...)
	// A person says on both days that one of the things is a stone, and another one hangs in the water.
	found := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "-o", "-"))
	stone, fish := found[0], found[1]
	for _, dir := range []string{run, later} {
		take(t, dir, review.Decision{Action: review.Change, Capture: stone.Capture, Mark: stone.Mark, Class: detect.BottomObject})
		take(t, dir, review.Decision{Action: review.Change, Capture: fish.Capture, Mark: fish.Mark, Class: detect.SuspendedTarget})
	}
	file := filepath.Join(t.TempDir(), "changes.geojson")
	text := mustRun(t, "compare", run, later, "--out", file, "--units", "ft")
	for _, want := range []string{
		"The same pictures are in both runs (3 captures)", "Still there", "Suspended targets come back", " ft of water", "Not for navigation",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the comparison lacks %q:\n%s", want, text)
		}
	}
	for _, not := range []string{"New (", "Gone (", "did not look"} {
		if strings.Contains(text, not) {
			t.Errorf("a run compared with the same captures says %q:\n%s", not, text)
		}
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Features []struct {
			Geometry   *struct{ Coordinates [2]float64 }
			Properties map[string]any
		}
	}
	if err := json.Unmarshal(data, &doc); err != nil || len(doc.Features) == 0 {
		t.Fatalf("%d features, %v", len(doc.Features), err)
	}
	for _, f := range doc.Features {
		if f.Geometry == nil || f.Properties["change"] == "" || f.Properties["then_count"] == nil ||
			f.Properties["position_error_ft"] == nil {
			t.Errorf("%+v", f)
		}
	}
}

func TestCompareSaysWhyNot(t *testing.T) {
	dir := scenes(t, 1)
	bare, other := filepath.Join(t.TempDir(), "bare"), filepath.Join(t.TempDir(), "other")
	mustRun(t, "triage", dir, "--out", bare, "--pictures", "none")
	mustRun(t, "triage", dir, "--out", other, "--pictures", "none")
	for want, args := range map[string][]string{
		"nothing in " + other + " has a position": {"compare", bare, other},
		"given twice":               {"compare", bare, bare},
		"is not a run folder":       {"compare", bare, dir},
		"between 0 and 1":           {"compare", bare, other, "--min-odds", "2"},
		"can't be negative":         {"compare", bare, other, "--top=-1"},
		"<later-run> must be given": {"compare", bare},
	} {
		code, stdout, stderr := shadowgap(t, args...)
		if code != exitUsage || !strings.Contains(stderr, want) || stdout != "" {
			t.Errorf("%q: exit status %d, %q on stderr, %q on stdout; want %q", args, code, stderr, stdout, want)
		}
	}
}
