package main

import (
	"errors"
	"fmt"
	"image"
	"os"
	"path/filepath"
	"strings"

	"shadowgap/detect"
	"shadowgap/internal/batch"
	"shadowgap/internal/overlay"
	"shadowgap/internal/review"
	"shadowgap/internal/survey"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
	"shadowgap/models/network"
)

type explainCmd struct {
	Capture string `arg:"" help:"The picture to explain."`
	Out     string `short:"o" placeholder:"DIR" help:"Folder for page and pictures, not of captures; default its name and -explained."`

	Clutter bool `help:"Look for what is likeliest clutter, too, and explain it."`

	knowledge   `embed:""`
	modelChoice `embed:""`
}

// Run explains one capture.
func (e explainCmd) Run(con *console) error {
	info, err := os.Stat(e.Capture)
	switch {
	case err != nil:
		return usage("can't explain %s: %s", e.Capture, detect.FileWhy(err))
	case info.IsDir():
		return usage("%s is a folder; explain takes one capture, triage takes folders", e.Capture)
	}
	dir := e.Out
	if dir == "" {
		dir = strings.TrimSuffix(filepath.Base(e.Capture), filepath.Ext(e.Capture)) + "-explained"
	}
	if err := needsFolder(dir); err != nil {
		return err
	}
	if err := batch.KeepsExplained(dir); err != nil {
		return usage("--out %s: %v; give it a new folder, an empty one, or an earlier explanation", dir, err)
	}
	if err := network.Start(); err != nil { // else it would be told as if the capture were at fault
		return err
	}
	src, trackSum, err := e.sources(con.ctx)
	if err != nil {
		return err
	}
	model, err := e.load()
	if err != nil {
		return err
	}
	f, err := os.Open(e.Capture)
	if err != nil {
		return status{exitUnreadable, fmt.Sprintf("%s: %s", e.Capture, detect.FileWhy(err))}
	}
	defer f.Close()
	data, err := detect.ReadBytes(con.ctx, f, e.Capture, detect.Limits{})
	if err != nil {
		return unreadable(err)
	}
	pic, err := detect.Decode(con.ctx, data, e.Capture, detect.Limits{})
	if err != nil {
		return unreadable(err)
	}
	name := filepath.Base(e.Capture)
	known := settingsOf(src, e.ReadText, trackSum, name, data)
	known.Options.Model = model
	job := batch.Job{
		Capture: name, SHA256: detect.Sum(data), Options: known.Options, ReadText: e.ReadText, Range: known.Range,
		Versions: detect.Versions{Code: version, Model: model.Version, Settings: known.Hash}, Clutter: e.Clutter,
	}
	if e.Clutter {
		job.Versions.AskClutter()
	}
	if e.setByHand() {
		if err := e.remember(con, pic.Image.Bounds().Size()); err != nil {
			return err
		}
	}
	var analyst batch.Analyst
	rec, marks, err := analyst.Analyse(con.ctx, job, data)
	if err = errors.Join(err, analyst.Close()); err != nil {
		return fmt.Errorf("explaining %s: %w", e.Capture, err)
	}
	rec.Notes = append(rec.Notes, known.Notes...)
	if known.Finish != nil {
		known.Finish(rec, marks)
	}
	if err := review.WriteExplain(con.ctx, dir, pic.Image, *rec, marks, review.ExplainOptions{Units: overlay.Units(e.Units)}); err != nil {
		return unwritable(err)
	}
	printExplained(con, rec, marks, dir, units.Lengths(e.Units))
	return e.ended(con, src, rec)
}

// ended tells what of that which was known spoke of another capture, and whether this one could be read.
func (e explainCmd) ended(con *console, src survey.Sources, rec *detect.CaptureRecord) error {
	told := e.knowledge
	if e.setByHand() {
		told.Layout = "" // it is written here, and was not asked what it holds
	}
	if err := told.tellMissed(con, src, func(yield func(*detect.CaptureRecord, error) bool) { yield(rec, nil) }); err != nil {
		return err
	}
	if rec.Status == detect.StatusUnreadable {
		return status{exitUnreadable, fmt.Sprintf("%s: %s", e.Capture, *rec.Why)}
	}
	return nil
}

// remember checks what was set by hand against the picture's size and writes it into the layout file, if one is named.
func (e explainCmd) remember(con *console, size image.Point) error {
	l := detect.Layout{Width: size.X, Height: size.Y, NadirX: e.nadir(), Side: detect.Side(e.Side), Strong: detect.Strong(e.Strong)}
	panel, err := parsePanel(e.Panel)
	if err != nil {
		return err
	}
	if !panel.Empty() {
		b := detect.BoxOf(panel)
		l.Panel = &b
	}
	if err := l.Check(); err != nil {
		return usage("%v", err)
	}
	if e.Layout == "" {
		return nil
	}
	return detect.RememberLayout(con.ctx, e.Layout, l)
}

func printExplained(con *console, rec *detect.CaptureRecord, marks []detect.MarkRecord, dir string, u units.Lengths) {
	switch {
	case rec.Status == detect.StatusNoPanel:
		fmt.Fprintf(con.out, "%s: no side-scan found: %s\n", rec.Capture, *rec.Why)
	case len(marks) == 0:
		fmt.Fprintf(con.out, "%s: nothing that stands out\n", rec.Capture)
	default:
		fmt.Fprintf(con.out, "%s: %s\n", rec.Capture, contents(rec))
	}
	for i := range marks {
		m := &marks[i]
		fmt.Fprintf(con.out, "\n%d. %s: %s.\n", i+1, review.Verdict(*m), words.Mark(m, u))
		for _, r := range words.Why(m, u) {
			fmt.Fprintf(con.out, "   %s\n", r)
		}
	}
	fmt.Fprintf(con.out, "\nThe page is %s\n%s\n", filepath.Join(dir, "explain.html"), strings.Join(detect.Cautions(), " "))
}

// unreadable gives a picture that can't be read its exit status.
func unreadable(err error) error {
	var re *detect.ReadError
	if errors.As(err, &re) {
		return status{exitUnreadable, fmt.Sprintf("%s: %s", re.Path, re.Why)}
	}
	return err
}
