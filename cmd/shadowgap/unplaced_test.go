package main

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Whoever leaves out what told the places hears before and after what that takes from a run, and how to get it back.
func TestLostPlacesAreTold(t *testing.T) {
	triage, run := surveyed(t, 1)
	bare := slices.Clone(triage)
	at := slices.Index(bare, "--manifest")
	manifest := bare[at+1]
	bare = slices.Delete(bare, at, at+2)
	bare = append(bare, "--range", "30m")
	maps := mapNames()
	for _, tt := range []struct {
		name   string
		args   []string
		says   []string
		placed bool
	}{
		{"left out", bare, []string{
			"1 capture has positions, and nothing that is given now tells places", "another --out", "give --manifest " + manifest,
			"1 capture had positions before, 0 have now", "these files were removed: " + strings.Join(maps, ", "),
			"The same command with --manifest " + manifest + " gives them back",
		}, false},
		{"left out again, with nothing left to lose", bare, nil, false},
		{"given again", triage, nil, true},
		{"given again, with nothing to do", triage, nil, true},
	} {
		code, _, stderr := shadowgap(t, tt.args...)
		if code != exitRead {
			t.Fatalf("%s: exit status %d\n%s", tt.name, code, stderr)
		}
		for _, want := range tt.says {
			if !strings.Contains(stderr, want) {
				t.Errorf("%s: no %q in\n%s", tt.name, want, stderr)
			}
		}
		if len(tt.says) == 0 && strings.Contains(stderr, "positions") {
			t.Errorf("%s: speaks of positions:\n%s", tt.name, stderr)
		}
		for _, name := range maps {
			if isThere(filepath.Join(run, name)) != tt.placed {
				t.Errorf("%s: %s there: %v, want %v", tt.name, name, !tt.placed, tt.placed)
			}
		}
	}
}
