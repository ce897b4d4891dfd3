package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/internal/decided"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/models"
)

const demoData = "../../testdata/demo"

func demoCapture(name string) string { return filepath.Join(demoData, "captures", name) }

func read(t *testing.T, path ...string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// checkClutter holds the marks of a run to what they are with clutter: the others as they are without it, and then, in each capture, marks
// that are likeliest clutter and may be something.
func checkClutter(t *testing.T, got, plain string) (clutter []decided.Mark) {
	t.Helper()
	var others []string
	before := ""
	for line := range strings.Lines(got) {
		m := marksOf(t, line)[0]
		p := m.Odds[detect.Clutter]
		switch {
		case m.Class == detect.Clutter:
			if p < 0.5 || p > 0.9 {
				t.Errorf("%s is called clutter, of odds %v", m.Mark, m.Odds)
			}
			clutter = append(clutter, m)
			before = m.Capture
		case m.Capture == before:
			t.Errorf("%s, %s, comes after clutter", m.Mark, m.Class)
		case !m.Nothing():
			others = append(others, line)
		}
	}
	if !slices.ContainsFunc(clutter, func(m decided.Mark) bool { return m.Odds[detect.Clutter] > 0.7 }) {
		t.Error("no mark is likely clutter")
	}
	if had := slices.Collect(strings.Lines(plain)); !slices.Equal(others, had) {
		t.Errorf("%d marks that are not clutter, want the %d there are without", len(others), len(had))
	}
	return clutter
}

// checkMixed checks that a capture which another triage does not look at stays without clutter, that this is said, and that such a run is
// not merged with one that holds it.
func checkMixed(t *testing.T, run, unasked string) {
	t.Helper()
	mixed := filepath.Join(t.TempDir(), "mixed")
	mustRun(t, "triage", demoCapture("capture-029.jpg"), "--out", mixed, "--pictures", "none")
	_, _, said := shadowgap(t, "triage", demoCapture("capture-002.jpg"), "--out", mixed, "--pictures", "none", "--clutter")
	if !strings.Contains(said, "1 capture "+unasked) {
		t.Errorf("triage does not say what the run holds no clutter of: %s", said)
	}
	if code, _, said := shadowgap(t, "merge", mixed, "--out", run); code != exitFailed || !strings.Contains(said, "other settings") {
		t.Errorf("merging what was made with and without clutter: exit status %d, %s", code, said)
	}
}

// With --clutter a run holds what is likeliest clutter, also where it was made without, and nothing else of it changes.
func TestTriageKeepsClutterOnRequest(t *testing.T) {
	run := filepath.Join(t.TempDir(), "run")
	triage := []string{"triage", demoCapture("capture-002.jpg"), demoCapture("capture-029.jpg"), "--out", run, "--no-timings",
		"--pictures", "none", "--manifest", filepath.Join(demoData, "manifest.csv"), "--track", filepath.Join(demoData, "track.gpx")}
	const unasked = "looked at without --clutter"
	mustRun(t, triage...)
	plain, captures := read(t, run, "marks.jsonl"), read(t, run, "captures.jsonl")
	if strings.Contains(plain, `"class":"clutter"`) {
		t.Error("a run holds clutter that was not asked for")
	}
	if _, _, said := shadowgap(t, "export", run, "--as", "jsonl", "--clutter", "-o", "-"); !strings.Contains(said, "2 captures "+unasked) {
		t.Errorf("export does not say that the run holds no clutter: %s", said)
	}

	code, told, said := shadowgap(t, append(triage, "--clutter")...)
	if code != exitRead || strings.Contains(said, unasked) {
		t.Fatalf("exit status %d: %s", code, said)
	}
	found := checkClutter(t, read(t, run, "marks.jsonl"), plain)
	if t.Failed() {
		t.FailNow()
	}
	if !strings.Contains(told, fmt.Sprintf("on the bottom, %d clutter.", len(found))) ||
		!regexp.MustCompile(`capture-002\.jpg .*\d clutter`).MatchString(told) {
		t.Errorf("triage does not count the clutter:\n%s", told)
	}
	if first := read(t, run, "first.gpx"); strings.Contains(first, "clutter") || !strings.Contains(read(t, run, "marks.gpx"), "clutter") {
		t.Error("want clutter on the map of marks, and not among the places to go to first")
	}
	_, exported, said := shadowgap(t, "export", run, "--as", "jsonl", "--clutter", "-o", "-")
	if checkClutter(t, exported, plain); strings.Contains(said, unasked) {
		t.Errorf("export says of a run with clutter: %s", said)
	}
	if got := mustRun(t, "export", run, "--as", "jsonl", "-o", "-"); got != plain {
		t.Error("an export of a run with clutter is another one when clutter is not asked for")
	}
	explained := mustRun(t, "explain", demoCapture("capture-002.jpg"), "--clutter", "--out", t.TempDir())
	if !regexp.MustCompile(`\d\. (almost surely|likely|more likely than not) clutter: `).MatchString(explained) {
		t.Errorf("explain tells of no clutter:\n%s", explained)
	}
	checkMixed(t, run, unasked)

	// Without --clutter it is as it was, but for what a person found in the clutter.
	mustRun(t, triage...)
	if read(t, run, "marks.jsonl") != plain || read(t, run, "captures.jsonl") != captures {
		t.Error("a run that was made with clutter in between is not what it was")
	}
	mustRun(t, append(triage, "--clutter")...)
	kept := found[len(found)-1]
	take(t, run, review.Decision{Action: review.Change, Capture: kept.Capture, Mark: kept.Mark, Class: detect.SuspendedTarget})
	mustRun(t, triage...)
	marks := slices.Collect(strings.Lines(read(t, run, "marks.jsonl")))
	person := slices.IndexFunc(marks, func(line string) bool { return strings.Contains(line, `"class_changed":true`) })
	if person < 0 || marksOf(t, marks[person])[0].Box != kept.Box {
		t.Fatalf("what a person found in the clutter is gone: %d", person)
	}
	if strings.Join(slices.Delete(marks, person, person+1), "") != plain {
		t.Error("what a person found in the clutter changes other marks")
	}
}

// Having asked for clutter is no other setting to fit, which looks at all of it anyway.
func TestFitTakesRunsWithClutter(t *testing.T) {
	run := filepath.Join(t.TempDir(), "run")
	mustRun(t, "triage", demoCapture("capture-029.jpg"), "--out", run, "--pictures", "none", "--range", "30m", "--clutter")
	store, err := runstore.Open(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	model, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	for c, err := range store.Captures(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		for given, want := range map[string]bool{"30m": true, "40m": false} {
			settings, err := knowledge{Range: given, Zone: "UTC", Units: "m"}.settings(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			work := task{root: filepath.Join(demoData, "captures"), record: *c, label: eval.CaptureLabel{Capture: c.Capture}, whole: true}
			samples, same, err := work.samples(t.Context(), model, settings, false)
			if err != nil || len(samples) == 0 || same != want {
				t.Errorf("range %s: %d samples, the run's settings %t, want %t (%v)", given, len(samples), same, want, err)
			}
		}
	}
}

// The options of a capture read without clutter are in its settings as they always were.
func TestSettingsLeaveUnaskedClutterOut(t *testing.T) {
	if text, err := json.Marshal(detect.Options{}); err != nil || strings.Contains(string(text), "AskClutter") {
		t.Errorf("%s, %v", text, err)
	}
}
