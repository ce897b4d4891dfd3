package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/batch"
	"shadowgap/internal/overlay"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
	"shadowgap/models/network"
)

type triageCmd struct {
	Paths []string `arg:"" name:"path" help:"Captures, folders of captures, .zip and .tar.gz archives of captures."`
	Out   string   `required:"" short:"o" placeholder:"RUN" help:"${triage_out}"`

	knowledge   `embed:""`
	modelChoice `embed:""`

	Workers     int           `help:"Worker processes; default one a core."`
	Memory      string        `default:"2GiB" help:"Memory ceiling of a worker, such as 2GiB or 800MiB; 0 for none."`
	Limit       time.Duration `default:"60s" help:"Time one capture may take; 0 for no limit."`
	MaxPixels   int64         `default:"100000000" help:"Largest picture read, in pixels."`
	MaxFile     string        `default:"512MiB" help:"Largest file read."`
	Pictures    string        `enum:"all,marked,none" default:"all" help:"${triage_pictures}"`
	Copies      bool          `help:"Keep copies of the captures in the run folder, so that it can be moved away from them."`
	Top         int           `default:"25" help:"Lines of the ranked table; 0 for all."`
	Shard       string        `placeholder:"I/N" help:"${triage_shard}"`
	Retry       bool          `help:"Try captures again that were unreadable."`
	Watch       bool          `help:"Keep taking new captures from the folders until Ctrl-C."`
	FollowLinks bool          `help:"Follow symbolic links out of the folders, and links to folders."`
	Clutter     bool          `help:"${triage_clutter}"`
	Timings     bool          `default:"true" negatable:"" help:"${triage_timings}"`
}

const watchEvery = 2 * time.Second

// parentMemory is what this process tries to keep below; what it holds at once is bounded where it comes in.
const parentMemory = 160 << 20

// Run triages.
func (t triageCmd) Run(con *console) error {
	if t.Out == "" || slices.Contains(t.Paths, "") {
		return usage("a name is empty: name the captures, and the run folder with --out")
	}
	cfg, err := t.config(con.ctx)
	if err != nil {
		return err
	}
	missing, err := checkPaths(con, &cfg.Inputs, t.Watch)
	if err != nil {
		return err
	}
	if err := network.Check(); err != nil { // before a run folder is made
		return err
	}
	store, err := runstore.Create(con.abort, t.Out)
	switch {
	case errors.Is(err, runstore.ErrNotRun):
		return usage("%v\nGive --out a new folder, an empty one, or an earlier run.", err)
	case err != nil:
		return unwritable(err)
	}
	runErr := t.run(con, cfg, store)
	if err := errors.Join(runErr, store.Close()); err != nil {
		return err
	}
	if len(missing) > 0 {
		return status{exitUnreadable, "finished, but these were not there: " + strings.Join(missing, ", ")}
	}
	return nil
}

// begin notes in a run what it is made with, and returns where more about its captures comes from and what was known of their places.
func (t triageCmd) begin(con *console, cfg batch.Config, store *runstore.Store) (src survey.Sources, before placesBefore, err error) {
	clearLeftovers(t.Out)
	root, err := cfg.Inputs.Root()
	if err != nil {
		return src, before, err
	}
	if src, _, err = t.sources(con.ctx); err != nil {
		return src, before, err
	}
	if before, err = t.lookAtPlaces(con.abort, store); err != nil {
		return src, before, err
	}
	before.warn(con, t.Out, src)
	if err := store.SetMeta(con.abort, runstore.MetaRoot, root); err != nil {
		return src, before, err
	}
	if err := store.SetMeta(con.abort, runstore.MetaUnits, t.Units); err != nil {
		return src, before, err
	}
	return src, before, keepForPage(con.abort, store, con.args, src.Track)
}

func (t triageCmd) run(con *console, cfg batch.Config, store *runstore.Store) error {
	src, before, err := t.begin(con, cfg, store)
	if err != nil {
		return err
	}
	cfg.Between = func() error { _, err := t.write(con.abort, store, src); return err }
	// Nearly all that this process holds are the bytes of files on their way to a worker: to collect them often costs little.
	debug.SetGCPercent(25)
	debug.SetMemoryLimit(parentMemory)
	obs := newProgress(con.err)
	for _, note := range src.ManifestNotes() {
		obs.Note(note)
	}
	if t.Watch {
		obs.watching()
	}
	sum, err := batch.Run(con.ctx, con.abort, cfg, store, obs)
	obs.close()
	stopped := con.ctx.Err() != nil
	if stopped && errors.Is(err, context.Canceled) {
		err = nil
	}
	// The exports of a stopped run show what there is; they are not stopped by the signal that stopped the run.
	ctx := context.WithoutCancel(con.ctx)
	debug.SetGCPercent(100) // exports make much and keep little; the limit above still holds
	unfinished := err != nil || stopped && !t.Watch
	how := fmt.Sprintf("%s, clutter %t, unfinished %t", t.Units, t.Clutter, unfinished)
	var o *overview
	exportErr := exportsIfStale(ctx, store, how, func() error {
		if err := keepEnd(ctx, store, unfinished, cfg.Basis); err != nil {
			return err
		}
		made, err := t.write(ctx, store, src)
		o = &made
		return err
	})
	if err != nil {
		return t.cutShort(err, exportErr)
	}
	if exportErr != nil {
		return fmt.Errorf("%w\n%s", exportErr, t.exportsLater())
	}
	run, err := openReviewed(ctx, store, t.Clutter)
	if err != nil {
		return err
	}
	if o == nil { // the exports showed it already
		made, err := run.overview(ctx, overlay.Units(t.Units))
		if err != nil {
			return err
		}
		o = &made
	}
	if err := printRanked(ctx, con.out, run, *o, tableOptions{Top: t.Top, Units: overlay.Units(t.Units),
		Width: terminalWidth(con.out)}); err != nil {
		return err
	}
	printSummary(con.out, t.Out, o.tally, sum, o.mapped)
	if err := errors.Join(before.tell(ctx, con, store, src), t.tellLeft(ctx, con, src, store, unfinished)); err != nil {
		return err
	}
	if stopped && !t.Watch {
		return status{exitFailed, "stopped before the end; the same command goes on from here"}
	}
	return unreadOnes(o.tally)
}

// tellLeft tells what of that which was known speaks of no capture, and which captures hold no clutter though it is asked for.
func (t triageCmd) tellLeft(ctx context.Context, con *console, src survey.Sources, store *runstore.Store, unfinished bool) error {
	if err := t.tellMixed(ctx, con, store, unfinished); err != nil {
		return err
	}
	if err := t.tellMissed(con, src, store.Captures(ctx)); err != nil || !t.Clutter {
		return err
	}
	return tellUnasked(ctx, con, store)
}

// tellMixed tells of captures whose results this triage has not made alike, since it was stopped or since they are in none of its inputs.
func (t triageCmd) tellMixed(ctx context.Context, con *console, store *runstore.Store, unfinished bool) error {
	n, err := keptMixed(ctx, store)
	if err != nil || n == 0 {
		return err
	}
	mend := "give their folders as well to have them read again, or another --out to keep them apart"
	if unfinished {
		mend = "the same command reads them again where it goes on"
	}
	are := "captures in %s were"
	if n == 1 {
		are = "capture in %s was"
	}
	fmt.Fprintf(con.err, "shadowgap: %d "+are+" not looked at with what is given now (range, track and so on): lists hold results of an "+
		"earlier command beside this one's, perhaps pixels beside metres; %s\n", n, t.Out, mend)
	return nil
}

// unreadOnes is how a run ends that came to its end: with a word on what could not be read.
func unreadOnes(tally runstore.Tally) error {
	if n := tally.Captures[detect.StatusUnreadable]; n > 0 {
		said := fmt.Sprintf("%d captures could not be read; they are named above and in captures.csv", n)
		if n == 1 {
			said = "1 capture could not be read; it is named above and in captures.csv"
		}
		return status{exitUnreadable, said}
	}
	return nil
}

// write keeps with the run what marks drawn later need, and makes the run's exports.
func (t triageCmd) write(ctx context.Context, store *runstore.Store, src survey.Sources) (overview, error) {
	if err := keepWays(ctx, store, src); err != nil {
		return overview{}, err
	}
	return writeRun(ctx, store, overlay.Units(t.Units), t.Clutter)
}

// cutShort words how a run ended that failed, and where what was done is to be found.
func (t triageCmd) cutShort(err, exportErr error) error {
	if exportErr != nil {
		return fmt.Errorf("%w\nwhat was done is kept in %s, but its exports could not be made (%w)\n%s", err, t.Out, exportErr, t.exportsLater())
	}
	return fmt.Errorf("%w\nwhat was done is kept in %s and its exports show it; the same command goes on from there", err, t.Out)
}

// exportsLater says how to get what a run's folder has no room for.
func (t triageCmd) exportsLater() string {
	return fmt.Sprintf("Make room there and give the same command again, which goes on and makes the exports; or write them elsewhere:\n"+
		"  shadowgap export %s --as csv --out FILE", t.Out)
}

// basis stands for all that is known of captures beside their names and contents, the contents of the files named in the options
// included; "" when that can't be told.
func (t triageCmd) basis(model string) string {
	know := t.knowledge
	know.Units = "" // says how results are told
	text, err := json.Marshal(know)
	var options map[string]any
	if err == nil {
		err = json.Unmarshal(text, &options)
	}
	if err != nil || t.Zone == time.Local.String() {
		return ""
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n%s\n", version, model, text)
	if t.Clutter {
		fmt.Fprintln(h, "clutter")
	}
	for _, name := range slices.Sorted(maps.Keys(options)) {
		file, ok := options[name].(string)
		if info, err := os.Stat(file); !ok || err != nil || !info.Mode().IsRegular() {
			continue
		}
		sum, err := fileSum(file)
		if err != nil {
			return ""
		}
		fmt.Fprintf(h, "%s %s\n", name, sum)
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// config checks the options and turns them into what a run needs.
func (t triageCmd) config(ctx context.Context) (batch.Config, error) {
	memory, err := parseBytes(t.Memory)
	if err != nil {
		return batch.Config{}, usage("--memory: %v", err)
	}
	if memory > 0 && memory < 128<<20 {
		return batch.Config{}, usage("--memory %s: a worker needs at least 128MiB", t.Memory)
	}
	maxFile, err := parseBytes(t.MaxFile)
	if err != nil {
		return batch.Config{}, usage("--max-file: %v", err)
	}
	if t.Workers < 0 || t.Top < 0 || t.MaxPixels < 0 || t.Limit < 0 {
		return batch.Config{}, usage("--workers, --top, --max-pixels and --limit can't be negative")
	}
	if t.Workers == 0 {
		t.Workers = runtime.NumCPU()
	}
	shard, err := batch.ParseShard(t.Shard, os.Getenv)
	if err != nil {
		return batch.Config{}, usage("%v", err)
	}
	model, err := t.version()
	if err != nil {
		return batch.Config{}, err
	}
	settings, err := t.settings(ctx)
	if err != nil {
		return batch.Config{}, err
	}
	start, err := workerStarter(memory, t.modelChoice)
	if err != nil {
		return batch.Config{}, err
	}
	out, err := filepath.Abs(t.Out)
	if err != nil {
		return batch.Config{}, err
	}
	cfg := batch.Config{
		Inputs: batch.Inputs{Paths: t.Paths, FollowLinks: t.FollowLinks, Skip: out}, RunDir: out,
		Workers: t.Workers, Start: start, Limits: detect.Limits{MaxPixels: t.MaxPixels, MaxBytes: maxFile}, Limit: t.Limit,
		Shard: shard, Retry: t.Retry, Versions: detect.Versions{Code: version, Model: model},
		Pictures: batch.Pictures(t.Pictures), Copies: t.Copies, Clutter: t.Clutter, Units: overlay.Units(t.Units),
		ReadText: t.ReadText, Timings: t.Timings, Settings: settings,
		Basis: t.basis(model), Within: fmt.Sprintf("%d pixels, %d bytes, %v, %d bytes of memory", t.MaxPixels, maxFile, t.Limit, memory),
	}
	if t.Watch {
		cfg.Watch = watchEvery
	}
	return cfg, nil
}

// checkPaths takes missing paths out of the inputs, names them, and makes sure that something is left to read.
func checkPaths(con *console, in *batch.Inputs, watch bool) (missing []string, err error) {
	var there []string
	for _, p := range in.Paths {
		_, err := os.Stat(p)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			fmt.Fprintf(con.err, "shadowgap: there is no file or folder %s\n", p)
			missing = append(missing, p)
		case err != nil:
			fmt.Fprintf(con.err, "shadowgap: can't look at %s: %s\n", p, detect.FileWhy(err))
			missing = append(missing, p)
		case runstore.IsRun(p):
			return nil, usage("%s is a run folder, the result of an earlier triage; give the folder with the captures", p)
		default:
			there = append(there, p)
		}
	}
	if whole := strings.Join(in.Paths, " "); len(missing) > 0 && len(in.Paths) > 1 {
		if _, err := os.Stat(whole); err == nil {
			return nil, usage("a name with blanks goes between quotes: %q", whole)
		}
	}
	if len(there) == 0 {
		return nil, usage("nothing to look through")
	}
	in.Paths = there
	if watch {
		return missing, nil
	}
	found, err := in.Any(con.abort)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, usage("no captures in %s. shadowgap reads PNG, JPEG, TIFF, BMP, GIF and WebP pictures, also inside .zip and .tar.gz.",
			strings.Join(there, ", "))
	}
	return missing, nil
}

// clearLeftovers removes the half-written files of a killed run. Nobody else writes here: the run's lock is held.
func clearLeftovers(dir string) {
	for _, sub := range []string{".", "overlays", "chips"} {
		for _, pattern := range []string{".writing-*", ".part-*"} {
			names, err := filepath.Glob(filepath.Join(globEscape(dir), sub, pattern))
			if err != nil {
				continue
			}
			for _, name := range names {
				// A leftover that stays does no harm.
				_ = os.Remove(name)
			}
		}
	}
}

func globEscape(path string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
}
