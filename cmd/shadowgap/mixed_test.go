package main

import (
	"bytes"
	"fmt"
	"image/color"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// A list that holds results of other settings beside the newest ones says so, until all are read alike.
func TestResultsOfOtherSettingsAreTold(t *testing.T) {
	dir := t.TempDir()
	for i := range 3 { // no side-scan in them, so that looking costs nothing
		write(t, filepath.Join(dir, fmt.Sprintf("%d.png", i)), pngOf(t, 8+i, 8, func(int, int) color.Color { return color.Black }))
	}
	first, run := filepath.Join(dir, "0.png"), filepath.Join(t.TempDir(), "run")
	for _, tt := range []struct {
		name string
		args []string
		says string
	}{
		{"the first time", []string{dir}, ""},
		{"one of them, with a range", []string{first, "--range", "30m"}, "2 captures in " + run + " were not looked at with what is given now"},
		{"another range", []string{first, filepath.Join(dir, "1.png"), "--range", "20m"}, "1 capture in " + run + " was not looked at"},
		{"all of them", []string{dir, "--range", "20m"}, ""},
		{"one of them, in another unit", []string{first, "--range", "20m", "--units", "ft"}, ""},
	} {
		code, _, stderr := shadowgap(t, append([]string{"triage", "--out", run}, tt.args...)...)
		if code != exitRead || !strings.Contains(stderr, tt.says) || tt.says == "" && strings.Contains(stderr, "not looked at") {
			t.Errorf("%s: exit status %d, want %q in\n%s", tt.name, code, tt.says, stderr)
		}
		if got := strings.Contains(read(t, run, "review.html"), "Results of one command"); got != (tt.says != "") {
			t.Errorf("%s: the check-up speaks of it: %v", tt.name, got)
		}
	}
	store, err := runstore.Open(t.Context(), run)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	var said bytes.Buffer
	if err := keepEnd(t.Context(), store, true, "another basis"); err != nil {
		t.Fatal(err)
	}
	err = triageCmd{Out: run}.tellMixed(t.Context(), &console{err: &said}, store, true)
	if err != nil || !strings.Contains(said.String(), "3 captures") || !strings.Contains(said.String(), "the same command reads them again") {
		t.Errorf("of a run that was stopped: %v, %s", err, said.String())
	}
}

// What was refused within narrow bounds is tried again within wider ones, and only then.
func TestWiderBoundsReadAgain(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "a.png"), pngOf(t, 40, 40, func(int, int) color.Color { return color.Black }))
	run := filepath.Join(t.TempDir(), "run")
	for _, tt := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"too large", []string{"--max-pixels", "100"}, exitUnreadable, `"known":0`},
		{"the same", []string{"--max-pixels", "100"}, exitUnreadable, `"known":1`},
		{"wider", nil, exitRead, `"known":0`},
		{"what was read stays", []string{"--max-pixels", "100"}, exitRead, `"known":1`},
	} {
		code, _, stderr := shadowgap(t, append([]string{"triage", dir, "--out", run}, tt.args...)...)
		if code != tt.code || !strings.Contains(stderr, tt.says) {
			t.Errorf("%s: exit status %d, want %d and %s in\n%s", tt.name, code, tt.code, tt.says, stderr)
		}
	}
}

func TestSettingsCoverWhatAResultHangsOn(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	cold, warm := 4.0, 24.0
	water := func(c *float64) survey.Known {
		return survey.Known{Range: survey.RangeSaid{Water: survey.Water{TempC: c}}}
	}
	none := survey.Known{}
	for _, tt := range []struct {
		name     string
		one, two string
		same     bool
	}{
		{"zone of a track's times", settingsHash(none, false, "sum", time.UTC), settingsHash(none, false, "sum", berlin), false},
		{"zone without a track", settingsHash(none, false, "", time.UTC), settingsHash(none, false, "", berlin), true},
		{"water, the range being read off the capture", settingsHash(water(&cold), true, "", time.UTC),
			settingsHash(water(&warm), true, "", time.UTC), false},
		{"water without a range", settingsHash(water(&cold), false, "", time.UTC), settingsHash(water(&warm), false, "", time.UTC), true},
	} {
		if (tt.one == tt.two) != tt.same {
			t.Errorf("%s: %s and %s, want the same: %v", tt.name, tt.one, tt.two, tt.same)
		}
	}
}
