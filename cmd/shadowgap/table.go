package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"unicode"
	"unicode/utf8"

	"shadowgap/detect"
	"shadowgap/internal/batch"
	"shadowgap/internal/export"
	"shadowgap/internal/places"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

type tableOptions struct {
	Top   int // lines; 0 = all
	Units units.Lengths
	Width int // of the terminal; 0 = not a terminal, lines are not cut
}

// maxHoldLines is how many holds are listed above the table.
const maxHoldLines = 10

// printRanked prints the places to go to first, the likely holds, then all captures by interest with what is in them and the best of it.
func printRanked(ctx context.Context, w io.Writer, run *reviewed, o overview, opt tableOptions) error {
	printFirst(w, o.atlas, opt)
	if err := printHolds(w, o.holds, opt); err != nil {
		return err
	}
	best := map[string]string{} // what each capture's best thing is
	for i := range o.atlas.Sightings {
		s := &o.atlas.Sightings[i]
		for _, m := range s.Members {
			if _, told := best[m.Capture]; !told {
				best[m.Capture] = s.Sentence
			}
		}
	}
	lines := 0
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for c, err := range run.records(ctx) {
		if err != nil {
			return err
		}
		if c.Status != detect.StatusRead {
			continue
		}
		if opt.Top > 0 && lines == opt.Top {
			break
		}
		if lines == 0 {
			fmt.Fprintln(tw, "INTEREST\tCAPTURE\tWHAT\tBEST OF IT")
		}
		lines++
		why := best[c.Capture]
		if room := opt.Width - 50 - utf8.RuneCountInString(c.Capture); opt.Width > 0 {
			why = cut(why, max(room, 30))
		}
		fmt.Fprintf(tw, "%.2f\t%s\t%s\t%s\n", c.Interest, onOneLine(c.Capture), contents(c), onOneLine(why))
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if rest := o.tally.Captures[detect.StatusRead] - lines; rest > 0 {
		fmt.Fprintf(w, "… and %d more in captures.csv\n", rest)
	}
	return printUnread(ctx, w, run.store, opt)
}

// printFirst lists the places to go to first.
func printFirst(w io.Writer, atlas places.Atlas, opt tableOptions) {
	first := atlas.Top(firstPlaces)
	if len(first) == 0 {
		return
	}
	fmt.Fprintln(w, "Go here first")
	for i, p := range first {
		what := p.Sentence
		if p.Name != "" {
			what = onOneLine(p.Name) + ": " + what
		}
		fmt.Fprintf(w, "%3d  %s.\n     %s\n", i+1, what, strings.Join(whereabouts(p, opt.Units), " · "))
	}
	fmt.Fprintln(w)
}

// whereabouts tells where and when a place was seen, and on which captures.
func whereabouts(p places.Place, u units.Lengths) []string {
	var out []string
	if p.Position != nil {
		out = append(out, position(*p.Position, u))
	}
	if p.Time != nil {
		out = append(out, p.Time.UTC().Format("2006-01-02 15:04 UTC"))
	}
	shown := onOneLine(p.Captures[0])
	if more := len(p.Captures) - 1; more > 0 {
		shown += fmt.Sprintf(" and %d more", more)
	}
	return append(out, shown, "odds "+words.Odds(p.Odds))
}

func position(p detect.Position, u units.Lengths) string {
	return fmt.Sprintf("%.6f, %.6f within about %s", p.Lat, p.Lon, words.Distance(p.ErrorM, u))
}

// printHolds lists the holds of the run that are there at better than even odds.
func printHolds(w io.Writer, all []survey.Hold, opt tableOptions) error {
	holds := slices.DeleteFunc(slices.Clone(all), func(h survey.Hold) bool { return h.Odds < 0.5 })
	if len(holds) == 0 {
		return nil
	}
	fmt.Fprintln(w, "Likely fish that hold")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i := range holds[:min(len(holds), maxHoldLines)] {
		h := &holds[i]
		place := ""
		if h.Position != nil {
			place = position(*h.Position, opt.Units)
		}
		where := onOneLine(h.Holds[0].Capture)
		if more := len(h.Holds) - 1; more > 0 {
			where += fmt.Sprintf(" and %d more", more)
		}
		fmt.Fprintf(tw, "  %s\t%s%s\t%s\t%s\n", words.Odds(h.Odds), count(h.Targets, "target"), export.HoldWhere(h), where, place)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if rest := len(holds) - maxHoldLines; rest > 0 {
		fmt.Fprintf(w, "  … and %d more in holds.jsonl\n", rest)
	}
	fmt.Fprintln(w)
	return nil
}

// printUnread names the captures that hold no side-scan or could not be read, with why.
func printUnread(ctx context.Context, w io.Writer, store *runstore.Store, opt tableOptions) error {
	lines, rest := 0, 0
	for c, err := range store.Unread(ctx) {
		if err != nil {
			return err
		}
		if lines == 0 {
			fmt.Fprintln(w, "\nNot looked through")
		}
		if opt.Top > 0 && lines == opt.Top {
			rest++
			continue
		}
		lines++
		why := ""
		if c.Why != nil {
			why = *c.Why
		}
		what := string(c.Status)
		if c.Status == detect.StatusNoPanel {
			what = "without side-scan"
		}
		fmt.Fprintf(w, "  %s: %s: %s\n", onOneLine(c.Capture), what, onOneLine(why))
	}
	if rest > 0 {
		fmt.Fprintf(w, "  … and %d more in captures.csv\n", rest)
	}
	return nil
}

// contents counts what a capture holds in a few words.
func contents(c *detect.CaptureRecord) string {
	var parts []string
	for _, p := range [...]struct {
		class detect.Class
		name  string
	}{
		{detect.SuspendedTarget, "suspended"}, {detect.RaisedStructure, "raised"}, {detect.BottomObject, "on the bottom"},
		{detect.Clutter, "clutter"},
	} {
		if n := c.Counts[p.class]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, p.name))
		}
	}
	humps, fields := 0, 0
	for _, p := range c.Panels {
		humps += len(p.Humps)
		fields += len(p.Regions)
	}
	if humps > 0 {
		parts = append(parts, count(humps, "hump"))
	}
	if fields > 0 {
		parts = append(parts, count(fields, "rock field"))
	}
	if len(parts) == 0 {
		return "nothing that stands out"
	}
	return strings.Join(parts, ", ")
}

func printSummary(w io.Writer, dir string, t runstore.Tally, sum batch.Summary, mapped bool) {
	maps := ""
	if mapped {
		maps = " and maps, first.gpx for a unit at the helm"
	}
	total := 0
	for _, n := range t.Captures {
		total += n
	}
	fmt.Fprintf(w, "\n%s in %s: %d read, %d without side-scan, %d unreadable", count(total, "capture"), dir,
		t.Captures[detect.StatusRead], t.Captures[detect.StatusNoPanel], t.Captures[detect.StatusUnreadable])
	if sum.Known > 0 {
		fmt.Fprintf(w, " (%d done earlier)", sum.Known)
	}
	fmt.Fprintf(w, ".\nMarks: %d suspended, %d raised, %d on the bottom",
		t.Marks[detect.SuspendedTarget], t.Marks[detect.RaisedStructure], t.Marks[detect.BottomObject])
	if n := t.Marks[detect.Clutter]; n > 0 {
		fmt.Fprintf(w, ", %d clutter", n)
	}
	fmt.Fprintf(w, ".\nLook at %s/review.html; places, sightings, holds, marks and captures are beside it as tables%s.\n",
		strings.TrimSuffix(dir, "/"), maps)
	fmt.Fprintln(w, strings.Join(detect.Cautions(), " "))
}

func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func cut(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n-1]) + "…"
}

// onOneLine keeps control characters in a file's name from the terminal and from the table's layout.
func onOneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return '�'
		}
		return r
	}, s)
}
