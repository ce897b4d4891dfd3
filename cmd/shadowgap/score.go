package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"shadowgap/eval"
	"shadowgap/internal/runstore"
)

type scoreCmd struct {
	RunDir  string `arg:"" optional:"" name:"run" help:"Run folder."`
	Labels  string `placeholder:"FILE" help:"labels.json: what is really there."`
	Half    string `enum:",a,b" default:"" help:"Only the labels of one half, a or b, as halves.json beside the labels file parts them."`
	Drawn   string `placeholder:"FILE" help:"Compare these labels, drawn by eye, with --labels; instead of a run."`
	Tiles   string `placeholder:"DIR" help:"Folder of mask pictures for captures that each hold one thing on the bottom."`
	Shown   string `placeholder:"DIR" help:"${score_shown}"`
	NoSonar bool   `help:"The run's captures hold no side-scan, none of them: tell only how many are taken for some."`
	Records bool   `help:"The run is a folder of captures.jsonl and marks.jsonl that another program wrote."`
	Level   string `placeholder:"best|FILE" help:"${score_level}"`
	Against string `placeholder:"RUN" help:"Another run over the same captures to compare with."`
	Out     string `short:"o" placeholder:"DIR" help:"Folder for results.json and report.html; default: the run's or the drawn labels'."`
	Summary string `placeholder:"FILE" help:"Add the main figures to this file as a line of a Markdown table."`
	Name    string `placeholder:"TEXT" help:"What --summary calls this score; default the folder's name."`
}

// check refuses options that don't go together.
func (s scoreCmd) check() error {
	switch {
	case s.Drawn != "":
		return s.checkDrawn()
	case s.Shown != "":
		return s.checkShown()
	case s.RunDir == "":
		return usage("say which run to score, or give labels drawn by eye with --drawn")
	case s.NoSonar && (s.Labels != "" || s.Tiles != "" || s.Against != "" || s.Summary != "" || s.Level != ""):
		return usage("--no-sonar tells how many captures are let in; leave out --labels, --tiles, --against, --summary and --level")
	case s.NoSonar:
		return nil
	case s.Level == "best" && s.Labels == "":
		return usage("--level best needs --labels to find it on")
	case s.Against != "" && s.Level != "":
		return usage("--against compares runs as they are; leave out --level")
	case s.Labels == "" && s.Tiles == "":
		return usage("say what to score against: --labels FILE, or --tiles DIR")
	case s.Against != "" && s.Labels == "":
		return usage("--against needs --labels")
	}
	return nil
}

func (s scoreCmd) checkDrawn() error {
	switch {
	case s.Labels == "":
		return usage("--drawn needs --labels with what is really there")
	case s.RunDir != "" || s.Tiles != "" || s.Against != "":
		return usage("--drawn compares labels with labels; leave out the run, --tiles and --against")
	}
	return nil
}

func (s scoreCmd) checkShown() error {
	switch {
	case s.Labels == "":
		return usage("--shown needs --labels that tell which captures are whole swaths")
	case s.RunDir != "" || s.Tiles != "" || s.Against != "" || s.Summary != "":
		return usage("--shown reads pictures itself; leave out the run, --tiles, --against and --summary")
	case s.Out == "":
		return usage("--shown needs --out, a folder for results.json")
	}
	return nil
}

// Run scores.
func (s scoreCmd) Run(con *console) error {
	if err := s.check(); err != nil {
		return err
	}
	if s.Out == "" {
		if s.Out = s.RunDir; s.Drawn != "" {
			s.Out = filepath.Dir(s.Drawn)
		}
	}
	if err := needsFolder(s.Out); err != nil && s.Out != s.RunDir {
		return err
	}
	if s.Name == "" {
		s.Name = filepath.Base(s.Out)
	}
	if s.Drawn != "" {
		return s.drawn(con)
	}
	if s.Shown != "" {
		return s.shown(con)
	}
	run, err := s.read(con.ctx)
	if err != nil {
		return err
	}
	if s.NoSonar {
		return s.letIn(con, run)
	}
	opt, err := s.options(con.ctx, run)
	if err != nil {
		return err
	}
	var tiles *eval.TileResult
	if s.Tiles != "" {
		if tiles, err = s.tiles(con, run, opt); err != nil {
			return err
		}
	}
	if s.Labels == "" {
		return nil
	}
	return s.labelled(con, run, tiles, opt)
}

// letIn tells how many captures without side-scan are taken for some.
func (s scoreCmd) letIn(con *console, run *eval.Run) error {
	r := eval.LetIn(*run)
	if err := eval.WriteLetInText(con.out, r); err != nil {
		return err
	}
	return s.write(r)
}

// tiles scores against mask pictures. Without labels this is the whole score and gets the report.
func (s scoreCmd) tiles(con *console, run *eval.Run, opt eval.Options) (*eval.TileResult, error) {
	list, err := eval.LoadTiles(con.ctx, s.Tiles, *run)
	if err != nil {
		return nil, usage("%v", err)
	}
	r := eval.TileAgreement(list, opt)
	if err := eval.WriteTilesText(con.out, r); err != nil {
		return nil, err
	}
	if err := s.note(eval.TileSummary(s.Name, r)...); err != nil {
		return nil, err
	}
	if s.Labels != "" {
		return &r, nil
	}
	if err := s.write(r); err != nil {
		return nil, err
	}
	return &r, s.tileReport(con, run, list, r, opt)
}

// labelled scores against labels. The report also shows tiles, nil where there are none.
func (s scoreCmd) labelled(con *console, run *eval.Run, tiles *eval.TileResult, opt eval.Options) error {
	results, err := scoreAgainst(con.ctx, run, s.Labels, s.Half, opt)
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
	if err := s.note(eval.Summary(s.Name, results)); err != nil {
		return err
	}
	if err := s.write(results); err != nil {
		return err
	}
	return s.report(con, filepath.Base(s.RunDir), results, run.InputRoot, tiles)
}

// read reads the run, or what another program says in its place.
func (s scoreCmd) read(ctx context.Context) (*eval.Run, error) {
	if !s.Records {
		return readRun(ctx, s.RunDir)
	}
	run, err := eval.LoadRun(s.RunDir)
	if err != nil {
		return nil, usage("%v", err)
	}
	return run, nil
}

// options are the default ones, with the level from which marks count.
func (s scoreCmd) options(ctx context.Context, run *eval.Run) (eval.Options, error) {
	opt := eval.DefaultOptions()
	switch s.Level {
	case "":
	case "best":
		fast := opt
		fast.Resamples = 0
		r, err := scoreAgainst(ctx, run, s.Labels, s.Half, fast)
		if err != nil {
			return opt, err
		}
		if r.FROC.Best == nil {
			return opt, usage("--level best: no mark, or nothing to find")
		}
		opt.MinScore = r.FROC.Best.Threshold
	default:
		data, err := os.ReadFile(s.Level)
		if err != nil {
			return opt, usage("--level: %v", err)
		}
		var other struct {
			Options *eval.Options `json:"options"`
		}
		if err := json.Unmarshal(data, &other); err != nil || other.Options == nil {
			return opt, usage("--level: %s is no results.json of a score against labels", s.Level)
		}
		opt.MinScore = other.Options.MinScore
	}
	return opt, nil
}

// tileReport writes the page for tiles alone: what goes for found in a tile goes for found in all of the page.
func (s scoreCmd) tileReport(con *console, run *eval.Run, list []eval.Tile, r eval.TileResult, opt eval.Options) error {
	opt.Gate, opt.MinLabelPx = eval.Gate{MinIoU: eval.TileIoU}, 0
	results, err := eval.Score(con.ctx, *run, eval.TileLabels(list), opt)
	if err != nil {
		return err
	}
	return s.report(con, s.Name, results, run.InputRoot, &r)
}

// drawn compares labels drawn by eye with the truth.
func (s scoreCmd) drawn(con *console) error {
	drawn, err := eval.Load(s.Drawn)
	if err != nil {
		return usage("%v", err)
	}
	truth, err := eval.Load(s.Labels)
	if err != nil {
		return usage("%v", err)
	}
	r, err := eval.Agreement(con.ctx, *drawn, *truth, eval.DefaultOptions())
	if err != nil {
		if con.ctx.Err() != nil {
			return err
		}
		return usage("%v", err)
	}
	if err := eval.WriteAgreementText(con.out, r); err != nil {
		return err
	}
	if err := s.note(eval.Summary(s.Name, r.All.Results), eval.Summary(s.Name+", sure marks only", r.Sure.Results)); err != nil {
		return err
	}
	if err := s.write(r); err != nil {
		return err
	}
	return s.report(con, s.Name, r.All.Results, captureRoot(s.Labels, *truth), nil)
}

// captureRoot finds the folder that labels name captures from: their own, or one of the two above it. "" when the captures are
// not at hand.
func captureRoot(file string, l eval.Labels) string {
	dir := filepath.Dir(file)
	for range 3 {
		for _, c := range l.Captures {
			if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(c.Capture))); err == nil {
				return dir
			}
		}
		dir = filepath.Join(dir, "..")
	}
	return ""
}

func (s scoreCmd) write(results any) error {
	if err := os.MkdirAll(s.Out, 0o755); err != nil {
		return fmt.Errorf("making the folder for the report: %w", err)
	}
	return eval.WriteJSON(filepath.Join(s.Out, "results.json"), results)
}

func (s scoreCmd) report(con *console, title string, r *eval.Results, root string, tiles *eval.TileResult) error {
	file := filepath.Join(s.Out, "report.html")
	if err := eval.WriteHTML(con.ctx, file, title, r, root, tiles); err != nil {
		return err
	}
	fmt.Fprintf(con.out, "\nThe report is %s\n", file)
	return nil
}

// note adds lines to the summary, which begins with its head.
func (s scoreCmd) note(lines ...eval.SummaryLine) (err error) {
	if s.Summary == "" {
		return nil
	}
	f, err := os.OpenFile(s.Summary, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return fmt.Errorf("writing the summary: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	info, err := f.Stat()
	if err != nil {
		return fmt.Errorf("writing the summary: %w", err)
	}
	return eval.WriteSummary(f, info.Size() == 0, lines...)
}

// scoreAgainst scores one run; labels that are wrong are the user's to mend.
func scoreAgainst(ctx context.Context, run *eval.Run, file, half string, opt eval.Options) (*eval.Results, error) {
	labels, err := halfOfLabels(file, half)
	if err != nil {
		return nil, err
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
	theirs, err := scoreAgainst(con.ctx, other, s.Labels, s.Half, opt)
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
	if run, err = foundIn(ctx, store); err != nil {
		return nil, fmt.Errorf("reading run %s: %w", dir, err)
	}
	run.InputRoot, err = store.Meta(ctx, runstore.MetaRoot)
	return run, err
}

// foundIn is what the detector found, from the database: the run's exports follow a person's decisions, and those would be
// scored as though the detector had made them.
func foundIn(ctx context.Context, store *runstore.Store) (*eval.Run, error) {
	var run eval.Run
	known := map[string]bool{}
	for c, err := range store.Captures(ctx) {
		if err != nil {
			return nil, err
		}
		if known[c.Capture] {
			return nil, fmt.Errorf("capture %q is there twice", c.Capture)
		}
		known[c.Capture] = true
		run.Captures = append(run.Captures, *c)
	}
	for m, err := range store.Marks(ctx) {
		if err != nil {
			return nil, err
		}
		run.Marks = append(run.Marks, *m)
	}
	return &run, nil
}
