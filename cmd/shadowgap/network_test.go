package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What runs the networks is said to be missing by every command that needs it, in one line and before anything is written, and by none
// that doesn't.
func TestWithoutWhatRunsTheNetworks(t *testing.T) {
	dir := t.TempDir()
	captures, run := filepath.Join(dir, "captures"), filepath.Join(dir, "run")
	data, err := os.ReadFile(demoCapture("capture-001.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	capture := filepath.Join(captures, "capture-001.jpg")
	write(t, capture, data)
	if code, _, stderr := shadowgap(t, "triage", captures, "--out", run, "--pictures", "none"); code != exitRead {
		t.Fatalf("triage: %d\n%s", code, stderr)
	}
	text := filepath.Join(dir, "text.so")
	write(t, text, []byte("not found\n"))
	fresh, labels := filepath.Join(dir, "fresh"), filepath.Join(demoData, "truth", "labels.json")
	needing := [][]string{
		{"triage", captures, "--out", fresh},
		{"explain", capture, "--out", fresh},
		{"demo", "--out", fresh},
		{"fit", "--runs", run, "--out", fresh},
		{"score", "--shown", captures, "--labels", labels, "--out", fresh},
		{"worker"},
	}
	others := [][]string{
		{"--help"},
		{"triage", "--help"},
		{"--version"},
		{"export", run, "--as", "csv"},
		{"review", run, "--sheet"},
		{"merge", run, "--out", filepath.Join(dir, "made")},
		{"scene", "--count", "1", "--out", filepath.Join(dir, "made", "scenes")},
	}
	for named, says := range map[string]string{
		filepath.Join(dir, "none.so"): "SHADOWGAP_ONNXRUNTIME names " + filepath.Join(dir, "none.so"),
		text:                          "shadowgap: " + text + " is no ONNX Runtime",
	} {
		t.Setenv("SHADOWGAP_ONNXRUNTIME", named)
		for _, args := range needing {
			code, _, stderr := shadowgap(t, args...)
			if code != exitFailed || !strings.Contains(stderr, says) || strings.Count(stderr, "\n") != 1 ||
				!strings.Contains(stderr, "scripts/setup.sh runtime") {
				t.Errorf("%q with %s: exit status %d\n%s", args, named, code, stderr)
			}
			if _, err := os.Stat(fresh); err == nil {
				t.Errorf("%q with %s wrote %s", args, named, fresh)
			}
		}
		for _, args := range others {
			if code, _, stderr := shadowgap(t, args...); code != exitRead {
				t.Errorf("%q with %s: exit status %d\n%s", args, named, code, stderr)
			}
		}
		if err := os.RemoveAll(filepath.Join(dir, "made")); err != nil {
			t.Fatal(err)
		}
	}
}

// A library that looks right and doesn't start fails the run, and is no fault of a capture's.
func TestNetworksThatDoNotStart(t *testing.T) {
	const library = "/usr/local/lib/shadowgap/libonnxruntime.so.1.27.0"
	whole, err := os.ReadFile(library)
	if err != nil {
		t.Skipf("no library here to change: %v", err)
	}
	dir := t.TempDir()
	broken := filepath.Join(dir, "broken.so")
	write(t, broken, bytes.ReplaceAll(whole, []byte("OrtGetApiBase"), []byte("OrtGetApiBasE")))
	t.Setenv("SHADOWGAP_ONNXRUNTIME", broken)
	capture, run := demoCapture("capture-001.jpg"), filepath.Join(dir, "run")
	for _, args := range [][]string{{"explain", capture, "--out", filepath.Join(dir, "explained")}, {"triage", capture, "--out", run}} {
		code, _, stderr := shadowgap(t, args...)
		if code != exitFailed || !strings.Contains(stderr, "ONNX Runtime, which runs the networks, does not start") {
			t.Errorf("%s: exit status %d\n%s", args[0], code, stderr)
		}
		t.Log(stderr)
	}
	t.Setenv("SHADOWGAP_ONNXRUNTIME", library)
	if code, _, stderr := shadowgap(t, "triage", capture, "--out", run, "--pictures", "none"); code != exitRead {
		t.Errorf("going on with the run: exit status %d\n%s", code, stderr)
	}
}
