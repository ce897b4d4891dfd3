package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/detect"
	"shadowgap/internal/export"
	"shadowgap/internal/overlay"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
)

type exportCmd struct {
	RunDir   string   `arg:"" name:"run" help:"Run folder."`
	As       string   `required:"" enum:"csv,jsonl,geojson,gpx,kml,labels" placeholder:"FORMAT" help:"Format: csv, jsonl, geojson, gpx or kml; or labels, what a reviewer made of the captures looked at to the end, for score and fit."`
	Out      string   `short:"o" placeholder:"FILE" help:"File to write, - for standard output; default marks with the format's ending, or labels.json, in the run folder."`
	MinOdds  float64  `placeholder:"0.6" help:"Only marks that are at least this sure of their class, 0 to 1."`
	Class    []string `placeholder:"CLASS" help:"Only these classes: bottom-object, suspended-target, raised-structure, clutter."`
	Accepted bool     `help:"Only marks that a reviewer accepted."`
	Units    string   `enum:"m,ft" default:"m" help:"Unit of lengths in CSV: m or ft."`
}

// Run exports.
func (e exportCmd) Run(con *console) (err error) {
	filter := export.Filter{MinOdds: e.MinOdds}
	if e.MinOdds < 0 || e.MinOdds > 1 {
		return usage("--min-odds %v: must lie between 0 and 1", e.MinOdds)
	}
	for _, c := range e.Class {
		if !slices.Contains(detect.Classes[:], detect.Class(c)) {
			return usage("--class %s: there is no such class; the classes are %s", c, strings.Join(classNames(), ", "))
		}
		filter.Classes = append(filter.Classes, detect.Class(c))
	}
	if e.As == "labels" {
		return e.labels(con)
	}
	store, err := openRun(con.ctx, e.RunDir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if e.Accepted {
		ds, err := decisionsOf(con.ctx, store)
		if err != nil {
			return err
		}
		state := review.Fold(ds)
		filter.Accepted = func(m *detect.MarkRecord) bool { return state.Mark(m.Capture, m.Mark).Verdict == review.Accept }
	}
	_, sighted, err := sightings(con.ctx, store)
	if err != nil {
		return err
	}
	marks := filter.Apply(sighted)
	written := 0
	placed := 0
	counted := func(yield func(*detect.MarkRecord, error) bool) {
		for m, err := range marks {
			if err == nil {
				written++
				if m.Position != nil {
					placed++
				}
			}
			if !yield(m, err) {
				return
			}
		}
	}
	write := func(w io.Writer) error { return e.write(w, counted) }
	if err := e.put(con, "marks."+e.As, write); err != nil || e.Out == "-" {
		return err
	}
	if e.As == "gpx" || e.As == "kml" {
		if placed < written {
			fmt.Fprintf(con.err, "%s without a position left out; triage with --track or --manifest gives positions\n", count(written-placed, "mark"))
		}
		written = placed
	}
	fmt.Fprintf(con.err, "%s written to %s\n", count(written, "mark"), e.file("marks."+e.As))
	return nil
}

// file is where the export goes: what --out says, or name in the run folder.
func (e exportCmd) file(name string) string {
	if e.Out == "" {
		return filepath.Join(e.RunDir, name)
	}
	return e.Out
}

// put sends the export where --out says.
func (e exportCmd) put(con *console, name string, write func(io.Writer) error) error {
	if e.Out == "-" {
		return write(con.out)
	}
	file := e.file(name)
	if info, err := os.Stat(filepath.Dir(file)); err != nil || !info.IsDir() {
		return usage("--out %s: there is no folder %s", e.Out, filepath.Dir(file))
	}
	return export.File(file, write)
}

// labels writes the reviewer's decisions and drawn marks as labels by hand.
func (e exportCmd) labels(con *console) error {
	if e.Accepted || e.MinOdds > 0 || len(e.Class) > 0 {
		return usage("--as labels writes all that a reviewer decided; --accepted, --min-odds and --class don't go with it")
	}
	run, decisions, err := readReviewed(con.ctx, e.RunDir)
	if err != nil {
		return err
	}
	labels := review.Labels(run.Captures, run.Marks, decisions, true)
	write := func(w io.Writer) error {
		out := json.NewEncoder(w)
		out.SetIndent("", " ")
		return out.Encode(labels)
	}
	if err := e.put(con, labelsName, write); err != nil || e.Out == "-" {
		return err
	}
	fmt.Fprintf(con.err, "labels of %s looked at to the end written to %s\n", count(len(labels.Captures), "capture"), e.file(labelsName))
	return nil
}

const labelsName = "labels.json"

func (e exportCmd) write(w io.Writer, marks export.Marks) error {
	switch e.As {
	case "jsonl":
		return export.MarksJSONL(w, marks)
	case "geojson":
		return export.MarksGeoJSON(w, marks)
	case "gpx":
		return export.MarksGPX(w, marks)
	case "kml":
		return export.MarksKML(w, marks)
	}
	return export.MarksCSV(w, marks, lengthUnit(overlay.Units(e.Units)))
}

// openRun opens a run and words what a user may have got wrong.
func openRun(ctx context.Context, dir string) (*runstore.Store, error) {
	store, err := runstore.Open(ctx, dir)
	if errors.Is(err, runstore.ErrNotRun) {
		return nil, usage("%s is not a run folder: it holds no %s. \"shadowgap triage\" makes one.", dir, runstore.FileName)
	}
	return store, err
}
