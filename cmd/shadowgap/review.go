package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"

	"github.com/rs/zerolog"
	"golang.org/x/sys/unix"

	"shadowgap/detect"
	"shadowgap/internal/overlay"
	"shadowgap/internal/review"
	"shadowgap/internal/runstore"
)

type reviewCmd struct {
	RunDir      string `arg:"" name:"run" help:"Run folder."`
	Take        string `type:"path" placeholder:"FILE" help:"Take in decisions.json, as the page downloads it, and stop."`
	Sheet       bool   `help:"Write contact-sheet.pdf, a close-up of every place for printing, into the run folder, and stop."`
	Addr        string `placeholder:"HOST:PORT" help:"Where to listen; default 127.0.0.1 and a free port."`
	AllowRemote bool   `help:"Let --addr be one that other machines can reach."`
	Units       string `enum:",m,ft" default:"" placeholder:"m|ft" help:"Unit of lengths: m or ft; default the run's."`
}

// Run serves the review page, or takes in decisions.
func (r reviewCmd) Run(con *console) (err error) {
	store, err := openRun(con.ctx, r.RunDir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if store.ReadOnly() {
		return status{exitFailed, fmt.Sprintf("you may not write to %s, so decisions could not be kept there; "+
			"its review.html shows the run without", r.RunDir)}
	}
	unit, err := unitsOf(con.ctx, store, r.Units)
	if err != nil {
		return err
	}
	r.Units = string(unit) // what is written at the end stays in the run's unit, too
	if r.Addr != "" {
		if _, _, err := net.SplitHostPort(r.Addr); err != nil {
			return usage("--addr %s: must be a host and a port, such as 127.0.0.1:8080", r.Addr)
		}
	}
	if r.Take != "" {
		return r.take(con, store)
	}
	if r.Sheet {
		return r.sheet(con, store)
	}
	caps, marks, total, err := foremost(con.ctx, store)
	if err != nil {
		return err
	}
	opt, err := pageOptions(con.ctx, store, nil, overlay.Units(r.Units), total)
	if err != nil {
		return err
	}
	err = review.Serve(con.ctx, decisionStore{store}, caps, marks, review.ServeOptions{
		RunDir: r.RunDir, Addr: r.Addr, AllowRemote: r.AllowRemote, Page: opt,
		Export: func(ctx context.Context, name string, w io.Writer) error {
			return exportNow(ctx, store, overlay.Units(r.Units), name, w)
		},
		Print: func(ctx context.Context, name string) error {
			return printNow(ctx, store, overlay.Units(r.Units), name)
		},
		Log:   zerolog.New(con.err).With().Timestamp().Logger(),
		Ready: func(url string) { fmt.Fprintf(con.out, "Open %s in a browser; Ctrl-C ends the review.\n", url) },
	})
	if errors.Is(err, review.ErrNotLoopback) {
		return usage("%v; --allow-remote takes it", err)
	}
	if errors.Is(err, unix.EADDRINUSE) {
		return usage("another program, perhaps an earlier review, listens at %s; give --addr another port, or leave it out", r.Addr)
	}
	if err != nil {
		return err
	}
	// The page and the exports in the run folder follow the decisions.
	_, err = writeRun(context.WithoutCancel(con.ctx), store, overlay.Units(r.Units), false)
	return err
}

// exportNow writes one of the run's exports as decisions leave it at this moment.
func exportNow(ctx context.Context, store *runstore.Store, units overlay.Units, name string, w io.Writer) error {
	run, err := openReviewed(ctx, store, false)
	if err != nil {
		return err
	}
	o, err := run.overview(ctx, units)
	if err != nil {
		return err
	}
	for _, f := range runFiles(ctx, o, units) {
		if f.name == name && f.write != nil {
			return f.write(w, run)
		}
	}
	return fmt.Errorf("export %s: %w", name, fs.ErrNotExist)
}

// printNow makes one of the run's printed pages as decisions leave it at this moment.
func printNow(ctx context.Context, store *runstore.Store, units overlay.Units, name string) error {
	opt, err := pageOptions(ctx, store, nil, units, 0)
	if err != nil {
		return err
	}
	if name == review.SheetName {
		return writeSheet(ctx, store, opt)
	}
	return writePrinted(ctx, store, opt)
}

func writePrinted(ctx context.Context, store *runstore.Store, opt review.PageOptions) error {
	if err := review.WritePlaces(ctx, store.Dir(), opt.Name, *opt.Atlas, opt.Units); err != nil {
		return fmt.Errorf("making the printed page: %w", err)
	}
	return nil
}

func writeSheet(ctx context.Context, store *runstore.Store, opt review.PageOptions) error {
	sheet := review.SheetOptions{Name: opt.Name, Units: opt.Units}
	if err := review.WriteContactSheet(ctx, store.Dir(), *opt.Atlas, sheet); err != nil {
		return fmt.Errorf("making the contact sheet: %w", err)
	}
	return nil
}

// sheet writes the contact sheet and makes the page anew, which then links to it.
func (r reviewCmd) sheet(con *console, store *runstore.Store) error {
	opt, err := pageOptions(con.ctx, store, nil, overlay.Units(r.Units), 0)
	if err != nil {
		return err
	}
	if err := writeSheet(con.ctx, store, opt); err != nil {
		return err
	}
	fmt.Fprintln(con.out, filepath.Join(r.RunDir, review.SheetName))
	return writePage(con.ctx, store, opt.Atlas, overlay.Units(r.Units))
}

func (r reviewCmd) take(con *console, store *runstore.Store) error {
	f, err := os.Open(r.Take)
	if err != nil {
		return usage("--take %s: %s", r.Take, detect.FileWhy(err))
	}
	defer f.Close()
	file, err := review.ReadDecisions(f)
	if err != nil {
		return usage("--take %s is not decisions.json as the page downloads it: %v", r.Take, err)
	}
	caps, marks, _, err := foremost(con.ctx, store)
	if err != nil {
		return err
	}
	taken, err := review.Take(con.ctx, decisionStore{store}, review.NewIndex(caps, marks), file)
	if errors.Is(err, review.ErrBadDecision) {
		return usage("%s: %v", r.Take, err)
	}
	if err != nil {
		return err
	}
	for _, s := range taken.Skipped {
		fmt.Fprintln(con.err, "left out:", s)
	}
	if n := len(taken.Skipped); n > 0 && taken.Added+taken.Known == 0 {
		return usage("--take %s: none of its %s is on what this run holds", r.Take, count(n, "decision"))
	}
	fmt.Fprintf(con.out, "%s new, %d known already, %d left out\n", count(taken.Added, "decision"), taken.Known, len(taken.Skipped))
	_, err = writeRun(con.ctx, store, overlay.Units(r.Units), false)
	return err
}
