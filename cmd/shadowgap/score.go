package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"shadowgap/eval"
	"shadowgap/internal/runstore"
)

type scoreCmd struct {
	RunDir  string `arg:"" name:"run" help:"Run folder."`
	Labels  string `placeholder:"FILE" help:"labels.json: what is really there."`
	Tiles   string `placeholder:"DIR" help:"Folder of mask pictures for captures that each hold one thing on the bottom."`
	Against string `placeholder:"RUN" help:"Another run over the same captures to compare with."`
	Out     string `short:"o" placeholder:"DIR" help:"Folder for results.json and report.html; default the run folder."`
}

// Run scores.
func (s scoreCmd) Run(con *console) error {
	if s.Labels == "" && s.Tiles == "" {
		return usage("say what to score against: --labels FILE, or --tiles DIR")
	}
	if s.Against != "" && s.Labels == "" {
		return usage("--against needs --labels")
	}
	if s.Out == "" {
		s.Out = s.RunDir
	}
	run, err := readRun(con.ctx, s.RunDir)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(s.Out, 0o755); err != nil {
		return fmt.Errorf("making the folder for the report: %w", err)
	}
	opt := eval.DefaultOptions()
	var tiles *eval.TileResult
	if s.Tiles != "" {
		list, err := eval.LoadTiles(con.ctx, s.Tiles, *run)
		if err != nil {
			return usage("%v", err)
		}
		r := eval.TileAgreement(list, opt)
		tiles = &r
		if err := eval.WriteTilesText(con.out, r); err != nil {
			return err
		}
		if s.Labels == "" {
			return eval.WriteJSON(filepath.Join(s.Out, "results.json"), r)
		}
	}
	results, err := scoreAgainst(con.ctx, run, s.Labels, opt)
	if err != nil {
		return err
	}
	if err := eval.WriteText(con.out, results); err != nil {
		return err
	}
	if s.Against != "" {
		if err := s.compare(con, results, opt); err != nil {
			return err
		}
	}
	if err := eval.WriteJSON(filepath.Join(s.Out, "results.json"), results); err != nil {
		return err
	}
	report := filepath.Join(s.Out, "report.html")
	if err := eval.WriteHTML(con.ctx, report, filepath.Base(s.RunDir), results, run.InputRoot, tiles); err != nil {
		return err
	}
	fmt.Fprintf(con.out, "\nThe report is %s\n", report)
	return nil
}

// scoreAgainst scores one run; labels that are wrong are the user's to mend.
func scoreAgainst(ctx context.Context, run *eval.Run, file string, opt eval.Options) (*eval.Results, error) {
	labels, err := eval.Load(file)
	if err != nil {
		return nil, usage("%v", err)
	}
	results, err := eval.Score(ctx, *run, *labels, opt)
	if err != nil && ctx.Err() == nil {
		return nil, usage("%v", err)
	}
	return results, err
}

func (s scoreCmd) compare(con *console, results *eval.Results, opt eval.Options) error {
	other, err := readRun(con.ctx, s.Against)
	if err != nil {
		return err
	}
	theirs, err := scoreAgainst(con.ctx, other, s.Labels, opt)
	if err != nil {
		return err
	}
	const exchanges = 10_000
	list, err := eval.Compare(theirs, results, exchanges, opt.Seed)
	if err != nil {
		return fmt.Errorf("comparing %s with %s: %w", s.RunDir, s.Against, err)
	}
	return eval.WriteComparisonText(con.out, list)
}

// readRun reads a run's records and where its captures are.
func readRun(ctx context.Context, dir string) (run *eval.Run, err error) {
	store, err := openRun(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if run, err = eval.LoadRun(dir); err != nil {
		return nil, err
	}
	run.InputRoot, err = store.Meta(ctx, runstore.MetaRoot)
	return run, err
}
