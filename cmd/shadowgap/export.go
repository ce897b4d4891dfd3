package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/export"
	"shadowgap/internal/places"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
	"shadowgap/internal/units"
)

type exportCmd struct {
	RunDir     string   `arg:"" name:"run" help:"Run folder."`
	As         string   `required:"" enum:"csv,jsonl,geojson,gpx,kml,labels" placeholder:"FORMAT" help:"${export_as}"`
	Of         string   `enum:"marks,sightings,holds,places" default:"marks" help:"${export_of}"`
	Out        string   `short:"o" placeholder:"FILE" help:"${export_out}"`
	Top        int      `placeholder:"20" help:"${export_top}"`
	MinOdds    float64  `placeholder:"0.6" help:"Only what is at least this sure of its class, 0 to 1."`
	Class      []string `placeholder:"CLASS" help:"Only these classes: bottom-object, suspended-target, raised-structure, clutter."`
	Accepted   bool     `help:"Only marks that a reviewer accepted, drew or gave a class."`
	Clutter    bool     `help:"Keep what is likeliest clutter, and what a reviewer rejected."`
	NameLength int      `default:"30" help:"Most characters of a waypoint's name; many units at the helm take 10 or fewer."`
	Units      string   `enum:",m,ft" default:"" placeholder:"m|ft" help:"Unit of lengths: m or ft; default the run's."`
}

// check refuses options that make no sense or don't go together.
func (e exportCmd) check() error {
	for _, c := range e.Class {
		if !slices.Contains(detect.Classes[:], detect.Class(c)) {
			return usage("--class %s: there is no such class; the classes are %s", c, strings.Join(classNames(), ", "))
		}
	}
	switch {
	case e.MinOdds < 0 || e.MinOdds > 1:
		return usage("--min-odds %v: must lie between 0 and 1", e.MinOdds)
	case e.Top < 0:
		return usage("--top %d: can't be negative", e.Top)
	case e.NameLength < export.LeastNameLength:
		return usage("--name-length %d: names of fewer than %d characters can't be told apart", e.NameLength, export.LeastNameLength)
	case e.Top > 0 && e.Of == "marks":
		return usage("--top goes with --of sightings, holds or places")
	case e.Accepted && (e.Of == "holds" || e.Of == "places"):
		return usage("--accepted goes with --of marks or sightings")
	case len(e.Class) > 0 && (e.Of == "holds" || e.Of == "places"):
		return usage("--class goes with --of marks or sightings")
	}
	return nil
}

// Run exports.
func (e exportCmd) Run(con *console) (err error) {
	if err := e.check(); err != nil {
		return err
	}
	if e.As == "labels" {
		return e.labels(con)
	}
	store, err := openRun(con.ctx, e.RunDir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	unit, err := unitsOf(con.ctx, store, e.Units)
	if err != nil {
		return err
	}
	run, err := openReviewed(con.ctx, store, e.Clutter || slices.Contains(e.Class, string(detect.Clutter)))
	if err != nil {
		return err
	}
	if run.clutter {
		if err := tellUnasked(con.ctx, con, store); err != nil {
			return err
		}
	}
	atlas, err := run.atlas(con.ctx, unit)
	if err != nil {
		return err
	}
	filter := export.Filter{MinOdds: e.MinOdds, Accepted: e.Accepted}
	for _, c := range e.Class {
		filter.Classes = append(filter.Classes, detect.Class(c))
	}
	l := listed{marks: filter.Apply(run.marks(con.ctx, looksOf(atlas))), atlas: atlas}
	if e.Of == "holds" {
		if l.holds, err = run.holds(con.ctx); err != nil {
			return err
		}
	}
	e.pick(&l, filter)
	return e.export(con, l, export.Options{Units: unit, NameLength: e.NameLength})
}

// unitsOf is the unit asked for, else the one the run was made with.
func unitsOf(ctx context.Context, store *runstore.Store, asked string) (units.Lengths, error) {
	if asked != "" {
		return units.Lengths(asked), nil
	}
	kept, err := store.Meta(ctx, runstore.MetaUnits)
	return units.Lengths(cmp.Or(kept, string(units.Metres))), err
}

// pick leaves out of sightings, holds and places what the options leave out.
func (e exportCmd) pick(l *listed, filter export.Filter) {
	mapped := e.As == "gpx" || e.As == "kml"
	out := func(p *detect.Position, odds float64) bool {
		return odds < e.MinOdds || e.Top > 0 && (odds < 0.5 || mapped && p == nil)
	}
	l.atlas.Sightings = slices.DeleteFunc(l.atlas.Sightings, func(s places.Sighting) bool {
		settled := s.Decision == decided.Accepted || s.Decision == decided.Drawn
		return e.Accepted && !settled || len(filter.Classes) > 0 && !slices.Contains(filter.Classes, s.Class) || out(s.Position, s.Odds[s.Class])
	})
	l.holds = slices.DeleteFunc(l.holds, func(h survey.Hold) bool { return out(h.Position, h.Odds) })
	l.atlas.Places = slices.DeleteFunc(l.atlas.Places, func(p places.Place) bool { return out(p.Position, p.Odds) })
	if e.Top > 0 {
		l.atlas.Sightings = l.atlas.Sightings[:min(e.Top, len(l.atlas.Sightings))]
		l.holds = l.holds[:min(e.Top, len(l.holds))]
		l.atlas.Places = l.atlas.Places[:min(e.Top, len(l.atlas.Places))]
	}
}

// export writes the list that was asked for, and tells what could not be in it.
func (e exportCmd) export(con *console, l listed, opt export.Options) error {
	written, placed := 0, 0
	name := e.Of + "." + e.As
	if err := e.put(con, name, e.writer(l, opt, &written, &placed)); err != nil {
		return err
	}
	thing := strings.TrimSuffix(e.Of, "s")
	if e.As == "gpx" || e.As == "kml" {
		if placed < written {
			fmt.Fprintf(con.err, "%s without a position left out; triage with --track or --manifest gives positions\n", count(written-placed, thing))
		}
		written = placed
	}
	if e.Out != "-" {
		fmt.Fprintf(con.err, "%s written to %s\n", count(written, thing), e.file(name))
	}
	return nil
}

// writer writes the list in the format that was asked for and counts what it wrote and how much of it has a position.
func (e exportCmd) writer(l listed, opt export.Options, written, placed *int) func(io.Writer) error {
	tally := func(p *detect.Position) {
		*written++
		if p != nil {
			*placed++
		}
	}
	marks := l.marks
	l.marks = func(yield func(*decided.Mark, error) bool) {
		for m, err := range marks {
			if err == nil {
				tally(m.Position)
			}
			if !yield(m, err) {
				return
			}
		}
	}
	switch e.Of {
	case "sightings":
		for i := range l.atlas.Sightings {
			tally(l.atlas.Sightings[i].Position)
		}
	case "holds":
		for i := range l.holds {
			tally(l.holds[i].Position)
		}
	case "places":
		for i := range l.atlas.Places {
			tally(l.atlas.Places[i].Position)
		}
	}
	return func(w io.Writer) error {
		switch {
		case e.As == "jsonl":
			return l.jsonl(w, e.Of)
		case e.As == "csv" && e.Of == "marks":
			return export.MarksCSV(w, l.marks, opt.Units)
		}
		of := lists()[slices.IndexFunc(lists(), func(x list) bool { return x.name == e.Of })]
		if e.As == "csv" {
			return of.csv(w, of.points(l, opt), opt)
		}
		as := mapFormats()[slices.IndexFunc(mapFormats(), func(x mapFormat) bool { return x.name == e.As })]
		return as.write(w, "shadowgap "+e.Of, of.points(l, opt), opt)
	}
}

// jsonl writes a list as JSON Lines.
func (l listed) jsonl(w io.Writer, of string) error {
	switch of {
	case "sightings":
		return export.JSONL(w, l.atlas.Sightings)
	case "holds":
		return export.JSONL(w, l.holds)
	case "places":
		return export.JSONL(w, l.atlas.Places)
	}
	return export.MarksJSONL(w, l.marks)
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
	if err := needsPlace(file, exportKind, "export"); err != nil {
		return err
	}
	return unwritable(export.File(file, write))
}

// labels writes the reviewer's decisions and drawn marks as labels by hand.
func (e exportCmd) labels(con *console) error {
	if e.Accepted || e.MinOdds > 0 || len(e.Class) > 0 || e.Clutter || e.Of != "marks" {
		return usage("--as labels writes all that a reviewer decided; --accepted, --min-odds, --class, --clutter and --of don't go with it")
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

// openRun opens a run and words what a user may have got wrong.
func openRun(ctx context.Context, dir string) (*runstore.Store, error) {
	store, err := runstore.Open(ctx, dir)
	if errors.Is(err, runstore.ErrNotRun) {
		return nil, notRun(dir)
	}
	return store, err
}
