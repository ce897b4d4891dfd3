package main

import (
	"image/color"
	"path/filepath"
	"strings"
	"testing"
)

// What is set by hand outside of every picture is a slip of whoever typed it; outside of some it is told.
func TestSetByHandOutsideOfPictures(t *testing.T) {
	dir := t.TempDir()
	for name, size := range map[string]int{"small.png": 60, "large.png": 200} {
		write(t, filepath.Join(dir, name), pngOf(t, size, size, func(int, int) color.Color { return color.Black }))
	}
	for _, tt := range []struct {
		option, value string
		code          int
		says          string
	}{
		{"--panel", "500,0,100,100", exitUsage, "--panel 500,0,100,100 lies outside of every picture"},
		{"--panel", "100,0,100,100", exitRead, "--panel 100,0,100,100 lies outside of 1 of 2 pictures"},
		{"--panel", "0,0,60,60", exitRead, ""},
		{"--nadir", "200", exitUsage, "--nadir 200 lies outside of every picture"},
		{"--nadir", "60", exitRead, "--nadir 60 lies outside of 1 of 2 pictures"},
	} {
		code, _, stderr := shadowgap(t, "triage", dir, "--out", filepath.Join(t.TempDir(), "run"), "--pictures", "none", tt.option, tt.value)
		if code != tt.code || !strings.Contains(stderr, tt.says) || tt.says == "" && strings.Contains(stderr, "lies outside") {
			t.Errorf("%s %s: exit status %d, want %d and %q in\n%s", tt.option, tt.value, code, tt.code, tt.says, stderr)
		}
		if tt.code == exitUsage && !strings.Contains(stderr, "60 × 60") {
			t.Errorf("%s %s: the pictures' sizes are not told:\n%s", tt.option, tt.value, stderr)
		}
	}
}
