package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
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
	if code, _, stderr := shadowgap(t, "triage", dir, "--out", run); code != exitFailed || !strings.Contains(stderr, "shadowgap export "+run) {
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
		{"triage", dir, "--out", old, "--range", "30m"}, {"triage", dir, "--out", again, "--range", "40m"}, {"merge", old, "--out", out},
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
	if code, stdout, stderr := shadowgap(t, "merge", again, "--out", out, "--replace"); code != exitRead || !strings.Contains(stdout, "1 replaced") {
		t.Errorf("exit status %d\n%s%s", code, stdout, stderr)
	}
	if now, err := os.ReadFile(filepath.Join(again, "marks.jsonl")); err != nil || marks() != string(now) {
		t.Errorf("the replaced results are not those of the later run (%v)", err)
	}
}
