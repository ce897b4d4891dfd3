package review

import (
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
)

func TestCommandLineIsWhatMadeTheRunWithTheOptionSet(t *testing.T) {
	for _, tc := range []struct {
		args, option []string
		want         string
	}{
		{nil, []string{"--range", "30m"}, "shadowgap triage CAPTURES --out @RUN@ --range 30m"},
		{[]string{"triage", "my captures", "--out", "run/"}, []string{"--layout", "@RUN@/layout.json"},
			"shadowgap triage 'my captures' --out @RUN@ --layout @RUN@/layout.json"},
		{[]string{"triage", "a", "--out=r", "--range=20m"}, []string{"--range", "30m"}, "shadowgap triage a --out @RUN@ --range 30m"},
		{[]string{"triage", "a", "-o", "r", "--track", "old.gpx", "--units", "ft"}, []string{"--track", "new.gpx"},
			"shadowgap triage a -o @RUN@ --units ft --track new.gpx"},
		{[]string{"triage", "it's", "$HOME", "--out", "r"}, nil, `shadowgap triage 'it'\''s' '$HOME' --out @RUN@`},
	} {
		if got := commandLine(tc.args, tc.option...); got != tc.want {
			t.Errorf("%q: %s, want %s", tc.args, got, tc.want)
		}
	}
}

func TestCheckUpCountsWhatIsMissing(t *testing.T) {
	_, caps, marks, _ := testSurvey(t, 60)
	caps[3].Time = nil
	caps[9].SHA256 = caps[8].SHA256
	caps[4].Panels[0].RangeM = nil
	for i := range marks {
		if marks[i].Capture == caps[5].Capture || marks[i].Capture == caps[6].Capture {
			marks[i].LengthM = nil
		}
		if marks[i].Capture == caps[7].Capture {
			marks[i].Position = nil
		}
	}
	by := map[string][]detect.MarkRecord{}
	for _, m := range marks {
		by[m.Capture] = append(by[m.Capture], m)
	}
	cmd := []string{"triage", "caps", "--out", "run", "--manifest", "lake.csv"}
	got := map[string]Check{}
	for _, c := range checkUp(caps, by, PageOptions{Command: cmd}) {
		got[c.What] = c
	}
	for what, want := range map[string]struct {
		n, of int
		line  string
	}{
		"Side-scan found in the picture": {1, 60, "--layout @RUN@/layout.json"},
		"Range setting":                  {1, 59, "--range 30m"},
		"Time":                           {1, 59, "--manifest lake.csv"}, // the one that was given is the one to mend
		"Place":                          {1, 59, "--track track.gpx"},
		"Row rate":                       {2, 59, "--manifest lake.csv"},
		"A picture of its own":           {1, 60, ""},
	} {
		c := got[what]
		if c.OK || c.N != want.n || c.Of != want.of || !strings.HasSuffix(c.Line, want.line) || c.Cost == "" || c.Mend == "" {
			t.Errorf("%s: %+v, want %+v", what, c, want)
		}
	}
	for _, c := range checkUp(caps[:3], by, PageOptions{}) {
		if !c.OK || c.Cost+c.Mend+c.Line != "" {
			t.Errorf("nothing is missing, yet %+v", c)
		}
	}
}

func TestRemarksThatDifferInNumbersAreOne(t *testing.T) {
	caps := []detect.CaptureRecord{{Notes: []string{"range: manifest says 20 m, --range says 30 m", "odd"}},
		{Notes: []string{"range: manifest says 25.5 m, --range says 30 m"}}, {}}
	if got := notesOf(caps, 5); len(got) != 2 || got[0].N != 2 || got[1] != (noteCount{"odd", 1}) {
		t.Errorf("%+v", got)
	}
}

// A run that was stopped lacks its end, and the command that goes on stands there.
func TestCheckUpOfAStoppedRun(t *testing.T) {
	_, caps, marks, _ := testSurvey(t, 3)
	by := map[string][]detect.MarkRecord{}
	for _, m := range marks {
		by[m.Capture] = append(by[m.Capture], m)
	}
	for _, c := range checkUp(caps, by, PageOptions{Stopped: true, Command: []string{"triage", "caps", "--out", "run"}}) {
		if (c.What == endOfRun) == c.OK || c.What == endOfRun && !strings.HasPrefix(c.Line, "shadowgap triage caps") {
			t.Errorf("only the end of the run is missing, yet %+v", c)
		}
	}
}

// Where some results are those of another command, the check-up says so and counts them.
func TestCheckUpOfMixedResults(t *testing.T) {
	for _, tt := range []struct {
		mixed   int
		stopped bool
		want    string
	}{{0, false, ""}, {2, false, "folders of all captures"}, {2, true, "same command again"}} {
		opt := PageOptions{Mixed: tt.mixed, Stopped: tt.stopped, Total: 5, Command: []string{"triage", "caps", "--out", "run"}}
		var got Check
		for _, c := range checkUp(nil, nil, opt) {
			if c.What == oneAnswer {
				got = c
			}
		}
		if told := got.What != ""; told != (tt.want != "") || told && (got.OK || !strings.HasPrefix(got.Cost, "2 of 5 captures") ||
			!strings.Contains(got.Mend, tt.want)) {
			t.Errorf("%+v: %+v", tt, got)
		}
	}
}

// What was not read is told once, in a sentence, with what to do about it on the page.
func TestWhyUnreadIsOneSentence(t *testing.T) {
	for why, want := range map[string]string{
		"no side-scan in it as far as the reader can tell (odds at most 1 %, in at most 0 % of the picture): " +
			"set the panel by hand if there is": "" +
			"No side-scan in it as far as the reader can tell (odds at most 1 %, in at most 0 % of the picture). If you see it, outline it once.",
		"what looks like side-scan in it has no clear outline: set the panel by hand": "" +
			"What looks like side-scan in it has no clear outline. If you see it, outline it once.",
		"no dark water column was found": "No side-scan was found in it: no dark water column was found. If you see it, outline it once.",
	} {
		if got := whyUnread(detect.CaptureRecord{Status: detect.StatusNoPanel, Why: &why}); got != want {
			t.Errorf("%q\nis told as %q,\nwant       %q", why, got, want)
		}
	}
	why := "the header says 20000 × 20000 pixels, more than the limit of 100 megapixels"
	want := "The picture was left out: " + why + ". --max-pixels of triage raises that."
	if got := whyUnread(detect.CaptureRecord{Status: detect.StatusUnreadable, Why: &why}); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// Captures that show otherwise what was set by hand are named.
func TestCheckUpOfSettingsByHand(t *testing.T) {
	_, caps, _, _ := testSurvey(t, 3)
	caps[1].Panels[0].Notes = []string{"set by hand against what the picture shows: the nadir at column 9, where it shows one at 400"}
	const what = "Settings by hand that the pictures agree with"
	checks := checkUp(caps, nil, PageOptions{Command: []string{"triage", "caps", "--out", "run"}})
	k := slices.IndexFunc(checks, func(c Check) bool { return c.What == what })
	if k < 0 || checks[k].OK || !slices.Equal(checks[k].Captures, []int{1}) {
		t.Errorf("%+v", checks)
	}
}
