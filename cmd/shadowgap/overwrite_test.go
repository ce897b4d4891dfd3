package main

import (
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// An export may replace an earlier one, but neither a run's database nor a capture: nothing could bring those back.
func TestExportKeepsWhatIsNoExport(t *testing.T) {
	run := filepath.Join(t.TempDir(), "run")
	mustRun(t, "triage", demoCapture("capture-002.jpg"), "--out", run, "--pictures", "none")
	capture := filepath.Join(t.TempDir(), "capture.jpg")
	write(t, capture, []byte(read(t, demoCapture("capture-002.jpg"))))
	for _, file := range []string{filepath.Join(run, "run.db"), capture} {
		before := read(t, file)
		for _, args := range [][]string{
			{"export", run, "--as", "csv", "--out", file},
			{"export", run, "--as", "gpx", "--out", file},
		} {
			code, _, stderr := shadowgap(t, args...)
			if code != exitUsage || !strings.Contains(stderr, "no export") {
				t.Errorf("%v: exit status %d, %q; want %d and that the file is no export", args, code, stderr, exitUsage)
			}
		}
		if read(t, file) != before {
			t.Fatalf("%s was written over", file)
		}
	}
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := unix.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for file, says := range map[string]string{pipe: "no plain file", run: "is a folder"} {
		if code, _, stderr := shadowgap(t, "export", run, "--as", "csv", "--out", file); code != exitUsage || !strings.Contains(stderr, says) {
			t.Errorf("exit status %d, %q; want %d and %q", code, stderr, exitUsage, says)
		}
	}
	for _, as := range []string{"csv", "gpx", "geojson", "kml", "jsonl", "csv"} {
		mustRun(t, "export", run, "--as", as, "--out", filepath.Join(run, "mine"))
	}
}
