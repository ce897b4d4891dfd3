package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestRun(t *testing.T) {
	dir := t.TempDir()
	record := func(name, status string) string {
		folder := filepath.Join(dir, name)
		if err := os.Mkdir(folder, 0o755); err != nil {
			t.Fatal(err)
		}
		captures := ""
		if status != "" {
			captures = `{"schema":1,"capture":"a.png","sha256":"a","status":"` + status + `"}` + "\n"
		}
		for file, text := range map[string]string{"captures.jsonl": captures, "marks.jsonl": ""} {
			if err := os.WriteFile(filepath.Join(folder, file), []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		return folder
	}
	half := record("half", "read")
	if err := os.Remove(filepath.Join(half, "marks.jsonl")); err != nil {
		t.Fatal(err)
	}
	missing, file := filepath.Join(dir, "missing"), filepath.Join(half, "captures.jsonl")
	isNone := func(path string) string {
		return path + " is no run: give a folder that holds captures.jsonl and marks.jsonl"
	}
	read, again, refused, empty := record("read", "read"), record("again", "read"), record("refused", "no-panel"), record("empty", "")
	tests := []struct {
		name, first, second string
		said, failed        string
	}{
		{"alike", read, again, "They agree.", ""},
		{"not alike", read, refused, "a.png: status: read | no-panel", "the runs don't agree"},
		{"nothing to compare", empty, empty, "", "no capture in " + empty},
		{"no such folder", read, missing, "", isNone(missing)},
		{"no run", dir, read, "", isNone(dir)},
		{"no marks", read, half, "", isNone(half)},
		{"a file", file, read, "", isNone(file)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var said strings.Builder
			err := run(tt.first, tt.second, &said)
			if !strings.Contains(said.String(), tt.said) {
				t.Errorf("said %q, want %q in it", &said, tt.said)
			}
			if (err == nil) != (tt.failed == "") || err != nil && !strings.Contains(err.Error(), tt.failed) {
				t.Errorf("error %v, want %q", err, tt.failed)
			}
		})
	}
}
