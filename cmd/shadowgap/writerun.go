package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/export"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// maxPageCaptures bounds what review pages are made from; they show the most interesting captures of a long run.
const maxPageCaptures = 5000

// firstPlaces is how many places a run is gone to first for: as many as a person reads and a small unit takes.
const firstPlaces = 10

// firstName is the file with them for a unit at the helm.
const firstName = "first.gpx"

// shownOnPage is how many of them one page shows at most, and marksOnPage how many marks; of the others it needs only what its name for
// the run is made of.
const (
	shownOnPage = 2000
	marksOnPage = 12_000
)

// pageSize is how many captures each page shows, when the foremost have so many marks: as many as no page has too many marks of.
func pageSize(marks []int) int {
	size := shownOnPage
	for {
		most := 0
		for part := range slices.Chunk(marks, size) {
			n := 0
			for _, k := range part {
				n += k
			}
			most = max(most, n)
		}
		if most <= marksOnPage || size == 1 {
			return size
		}
		size = max(1, min(size-1, size*marksOnPage/most))
	}
}

// writeRun makes the run's exports and its review page from the database, as decisions leave the run, and returns what it comes to.
func writeRun(ctx context.Context, store *runstore.Store, units overlay.Units, clutter bool) (overview, error) {
	run, err := openReviewed(ctx, store, clutter)
	if err != nil {
		return overview{}, err
	}
	o, err := run.overview(ctx, units)
	if err != nil {
		return overview{}, err
	}
	var writers []func(*reviewed) error
	for _, f := range runFiles(ctx, o, units) {
		name := filepath.Join(store.Dir(), f.name)
		if f.write == nil {
			if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return overview{}, fmt.Errorf("removing an old map: %w", err)
			}
			continue
		}
		writers = append(writers, func(run *reviewed) error {
			return export.File(name, func(w io.Writer) error { return f.write(w, run) })
		})
	}
	if err := run.together(ctx, writers...); err != nil {
		return overview{}, err
	}
	if clutter { // the page asks for it itself
		return o, writePage(ctx, store, nil, units)
	}
	return o, writePage(ctx, store, &o.atlas, units)
}

// runFile is one of the exports in a run folder.
type runFile struct {
	name string
	// write takes the run and goes through its captures at most once. nil: there is nothing to write, and one from an earlier triage
	// that knew positions goes.
	write func(io.Writer, *reviewed) error
}

// runFiles lists a run's exports as decisions leave it.
func runFiles(ctx context.Context, o overview, units overlay.Units) []runFile {
	opt := export.Options{Units: units}
	atlas, of := o.atlas, looksOf(o.atlas)
	list := func(name string, write func(io.Writer) error) runFile {
		return runFile{name, func(w io.Writer, _ *reviewed) error { return write(w) }}
	}
	files := []runFile{
		{"marks.jsonl", func(w io.Writer, run *reviewed) error { return export.MarksJSONL(w, run.marks(ctx, of)) }},
		{"captures.jsonl", func(w io.Writer, run *reviewed) error { return export.CapturesJSONL(w, run.records(ctx)) }},
		{"marks.csv", func(w io.Writer, run *reviewed) error { return export.MarksCSV(w, run.marks(ctx, of), units) }},
		{"captures.csv", func(w io.Writer, run *reviewed) error {
			return export.CapturesCSV(w, run.records(ctx), func(c *detect.CaptureRecord) string {
				if c.Status == detect.StatusUnreadable {
					return "" // there is none
				}
				return media.Of(c.Capture, c.SHA256).Plain
			})
		}},
		list("holds.jsonl", func(w io.Writer) error { return export.JSONL(w, o.holds) }),
		list("sightings.jsonl", func(w io.Writer) error { return export.JSONL(w, atlas.Sightings) }),
		list("places.jsonl", func(w io.Writer) error { return export.JSONL(w, atlas.Places) }),
	}
	none := func(name string) { files = append(files, runFile{name, nil}) }
	if !placed(atlas) {
		none(firstName)
	} else {
		files = append(files, list(firstName, func(w io.Writer) error {
			return export.GPX(w, "shadowgap: go here first", export.OfPlaces(placedOnly(atlas.Places, firstPlaces), opt), opt)
		}))
	}
	for _, l := range lists() {
		points := func(run *reviewed) export.Points { return l.points(listed{run.marks(ctx, of), atlas, o.holds}, opt) }
		if l.name != "marks" {
			files = append(files, runFile{l.name + ".csv", func(w io.Writer, run *reviewed) error { return l.csv(w, points(run), opt) }})
		}
		for _, f := range mapFormats() {
			if !placed(atlas) {
				none(l.name + "." + f.name)
				continue
			}
			files = append(files, runFile{l.name + "." + f.name, func(w io.Writer, run *reviewed) error {
				return f.write(w, "shadowgap "+l.name, points(run), opt)
			}})
		}
	}
	return files
}

// listed is what a run's lists are made of.
type listed struct {
	marks decided.Marks
	atlas places.Atlas
	holds []survey.Hold
}

// list is one of the lists that a run is exported as.
type list struct {
	name   string
	points func(l listed, opt export.Options) export.Points
	one    listed // of one thing about which nothing is known, for the columns
}

// csv writes the list as a table, with its header also where it is empty.
func (l list) csv(w io.Writer, points export.Points, opt export.Options) error {
	return export.CSV(w, export.Columns(l.points(l.one, opt)), points)
}

func lists() []list {
	return []list{
		{"marks", func(l listed, opt export.Options) export.Points { return export.OfMarks(l.marks, opt) }, listed{}}, // has columns of its own
		{"sightings", func(l listed, opt export.Options) export.Points { return export.OfSightings(l.atlas.Sightings, opt) },
			listed{atlas: places.Atlas{Sightings: make([]places.Sighting, 1)}}},
		{"holds", func(l listed, opt export.Options) export.Points { return export.OfHolds(l.holds, opt) },
			listed{holds: make([]survey.Hold, 1)}},
		{"places", func(l listed, opt export.Options) export.Points { return export.OfPlaces(l.atlas.Places, opt) },
			listed{atlas: places.Atlas{Places: make([]places.Place, 1)}}},
	}
}

// mapFormat is a map that every list can be written as. It shows nothing without positions.
type mapFormat struct {
	name  string
	write func(w io.Writer, title string, p export.Points, opt export.Options) error
}

func mapFormats() []mapFormat {
	return []mapFormat{
		{"geojson", func(w io.Writer, _ string, p export.Points, _ export.Options) error { return export.GeoJSON(w, p) }},
		{"gpx", export.GPX},
		{"kml", export.KML},
	}
}

// placed says whether anything has a position.
func placed(a places.Atlas) bool {
	return slices.ContainsFunc(a.Sightings, func(s places.Sighting) bool { return s.Position != nil })
}

// placedOnly are the best places to go to that have a position, n at most.
func placedOnly(all []places.Place, n int) []places.Place {
	with := slices.DeleteFunc(slices.Clone(all), func(p places.Place) bool { return p.Position == nil })
	return places.Atlas{Places: with}.Top(n)
}

// foremost returns the most interesting captures with their marks, as many as pages are made from, and how many captures
// there are.
func foremost(ctx context.Context, store *runstore.Store) (caps []detect.CaptureRecord, marks []detect.MarkRecord, total int, err error) {
	return foremostOf(ctx, store, 0, maxPageCaptures)
}

// foremostOf is foremost with no more than name, content and rank of the captures outside a part of them: so many full ones, counted
// from the first.
func foremostOf(ctx context.Context, store *runstore.Store, first, full int) (
	caps []detect.CaptureRecord, marks []detect.MarkRecord, total int, err error,
) {
	for c, err := range store.Captures(ctx) {
		if err != nil {
			return nil, nil, 0, err
		}
		total++
		if len(caps) == maxPageCaptures {
			continue
		}
		if len(caps) < first || len(caps) >= first+full {
			caps = append(caps, detect.CaptureRecord{Capture: c.Capture, SHA256: c.SHA256, Status: c.Status, Interest: c.Interest})
			continue
		}
		clip(c)
		caps = append(caps, *c)
		for m, err := range store.MarksOf(ctx, c) {
			if err != nil {
				return nil, nil, 0, err
			}
			m.Evidence = toldEvidence(m.Evidence)
			marks = append(marks, *m)
		}
	}
	return caps, marks, total, nil
}

// clip lets go of the room that decoding left at the end of a capture's profiles: thousands of them are in memory at once.
func clip(c *detect.CaptureRecord) {
	for i := range c.Panels {
		p := &c.Panels[i]
		p.Nadir, p.FirstReturn.Port, p.FirstReturn.Starboard = exact(p.Nadir), exact(p.FirstReturn.Port), exact(p.FirstReturn.Starboard)
		p.AltitudePx, p.AltitudeM = exact(p.AltitudePx), exact(p.AltitudeM)
	}
}

// exact is a list in memory of its own length; nil stays nil.
func exact[T any](list []T) []T {
	if cap(list) == len(list) {
		return list
	}
	return append(make([]T, 0, len(list)), list...)
}

// writePage makes the run's pages. Only what one of them shows is in memory at once. atlas is where to go, nil where that is not known yet.
func writePage(ctx context.Context, store *runstore.Store, atlas *places.Atlas, units overlay.Units) error {
	tally, err := store.Tally(ctx)
	if err != nil {
		return err
	}
	total := 0
	for _, n := range tally.Captures {
		total += n
	}
	decisions, err := decisionsOf(ctx, store)
	if err != nil {
		return err
	}
	opt, err := pageOptions(ctx, store, atlas, units, total)
	if err != nil {
		return err
	}
	if err := writePrinted(ctx, store, opt); err != nil {
		return err
	}
	counts, err := store.MarkCounts(ctx, maxPageCaptures)
	if err != nil {
		return err
	}
	size := pageSize(counts)
	opt.Printed, opt.MaxCaptures = true, size
	err = review.WritePages(ctx, store.Dir(), func(part int) ([]detect.CaptureRecord, []detect.MarkRecord, error) {
		caps, marks, _, err := foremostOf(ctx, store, part*size, size)
		return caps, marks, err
	}, decisions, opt)
	if err != nil {
		return fmt.Errorf("making the review page: %w", err)
	}
	return nil
}
