package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowgap/internal/overlay"
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

// While a review goes on, what one prints from it shows the decisions made so far: who rejects all that a run shows must not be sent there.
func TestPrintedPagesFollowTheReview(t *testing.T) {
	run := filepath.Join(t.TempDir(), "run")
	const name = "scan_20250614_065620.jpg"
	mustRun(t, "triage", filepath.Join("..", "..", "testdata", "demo", "captures", name), "--out", run, "--range", "30m")
	mustRun(t, "review", run, "--sheet")
	store, err := openRun(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	_, marks, _, err := foremost(t.Context(), store)
	if err != nil || len(marks) == 0 {
		t.Fatalf("%d marks, %v", len(marks), err)
	}
	for i, m := range marks {
		d := review.Decision{ID: newID(), At: time.Date(2025, 6, 2, 9, 0, i, 0, time.UTC), Action: review.Reject, Capture: name, Mark: m.Mark}
		if _, err := (decisionStore{store}).Append(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	for _, page := range []string{review.PrintedName, review.SheetName} {
		pictures := func() int {
			b, err := os.ReadFile(filepath.Join(run, page))
			if err != nil {
				t.Fatal(err)
			}
			return bytes.Count(b, []byte("/Subtype /Image"))
		}
		before := pictures()
		if err := printNow(t.Context(), store, overlay.Metres, page); err != nil {
			t.Fatal(err)
		}
		if after := pictures(); before == 0 || after != 0 {
			t.Errorf("%s: %d pictures, %d once all was rejected", page, before, after)
		}
	}
}

// Decisions on another run leave this one as it is, and whoever took them in hears it.
func TestTakeOfAnotherRunsDecisions(t *testing.T) {
	run := filepath.Join(t.TempDir(), "run")
	capture := filepath.Join("..", "..", "testdata", "demo", "captures", "scan_20250614_065217.png")
	mustRun(t, "triage", capture, "--out", run, "--pictures", "none")
	file := filepath.Join(t.TempDir(), "decisions.json")
	const other = `{"schema":1,"decisions":[{"id":"%s","at":"2025-06-02T09:00:00Z","action":"accept","capture":"x.png","mark":"y"}]}`
	write(t, file, fmt.Appendf(nil, other, newID()))
	code, _, stderr := shadowgap(t, "review", run, "--take", file)
	if code != exitUsage || !strings.Contains(stderr, "none of its 1 decision is on what this run holds") {
		t.Errorf("status %d: %s", code, stderr)
	}
}

// The page of a demo says how to triage its captures again: with their manifest, which alone knows their ranges.
func TestDemoKeepsTheCommandThatMadeIt(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	mustRun(t, "demo", "--count", "1", "--out", dir)
	store, err := openRun(t.Context(), filepath.Join(dir, "run"))
	if err != nil {
		t.Fatal(err)
	}
	args, err := keptList(t.Context(), store, metaCommand)
	if err != nil || len(args) == 0 || args[0] != "triage" || !slices.Contains(args, "--manifest") {
		t.Fatalf("%q, %v", args, err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(filepath.Join(dir, "run", "marks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	mustRun(t, args...)
	after, err := os.ReadFile(filepath.Join(dir, "run", "marks.csv"))
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("typed again, it makes other marks, %v", err)
	}
}
