package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"

	"shadowgap/detect"
	"shadowgap/internal/export"
	"shadowgap/internal/overlay"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
)

// maxPageCaptures bounds what the review page is made from; it shows the most interesting captures of a long run.
const maxPageCaptures = 5000

func lengthUnit(u overlay.Units) export.Length {
	if u == overlay.Feet {
		return export.Feet()
	}
	return export.Metres()
}

// writeRun makes the run's exports and its review page from the database.
func writeRun(ctx context.Context, store *runstore.Store, units overlay.Units) error {
	files := []struct {
		name  string
		write func(io.Writer) error
	}{
		{"marks.jsonl", func(w io.Writer) error { return export.MarksJSONL(w, store.Marks(ctx)) }},
		{"captures.jsonl", func(w io.Writer) error { return export.CapturesJSONL(w, store.Captures(ctx)) }},
		{"marks.csv", func(w io.Writer) error {
			return export.MarksCSV(w, store.Marks(ctx), lengthUnit(units))
		}},
		{"captures.csv", func(w io.Writer) error {
			return export.CapturesCSV(w, store.Captures(ctx), func(c *detect.CaptureRecord) string { return review.MediaOf(c.Capture).Drawn })
		}},
	}
	for _, f := range files {
		if err := export.File(filepath.Join(store.Dir(), f.name), f.write); err != nil {
			return err
		}
	}
	return writePage(ctx, store, units)
}

func writePage(ctx context.Context, store *runstore.Store, units overlay.Units) error {
	var caps []detect.CaptureRecord
	var marks []detect.MarkRecord
	for c, err := range store.Captures(ctx) {
		if err != nil {
			return err
		}
		if len(caps) == maxPageCaptures {
			break
		}
		caps = append(caps, *c)
		for m, err := range store.MarksOf(ctx, c) {
			if err != nil {
				return err
			}
			marks = append(marks, *m)
		}
	}
	decisions, err := decisionsOf(ctx, store)
	if err != nil {
		return err
	}
	opt := review.PageOptions{Name: filepath.Base(store.Dir()), Units: units}
	if err := review.WritePage(ctx, store.Dir(), caps, marks, decisions, opt); err != nil {
		return fmt.Errorf("making the review page: %w", err)
	}
	return nil
}
