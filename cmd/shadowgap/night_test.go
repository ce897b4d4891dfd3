package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
)

// A run that can't go on leaves the exports of what is done and says so.
func TestFailedRunLeavesExports(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "a.png"), []byte("dear diary\n"))
	run := filepath.Join(t.TempDir(), "run")
	if code, _, stderr := shadowgap(t, "triage", dir, "--out", run); code != exitUnreadable {
		t.Fatalf("exit status %d\n%s", code, stderr)
	}
	for _, name := range exports {
		if err := os.Remove(filepath.Join(run, name)); err != nil {
			t.Fatal(err)
		}
	}
	// Where pictures are to go there is no room for any: as good as a full disk.
	write(t, filepath.Join(run, "overlays"), nil)
	data, err := os.ReadFile(firstCapture(t, scenes(t, 1)))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "b.png"), data)
	code, _, stderr := shadowgap(t, "triage", dir, "--out", run)
	if code != exitFailed || !strings.Contains(stderr, "its exports show it; the same command goes on from there") {
		t.Errorf("exit status %d, want %d\n%s", code, exitFailed, stderr)
	}
	if done := capturesOf(t, run); len(done) != 1 || done["a.png"].Status != "unreadable" {
		t.Errorf("the exports hold %v, want what was done", done)
	}
	// And where there is no room for exports either, a way to them is told.
	if err := os.Remove(filepath.Join(run, "marks.csv")); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(run, "marks.csv", "in-the-way"), nil)
	if code, _, stderr := shadowgap(t, "triage", dir, "--out", run); code != exitFailed ||
		!strings.Contains(stderr, "shadowgap export "+run) {
		t.Errorf("without exports: exit status %d\n%s", code, stderr)
	}
}

// When no worker can be started the run says so, in seconds, and what was done before is in its exports.
func TestRunWithoutWorkersLeavesExports(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "a.png"), []byte("dear diary\n"))
	run := filepath.Join(t.TempDir(), "run")
	if code, _, stderr := shadowgap(t, "triage", dir, "--out", run); code != exitUnreadable {
		t.Fatalf("exit status %d\n%s", code, stderr)
	}
	if err := os.Remove(filepath.Join(run, "captures.jsonl")); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "b.png"), []byte("dear diary,\n"))
	cmd := program("triage", dir, "--out", run)
	cmd.Env = append(cmd.Env, deathsEnv+"=100")
	said, err := cmd.CombinedOutput()
	if code := cmd.ProcessState.ExitCode(); code != exitFailed || !strings.Contains(string(said), "no worker can be started") {
		t.Errorf("exit status %d (%v), want %d\n%s", code, err, exitFailed, said)
	}
	if done := capturesOf(t, run); len(done) != 1 {
		t.Errorf("the exports hold %v, want what was done", done)
	}
}

func TestMergeRefusesOtherSettings(t *testing.T) {
	dir := scenes(t, 1)
	tmp := t.TempDir()
	old, again, out := filepath.Join(tmp, "old"), filepath.Join(tmp, "again"), filepath.Join(tmp, "out")
	for _, args := range [][]string{
		{"triage", dir, "--out", old, "--range", "30m"}, {"triage", dir, "--out", again, "--range", "40m"},
		{"merge", old, "--out", out},
	} {
		if code, _, stderr := shadowgap(t, args...); code != exitRead {
			t.Fatalf("%v: exit status %d\n%s", args, code, stderr)
		}
	}
	marks := func() string {
		data, err := os.ReadFile(filepath.Join(out, "marks.jsonl"))
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	before := marks()
	if code, _, stderr := shadowgap(t, "merge", again, "--out", out); code != exitFailed || !strings.Contains(stderr, "--replace") {
		t.Errorf("exit status %d, want %d and a hint to --replace\n%s", code, exitFailed, stderr)
	}
	if marks() != before {
		t.Error("a refused merge changed the exports")
	}
	if code, stdout, stderr := shadowgap(t, "merge", again, "--out", out, "--replace"); code != exitRead ||
		!strings.Contains(stdout, "1 replaced") {
		t.Errorf("exit status %d\n%s%s", code, stdout, stderr)
	}
	if now, err := os.ReadFile(filepath.Join(again, "marks.jsonl")); err != nil || marks() != string(now) {
		t.Errorf("the replaced results are not those of the later run (%v)", err)
	}
}

// A run that is gone on with to no effect leaves its exports as they are; whatever is missing or changed is made again.
func TestExportsAreMadeWhenStale(t *testing.T) {
	dir := scenes(t, 1)
	run := filepath.Join(t.TempDir(), "run")
	triage := func(more ...string) {
		t.Helper()
		if code, _, stderr := shadowgap(t, append([]string{"triage", dir, "--out", run}, more...)...); code != exitRead {
			t.Fatalf("exit status %d\n%s", code, stderr)
		}
	}
	written := func(name string) time.Time {
		t.Helper()
		info, err := os.Stat(filepath.Join(run, name))
		if err != nil {
			t.Fatal(err)
		}
		return info.ModTime()
	}
	triage()
	for _, tt := range []struct {
		name   string
		before func()
		more   []string
		made   bool
	}{
		{"nothing changed", func() {}, nil, false},
		{"an export is gone", func() {
			if err := os.Remove(filepath.Join(run, "marks.csv")); err != nil {
				t.Fatal(err)
			}
		}, nil, true},
		{"an export was edited", func() { write(t, filepath.Join(run, "marks.csv"), []byte("mine\n")) }, nil, true},
		{"another unit", func() {}, []string{"--units", "ft"}, true},
		{"other settings", func() {}, []string{"--units", "ft", "--range", "30m"}, true},
		{"these again", func() {}, []string{"--units", "ft", "--range", "30m"}, false},
	} {
		tt.before()
		then := written("captures.jsonl")
		triage(tt.more...)
		if made := written("captures.jsonl") != then; made != tt.made {
			t.Errorf("%s: exports made %v, want %v", tt.name, made, tt.made)
		}
	}
}

// Without --copies a run shows the user's own files; with it, a run can be moved away from them.
func TestCopies(t *testing.T) {
	dir := scenes(t, 1)
	run := filepath.Join(t.TempDir(), "run")
	kinds := func() (links, files int) {
		t.Helper()
		names, err := os.ReadDir(filepath.Join(run, "overlays"))
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range names {
			if d.Type()&os.ModeSymlink != 0 {
				links++
			} else {
				files++
			}
		}
		return links, files
	}
	for _, tt := range []struct {
		args         []string
		links, files int
	}{
		{nil, 1, 1},                  // the capture, a thumbnail
		{[]string{"--copies"}, 0, 3}, // plain, drawn, thumbnail
	} {
		if code, _, stderr := shadowgap(t, append([]string{"triage", dir, "--out", run}, tt.args...)...); code != exitRead {
			t.Fatalf("exit status %d\n%s", code, stderr)
		}
		if links, files := kinds(); links != tt.links || files != tt.files {
			t.Errorf("%q: %d links and %d files, want %d and %d", tt.args, links, files, tt.links, tt.files)
		}
	}
}

func TestMergedRunShowsTheSameFiles(t *testing.T) {
	dir := scenes(t, 1)
	tmp := t.TempDir()
	one, joined := filepath.Join(tmp, "one"), filepath.Join(tmp, "deep", "er", "joined")
	for _, args := range [][]string{{"triage", dir, "--out", one}, {"merge", one, "--out", joined}} {
		if code, _, stderr := shadowgap(t, args...); code != exitRead {
			t.Fatalf("%v: exit status %d\n%s", args, code, stderr)
		}
	}
	names, err := filepath.Glob(filepath.Join(joined, "overlays", "*-plain.jpg"))
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	want, err := os.ReadFile(firstCapture(t, dir))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(names[0]); err != nil || !bytes.Equal(got, want) {
		t.Errorf("the joined run's picture is not the capture (%v)", err)
	}
}

// Runs of a folder and of the one above it share its captures: they count once, with their pictures.
func TestMergeOfRunsOfNestedFolders(t *testing.T) {
	outer := t.TempDir()
	data, err := os.ReadFile(firstCapture(t, scenes(t, 1)))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(outer, "day", "a.png"), data)
	write(t, filepath.Join(outer, "b.png"), []byte("dear diary\n"))
	tmp := t.TempDir()
	inner, whole, joined := filepath.Join(tmp, "inner"), filepath.Join(tmp, "whole"), filepath.Join(tmp, "joined")
	for _, args := range [][]string{{"triage", filepath.Join(outer, "day"), "--out", inner}, {"triage", outer, "--out", whole}} {
		if code, _, stderr := shadowgap(t, args...); code != exitRead && code != exitUnreadable {
			t.Fatalf("%v: exit status %d\n%s", args, code, stderr)
		}
	}
	code, stdout, stderr := shadowgap(t, "merge", inner, whole, "--out", joined)
	if code != exitRead || !strings.Contains(stdout, "1 capture there already by another path, such as day/a.png, which is a.png\n") ||
		!strings.Contains(stdout, "now holds 2 captures") {
		t.Errorf("exit status %d\n%s%s", code, stdout, stderr)
	}
	if c := capturesOf(t, joined)["a.png"]; c.Status != string(detect.StatusRead) {
		t.Errorf("the shared capture is %+v", c)
	}
	for _, sub := range []string{"overlays", "chips"} {
		want, err := os.ReadDir(filepath.Join(inner, sub))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadDir(filepath.Join(joined, sub)); err != nil || len(got) != len(want) {
			t.Errorf("%s holds %d pictures, want %d (%v)", sub, len(got), len(want), err)
		}
	}
}

// Pages come out the same when only what each shows was read in full.
func TestPagesNeedOnlyWhatTheyShow(t *testing.T) {
	dir := scenes(t, 6)
	run := filepath.Join(t.TempDir(), "run")
	if code, _, stderr := shadowgap(t, "triage", dir, "--out", run, "--pictures", "none"); code != exitRead {
		t.Fatalf("exit status %d\n%s", code, stderr)
	}
	store, err := runstore.Open(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	const shown = 2
	all, allMarks, total, err := foremost(t.Context(), store)
	if err != nil {
		t.Fatal(err)
	}
	atlas := places.Find(all, decided.Plain(allMarks), places.Options{Units: overlay.Metres})
	opt := review.PageOptions{Name: "run", Total: total, MaxCaptures: shown, Atlas: &atlas}
	whole, parts := t.TempDir(), t.TempDir()
	err = review.WritePages(t.Context(), whole, func(int) ([]detect.CaptureRecord, []detect.MarkRecord, error) {
		return all, allMarks, nil
	}, nil, opt)
	if err != nil {
		t.Fatal(err)
	}
	read := 0
	err = review.WritePages(t.Context(), parts, func(part int) ([]detect.CaptureRecord, []detect.MarkRecord, error) {
		caps, marks, _, err := foremostOf(t.Context(), store, part*shown, shown)
		read += len(marks)
		if len(marks) >= len(allMarks) {
			t.Errorf("%d marks read for a part of the captures, %d for all", len(marks), len(allMarks))
		}
		return caps, marks, err
	}, nil, opt)
	if err != nil {
		t.Fatal(err)
	}
	if read != len(allMarks) {
		t.Errorf("%d marks read for all pages, %d are there", read, len(allMarks))
	}
	for part := range 3 {
		want, err := os.ReadFile(filepath.Join(whole, review.PageName(part)))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(filepath.Join(parts, review.PageName(part))); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s differs (%v)", review.PageName(part), err)
		}
	}
}
