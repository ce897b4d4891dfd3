package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"shadowgap/detect"
	"shadowgap/internal/export"
	"shadowgap/internal/overlay"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// maxPageCaptures bounds what the review page is made from; it shows the most interesting captures of a long run.
const maxPageCaptures = 5000

// shownOnPage is how many of them a page shows; of the others it needs only what its name for the run is made of.
const shownOnPage = 2000

func lengthUnit(u overlay.Units) export.Length {
	if u == overlay.Feet {
		return export.Feet()
	}
	return export.Metres()
}

// maxMerged bounds how many placed marks are compared for being the same thing: all must be in memory at once.
const maxMerged = 500_000

// writeRun makes the run's exports and its review page from the database.
func writeRun(ctx context.Context, store *runstore.Store, units overlay.Units) error {
	seen, marks, err := sightings(ctx, store)
	if err != nil {
		return err
	}
	holds, err := rankedHolds(ctx, store)
	if err != nil {
		return err
	}
	type file struct {
		name  string
		write func(io.Writer) error
	}
	files := []file{
		{"marks.jsonl", func(w io.Writer) error { return export.MarksJSONL(w, marks) }},
		{"captures.jsonl", func(w io.Writer) error { return export.CapturesJSONL(w, store.Captures(ctx)) }},
		{"marks.csv", func(w io.Writer) error { return export.MarksCSV(w, marks, lengthUnit(units)) }},
		{"captures.csv", func(w io.Writer) error {
			return export.CapturesCSV(w, store.Captures(ctx), func(c *detect.CaptureRecord) string { return review.MediaOf(c.Capture, c.SHA256).Plain })
		}},
		{"holds.jsonl", func(w io.Writer) error { return export.JSONL(w, holds) }},
	}
	if seen.placed {
		files = append(files,
			file{"sightings.jsonl", func(w io.Writer) error { return export.JSONL(w, seen.list) }},
			file{"marks.geojson", func(w io.Writer) error { return export.MarksGeoJSON(w, marks) }},
			file{"marks.gpx", func(w io.Writer) error { return export.MarksGPX(w, marks) }},
			file{"marks.kml", func(w io.Writer) error { return export.MarksKML(w, marks) }})
	}
	for _, f := range files {
		if err := export.File(filepath.Join(store.Dir(), f.name), f.write); err != nil {
			return err
		}
	}
	return writePage(ctx, store, units)
}

// seenTwice is what marks with a position add up to.
type seenTwice struct {
	placed bool // some mark has a position
	list   []survey.Sighting
}

// sightings finds the marks of different captures that are looks at one thing, and returns the run's marks with their
// sighting's id.
func sightings(ctx context.Context, store *runstore.Store) (seenTwice, export.Marks, error) {
	var placed []detect.MarkRecord
	for m, err := range store.Marks(ctx) {
		if err != nil {
			return seenTwice{}, nil, err
		}
		if m.Position == nil {
			continue
		}
		if len(placed) == maxMerged {
			return seenTwice{placed: true}, store.Marks(ctx), nil
		}
		placed = append(placed, *m)
	}
	if len(placed) == 0 {
		return seenTwice{}, store.Marks(ctx), nil
	}
	list := survey.Merge(placed, survey.MergeOptions{})
	of := map[string]*string{}
	for i := range placed {
		if placed[i].Sighting != nil {
			of[placed[i].Mark] = placed[i].Sighting
		}
	}
	return seenTwice{true, list}, func(yield func(*detect.MarkRecord, error) bool) {
		for m, err := range store.Marks(ctx) {
			if err == nil {
				m.Sighting = of[m.Mark]
			}
			if !yield(m, err) {
				return
			}
		}
	}, nil
}

// rankedHolds joins the holds of the most interesting captures and ranks them.
func rankedHolds(ctx context.Context, store *runstore.Store) ([]survey.Hold, error) {
	var caps []detect.CaptureRecord
	var marks []detect.MarkRecord
	for c, err := range store.Captures(ctx) {
		if err != nil {
			return nil, err
		}
		if len(c.Holds) == 0 {
			continue
		}
		if len(caps) == maxPageCaptures {
			break
		}
		var held []string
		for _, h := range c.Holds {
			held = append(held, h.Marks...)
		}
		caps = append(caps, forHolds(c))
		for m, err := range store.MarksOf(ctx, c) {
			if err != nil {
				return nil, err
			}
			if slices.Contains(held, m.Mark) {
				marks = append(marks, detect.MarkRecord{Capture: m.Capture, Mark: m.Mark, Panel: m.Panel, Rows: m.Rows, Position: m.Position})
			}
		}
	}
	return survey.RankHolds(caps, marks), nil
}

// forHolds is a capture with no more than ranking its holds takes: thousands of them are in memory at once.
func forHolds(c *detect.CaptureRecord) detect.CaptureRecord {
	out := detect.CaptureRecord{Capture: c.Capture, Holds: c.Holds, Panels: make([]detect.PanelRecord, len(c.Panels))}
	for i, p := range c.Panels {
		out.Panels[i] = detect.PanelRecord{Humps: p.Humps, Regions: p.Regions}
	}
	return out
}

// foremost returns the most interesting captures with their marks, as many as a page is made from, and how many captures
// there are.
func foremost(ctx context.Context, store *runstore.Store) (caps []detect.CaptureRecord, marks []detect.MarkRecord, total int, err error) {
	return foremostOf(ctx, store, maxPageCaptures)
}

// foremostOf is foremost with no more than name, content and rank of the captures after the first full ones.
func foremostOf(ctx context.Context, store *runstore.Store, full int) (
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
		if len(caps) >= full {
			caps = append(caps, detect.CaptureRecord{Capture: c.Capture, SHA256: c.SHA256, Status: c.Status, Interest: c.Interest})
			continue
		}
		caps = append(caps, *c)
		for m, err := range store.MarksOf(ctx, c) {
			if err != nil {
				return nil, nil, 0, err
			}
			marks = append(marks, *m)
		}
	}
	return caps, marks, total, nil
}

func writePage(ctx context.Context, store *runstore.Store, units overlay.Units) error {
	caps, marks, total, err := foremostOf(ctx, store, shownOnPage)
	if err != nil {
		return err
	}
	decisions, err := decisionsOf(ctx, store)
	if err != nil {
		return err
	}
	opt := review.PageOptions{Name: filepath.Base(store.Dir()), Units: units, Total: total, MaxCaptures: shownOnPage}
	if _, err := os.Stat(filepath.Join(store.Dir(), review.SheetName)); err == nil {
		opt.Sheet = true
	}
	if err := review.WritePage(ctx, store.Dir(), caps, marks, decisions, opt); err != nil {
		return fmt.Errorf("making the review page: %w", err)
	}
	return nil
}
