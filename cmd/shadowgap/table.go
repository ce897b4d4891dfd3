package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode"
	"unicode/utf8"

	"shadowgap/detect"
	"shadowgap/internal/batch"
	"shadowgap/internal/overlay"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
)

type tableOptions struct {
	Top   int // lines; 0 = all
	Units overlay.Units
	Width int // of the terminal; 0 = not a terminal, lines are not cut
}

// maxHoldLines is how many holds are listed above the table.
const maxHoldLines = 10

// printRanked prints the captures where fish may hold, then all captures by interest with what is in them and why.
func printRanked(ctx context.Context, w io.Writer, store *runstore.Store, opt tableOptions) error {
	if err := printHolds(ctx, w, store); err != nil {
		return err
	}
	lines, rest := 0, 0
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for c, err := range store.Captures(ctx) {
		if err != nil {
			return err
		}
		if c.Status != detect.StatusRead {
			continue
		}
		if opt.Top > 0 && lines == opt.Top {
			rest++
			continue
		}
		if lines == 0 {
			fmt.Fprintln(tw, "INTEREST\tCAPTURE\tWHAT\tWHY")
		}
		lines++
		why, err := topReason(ctx, store, c)
		if err != nil {
			return err
		}
		if room := opt.Width - 50 - utf8.RuneCountInString(c.Capture); opt.Width > 0 {
			why = cut(why, max(room, 30))
		}
		fmt.Fprintf(tw, "%.2f\t%s\t%s\t%s\n", c.Interest, onOneLine(c.Capture), contents(c), onOneLine(why))
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if rest > 0 {
		fmt.Fprintf(w, "… and %d more in captures.csv\n", rest)
	}
	return printUnread(ctx, w, store, opt)
}

// printHolds lists the likeliest holds of the run.
func printHolds(ctx context.Context, w io.Writer, store *runstore.Store) error {
	holds, err := rankedHolds(ctx, store)
	if err != nil || len(holds) == 0 {
		return err
	}
	fmt.Fprintln(w, "Likely fish holding on rock humps")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, h := range holds[:min(len(holds), maxHoldLines)] {
		place := ""
		if p := h.Position; p != nil {
			place = fmt.Sprintf("%.6f, %.6f ± %.0f m", p.Lat, p.Lon, p.ErrorM)
		}
		where := onOneLine(h.Holds[0].Capture)
		if more := len(h.Holds) - 1; more > 0 {
			where += fmt.Sprintf(" and %d more", more)
		}
		fmt.Fprintf(tw, "  %2.0f %%\t%s\t%s\t%s\n", 100*h.Odds, where, count(h.Targets, "suspended target"), place)
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
		fmt.Fprintf(w, "  %s: %s: %s\n", onOneLine(c.Capture), c.Status, onOneLine(why))
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
	}{{detect.SuspendedTarget, "suspended"}, {detect.RaisedStructure, "raised"}, {detect.BottomObject, "on the bottom"}} {
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

// topReason is what the capture's best mark is and the first reason for it.
func topReason(ctx context.Context, store *runstore.Store, c *detect.CaptureRecord) (string, error) {
	for m, err := range store.MarksOf(ctx, c) {
		if err != nil {
			return "", err
		}
		verdict := strings.TrimSuffix(review.Verdict(*m), ".")
		if len(m.Reasons) == 0 {
			return verdict, nil
		}
		return verdict + ": " + m.Reasons[0], nil
	}
	return "", nil
}

func printSummary(w io.Writer, dir string, t runstore.Tally, sum batch.Summary) {
	total := 0
	for _, n := range t.Captures {
		total += n
	}
	fmt.Fprintf(w, "\n%s in %s: %d read, %d without side-scan, %d unreadable", count(total, "capture"), dir,
		t.Captures[detect.StatusRead], t.Captures[detect.StatusNoPanel], t.Captures[detect.StatusUnreadable])
	if sum.Known > 0 {
		fmt.Fprintf(w, " (%d done earlier)", sum.Known)
	}
	fmt.Fprintf(w, ".\nMarks: %d suspended, %d raised, %d on the bottom.\n",
		t.Marks[detect.SuspendedTarget], t.Marks[detect.RaisedStructure], t.Marks[detect.BottomObject])
	fmt.Fprintf(w, "Look at %s/review.html; marks.csv, marks.jsonl, captures.csv and captures.jsonl are beside it.\n", strings.TrimSuffix(dir, "/"))
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
