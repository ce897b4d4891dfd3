package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/internal/review"
)

// A review writes the run's exports anew: in the unit that the run was made with, not in another one behind its user's back.
func TestReviewKeepsTheRunsUnit(t *testing.T) {
	const name = "scan_20250614_065217.png"
	run := filepath.Join(t.TempDir(), "run")
	capture := filepath.Join("..", "..", "testdata", "demo", "captures", name)
	mustRun(t, "triage", capture, "--out", run, "--pictures", "none", "--range", "30m", "--units", "ft")
	take(t, run, review.Decision{Action: review.Done, Capture: name})
	for _, tt := range []struct {
		args        []string
		want, other string
	}{
		{nil, "height_ft", "height_m"},
		{[]string{"--units", "m"}, "height_m", "height_ft"},
	} {
		none := filepath.Join(t.TempDir(), "decisions.json")
		write(t, none, []byte(`{"schema":1,"decisions":[]}`))
		mustRun(t, append([]string{"review", run, "--take", none}, tt.args...)...)
		text, err := os.ReadFile(filepath.Join(run, "marks.csv"))
		if err != nil {
			t.Fatal(err)
		}
		head, _, _ := strings.Cut(string(text), "\n")
		if !strings.Contains(head, tt.want) || strings.Contains(head, tt.other) {
			t.Errorf("review %q leaves %q", tt.args, head)
		}
	}
}
