package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/export"
	"shadowgap/internal/places"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

type compareCmd struct {
	Then    string  `arg:"" name:"run" help:"Run folder of the earlier day."`
	Now     string  `arg:"" name:"later-run" help:"Run folder of the later day, on the same water."`
	Out     string  `short:"o" placeholder:"FILE" help:"Also write the changes as GeoJSON, - for standard output instead of the text."`
	MinOdds float64 `default:"0.5" help:"Only what one of the days is at least this sure of, 0 to 1."`
	Top     int     `default:"20" help:"Lines of each list; 0 for all."`
	Units   string  `enum:",m,ft" default:"" placeholder:"m|ft" help:"Unit of lengths: m or ft; default the later run's."`
}

// Run compares two days.
func (c compareCmd) Run(con *console) error {
	switch {
	case c.MinOdds < 0 || c.MinOdds > 1:
		return usage("--min-odds %v: must lie between 0 and 1", c.MinOdds)
	case c.Top < 0:
		return usage("--top %d: can't be negative", c.Top)
	}
	for _, dir := range []string{c.Then, c.Now} {
		if !runstore.IsRun(dir) {
			return notRun(dir)
		}
	}
	if same, err := sameFolder(c.Then, c.Now); err == nil && same {
		return usage("%s is given twice; compare takes the runs of two days", c.Then)
	}
	now, u, err := c.day(con.ctx, c.Now, units.Lengths(c.Units))
	if err != nil {
		return err
	}
	then, _, err := c.day(con.ctx, c.Then, u)
	if err != nil {
		return err
	}
	changes := places.Compare(then.Day, now.Day, places.CompareOptions{Units: u, MinOdds: c.MinOdds})
	if c.Out != "-" {
		if n := shared(then.pictures, now.pictures); n > 0 {
			fmt.Fprintf(con.out, "The same pictures are in both runs (%s): what is told of them is no second look.\n\n", count(n, "capture"))
		}
		printChanges(con.out, then, now, changes, tableOptions{Top: c.Top, Units: u})
	}
	if c.Out == "" {
		return nil
	}
	e := exportCmd{Out: c.Out}
	write := func(w io.Writer) error { return export.GeoJSON(w, export.OfChanges(changes, export.Options{Units: u})) }
	return e.put(con, "", write)
}

// shared is how many pictures are in both of two runs.
func shared(then, now map[string]bool) int {
	n := 0
	for sum := range now {
		if then[sum] {
			n++
		}
	}
	return n
}

// day is one run with what is said of it.
type day struct {
	places.Day
	dir         string
	captures    int
	first, last *time.Time
	covered     int             // captures that are known to cover some bottom
	pictures    map[string]bool // by SHA-256
}

// day reads a run; u is the unit asked for, "" for the run's own, and the one used comes back.
func (c compareCmd) day(ctx context.Context, dir string, u units.Lengths) (d day, used units.Lengths, err error) {
	store, err := openRun(ctx, dir)
	if err != nil {
		return d, u, err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if u, err = unitsOf(ctx, store, string(u)); err != nil {
		return d, u, err
	}
	run, err := openReviewed(ctx, store, false)
	if err != nil {
		return d, u, err
	}
	d.dir, d.pictures = dir, map[string]bool{}
	if d.Atlas, err = run.atlas(ctx, u); err != nil {
		return d, u, err
	}
	var strips []survey.Strip
	for rec, err := range store.Captures(ctx) {
		if err != nil {
			return d, u, err
		}
		d.captures++
		if rec.SHA256 != "" {
			d.pictures[rec.SHA256] = true
		}
		d.note(rec.Time)
		way, err := keptWay(ctx, store, rec)
		if err != nil {
			return d, u, err
		}
		if way == nil || rec.Status != detect.StatusRead {
			continue
		}
		if s := way.Strips(rec.Panels); len(s) > 0 {
			d.covered++
			strips = append(strips, s...)
		}
	}
	if !placed(d.Atlas) {
		return d, u, usage("nothing in %s has a position, so its things can't be told from others; "+
			"triage with --track or --manifest gives positions", dir)
	}
	if len(strips) > 0 {
		d.Looked = func(p detect.Position) bool {
			for _, s := range strips {
				if s.Covers(p) {
					return true
				}
			}
			return false
		}
	}
	return d, u, nil
}

// note keeps the first and last time of a run.
func (d *day) note(when *time.Time) {
	switch {
	case when == nil:
		return
	case d.first == nil:
		d.first, d.last = when, when
		return
	}
	if when.Before(*d.first) {
		d.first = when
	}
	if when.After(*d.last) {
		d.last = when
	}
}

func (d *day) String() string {
	s := fmt.Sprintf("%s: %s", onOneLine(d.dir), count(d.captures, "capture"))
	if d.first != nil {
		s += d.first.UTC().Format(", 2006-01-02 15:04") + d.last.UTC().Format(" to 2006-01-02 15:04 UTC")
	}
	return s
}

// changeTitles head the lists of changes.
var changeTitles = map[places.Change]string{
	places.TargetsAgain: "Suspended targets come back", places.StillThere: "Still there", places.New: "New", places.Gone: "Gone",
	places.TargetsNew: "Suspended targets only on the later day", places.TargetsGone: "Suspended targets only on the earlier day",
	places.NotAgain:  "Seen on the earlier day; the later one did not look there",
	places.NotBefore: "Seen on the later day; the earlier one did not look there",
}

// printChanges prints what two days agree and differ in.
func printChanges(w io.Writer, then, now day, changes []places.Changed, opt tableOptions) {
	fmt.Fprintf(w, "Then  %s\nNow   %s\n", &then, &now)
	for _, d := range []day{then, now} {
		if d.Looked == nil {
			fmt.Fprintf(w, "Where %s looked is not known, so nothing counts as new or gone against it; triage it again with --track.\n",
				onOneLine(d.dir))
		}
	}
	byChange := map[places.Change][]places.Changed{}
	for _, c := range changes {
		byChange[c.Change] = append(byChange[c.Change], c)
	}
	for _, change := range places.Changes {
		list := byChange[change]
		if len(list) == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s (%d)\n", changeTitles[change], len(list))
		for i, c := range list {
			if opt.Top > 0 && i == opt.Top {
				fmt.Fprintf(w, "  … and %d more; --top 0 tells all\n", len(list)-i)
				break
			}
			fmt.Fprintf(w, "  %s.\n     %s\n", c.Sentence, strings.Join(changeDetail(c, opt.Units), " · "))
		}
	}
	if len(changes) == 0 {
		fmt.Fprintln(w, "\nNothing that either day is sure of.")
	}
	fmt.Fprintln(w, "\n"+strings.Join(detect.Cautions(), " "))
}

// changeDetail tells where a change is and which captures show it.
func changeDetail(c places.Changed, u units.Lengths) []string {
	out := []string{position(c.Position, u)}
	if c.ApartM > 0 && c.Change == places.StillThere {
		out = append(out, words.Distance(max(c.ApartM, 0.5), u)+" apart")
	}
	for _, side := range [...]struct {
		day  string
		list []*places.Sighting
	}{{"then", c.Then}, {"now", c.Now}} {
		if len(side.list) > 0 {
			out = append(out, side.day+" "+onOneLine(side.list[0].Members[0].Capture))
		}
	}
	return out
}
