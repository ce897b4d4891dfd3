package review

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"shadowgap/detect"
)

// Check is one thing that a run lacks or has.
type Check struct {
	What string `json:"what"`
	OK   bool   `json:"ok"`
	N    int    `json:"n"`  // captures that lack it
	Of   int    `json:"of"` // captures that could have it
	Cost string `json:"cost,omitempty"`
	Mend string `json:"mend,omitempty"` // in words
	Line string `json:"line,omitempty"` // the exact command that mends it
	// Captures that lack it, as numbers of the page's captures.
	Captures []int `json:"captures,omitempty"`
}

// endOfRun is what a run lacks as a whole that was stopped, not in any of its captures.
const endOfRun = "The end of the run"

// noteCount is a remark made while captures were read, with how many captures it was made on.
type noteCount struct {
	Text string `json:"t"`
	N    int    `json:"n"`
}

// checkUp says what is missing in a run, for how many captures, what that costs and what mends it.
func checkUp(caps []detect.CaptureRecord, byCapture map[string][]detect.MarkRecord, opt PageOptions) []Check {
	var unread, noRange, noTime, noRate, noPlace, copies, otherwise []int
	read, seen := 0, map[string]bool{}
	for i, c := range caps {
		if c.SHA256 != "" && seen[c.SHA256] {
			copies = append(copies, i)
		}
		seen[c.SHA256] = true
		if c.Status != detect.StatusRead {
			unread = append(unread, i)
			continue
		}
		read++
		if !slices.ContainsFunc(c.Panels, func(p detect.PanelRecord) bool { return p.RangeM != nil }) {
			noRange = append(noRange, i)
		}
		if slices.ContainsFunc(c.Panels, func(p detect.PanelRecord) bool { return p.ShowsOtherwise() != "" }) {
			otherwise = append(otherwise, i)
		}
		if c.Time == nil {
			noTime = append(noTime, i)
		}
		marks := byCapture[c.Capture]
		if len(marks) == 0 {
			continue
		}
		if !slices.ContainsFunc(marks, func(m detect.MarkRecord) bool { return m.LengthM != nil }) {
			noRate = append(noRate, i)
		}
		if !slices.ContainsFunc(marks, func(m detect.MarkRecord) bool { return m.Position != nil }) {
			noPlace = append(noPlace, i)
		}
	}
	again := func(option ...string) string { return commandLine(opt.Command, option...) }
	// A file that was given is the one to mend.
	given := func(option, name string) string { return again(option, cmp.Or(ValueOf(opt.Command, option), name)) }
	checks := []Check{
		{What: "Side-scan found in the picture", Captures: unread, Of: len(caps),
			Cost: "Nothing in these captures was looked at.",
			Mend: "Outline the side-scan once for each screen size above, then read the captures again.",
			Line: again("--layout", runToken+"/"+layoutName)},
		{What: "Range setting", Captures: noRange, Of: read,
			Cost: "No depth, height, length or place there: everything stays in pixels.",
			Mend: "Give the range per side that stood on the screen; if it changed from capture to capture, in the manifest's " +
				"column range. --read-text reads it off the pictures, where Tesseract is installed.",
			Line: again("--range", "30m")},
		{What: "Time", Captures: noTime, Of: read,
			Cost: "No place on the map there, whatever track you give.",
			Mend: "Give the times in the manifest's column time. Times in file names and in the pictures' own data are read without asking; " +
				"--zone says where their clock was, --clock-offset by how much it was wrong.",
			Line: given("--manifest", "manifest.csv")},
		{What: "Place", Captures: noPlace, Of: read,
			Cost: "Things there are on no map and in no waypoint file, and one seen twice is shown twice.",
			Mend: "Give the boat's track as GPX, NMEA 0183 log or CSV. A track that was given must cover the captures' times.",
			Line: given("--track", "track.gpx")},
		{What: "Row rate", Captures: noRate, Of: read,
			Cost: "No lengths along the track, and places are off by up to half a capture's length along it.",
			Mend: "Give the rows a second in the manifest's column row rate, or the seconds that one capture shows in its column duration.",
			Line: given("--manifest", "manifest.csv")},
	}
	checks = append(checks, seldom(copies, otherwise, len(caps), read, again())...)
	for i := range checks {
		c := &checks[i]
		c.N = len(c.Captures)
		if c.N == 0 {
			*c = Check{What: c.What, OK: true, Of: c.Of}
		}
	}
	if opt.Mixed > 0 {
		checks = append(checks, mixedResults(opt, len(caps), again()))
	}
	if opt.Stopped {
		checks = append(checks, Check{What: endOfRun, Of: len(caps),
			Cost: "It was stopped before all captures were looked at: what is told here is told of some of them.",
			Mend: "Give the same command again; it goes on where it stopped.", Line: again()})
	}
	return checks
}

// oneAnswer is what a run lacks some of whose captures were read by another command than the newest.
const oneAnswer = "Results of one command"

func mixedResults(opt PageOptions, all int, again string) Check {
	mend := "Give the folders of all captures at once; those that were read with other settings are read again."
	if opt.Stopped {
		mend = "Give the same command again; it reads them again where it stopped."
	}
	of := max(opt.Total, all)
	return Check{What: oneAnswer, Of: of, Cost: fmt.Sprintf("%d of %d captures were not looked at with what the newest command says of "+
		"range, track and so on: lengths of one list may be in metres beside others in pixels, or of another range.", opt.Mixed, of),
		Mend: mend, Line: again}
}

// runToken stands for the run folder on a command line in the page's data, which is the same wherever the run was made. The page puts in
// the folder: as it was typed when it is served, else the one that it lies in.
const runToken = "@RUN@"

// ValueOf is an option's value on a command line, "" when it is not there.
func ValueOf(args []string, option string) string {
	for i, a := range args {
		if v, ok := strings.CutPrefix(a, option+"="); ok {
			return v
		}
		if a == option && i+1 < len(args) {
			return args[i+1]
		}
	}
	return ""
}

// commandLine is the command that made the run with an option set, as a shell takes it, with runToken for the run folder. Without that
// command it says CAPTURES for what to fill in.
func commandLine(args []string, option ...string) string {
	if len(args) == 0 {
		args = []string{"triage", "CAPTURES", "--out", runToken}
	}
	words := []string{"shadowgap"}
	for i := 0; i < len(args); i++ {
		switch {
		case (args[i] == "--out" || args[i] == "-o") && i+1 < len(args):
			words = append(words, args[i], runToken)
			i++
			continue
		case strings.HasPrefix(args[i], "--out="):
			words = append(words, "--out", runToken)
			continue
		}
		if len(option) > 0 && args[i] == option[0] {
			i++ // the value goes too: the new one takes its place
			continue
		}
		if len(option) > 0 && strings.HasPrefix(args[i], option[0]+"=") {
			continue
		}
		words = append(words, args[i])
	}
	words = append(words, option...)
	for i, w := range words {
		words[i] = shellWord(w)
	}
	return strings.Join(words, " ")
}

var plainWord = regexp.MustCompile(`^[A-Za-z0-9_@%+=:,./-]+$`)

// seldom are the checks that are told only where something fails them: captures that are copies of others, and those that show otherwise
// what was set by hand; again is the command that made the run.
func seldom(copies, otherwise []int, all, read int, again string) (checks []Check) {
	if len(copies) > 0 {
		checks = append(checks, Check{What: "A picture of its own", Captures: copies, Of: all,
			Cost: "These files are copies of others, byte for byte: places show what is in them once, tables of marks list it twice.",
			Mend: "Take the copies out of the folder and look through it again in another run."})
	}
	if len(otherwise) > 0 {
		checks = append(checks, Check{What: "Settings by hand that the pictures agree with", Captures: otherwise, Of: read,
			Cost: "What was set counts there: depths, heights, distances and sides are wrong where the picture is right.",
			Mend: "Look at one of them; if what was set is wrong for it, give the command again without, or with a layout for its screen size.",
			Line: again})
	}
	return checks
}

// shellWord quotes a word for a POSIX shell where it needs that.
func shellWord(w string) string {
	if plainWord.MatchString(w) {
		return w
	}
	return "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
}

// notesOf counts what was remarked while the captures were read, the most frequent first. Numbers that differ from capture to
// capture don't make another remark.
func notesOf(caps []detect.CaptureRecord, limit int) []noteCount {
	out := []noteCount{}
	at := map[string]int{}
	for _, c := range caps {
		seen := map[string]bool{}
		for _, n := range c.Notes {
			key := anyNumber.ReplaceAllString(n, "0")
			if seen[key] {
				continue
			}
			seen[key] = true
			k, ok := at[key]
			if !ok {
				k = len(out)
				at[key], out = k, append(out, noteCount{Text: n})
			}
			out[k].N++
		}
	}
	slices.SortStableFunc(out, func(a, b noteCount) int { return cmp.Compare(b.N, a.N) })
	return out[:min(len(out), limit)]
}

var anyNumber = regexp.MustCompile(`[0-9]+([.:][0-9]+)*`)

// whyUnread says what to do about a capture that could not be read.
func whyUnread(c detect.CaptureRecord) string {
	why := "it could not be read"
	if c.Why != nil {
		why = *c.Why
	}
	if c.Status == detect.StatusNoPanel {
		why, _, _ = strings.Cut(strings.TrimSuffix(why, "."), ": set the panel by hand") // the page has its own way to do that
		if strings.Contains(why, "side-scan") {
			return strings.ToUpper(why[:1]) + why[1:] + ". If you see it, outline it once."
		}
		return fmt.Sprintf("No side-scan was found in it: %s. If you see it, outline it once.", why)
	}
	if strings.Contains(why, "pixels, more than the limit") {
		return fmt.Sprintf("The picture was left out: %s. --max-pixels of triage raises that.", strings.TrimSuffix(why, "."))
	}
	return fmt.Sprintf("The file could not be read: %s. Copy it again from the card it came from, or leave it out.",
		strings.TrimSuffix(why, "."))
}
