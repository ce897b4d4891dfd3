package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/internal/batch"
	"shadowgap/internal/decided"
	"shadowgap/internal/review"
	"shadowgap/models"
	"shadowgap/models/fit"
)

// gathered is what there is to learn from.
type gathered struct {
	samples []fit.Sample // groups are the SHA-256 sums of their captures
	labels  int          // captures with labels
	decided int          // captures with decisions
	lost    []string     // captures that could not be looked at again, with the reason
	others  int          // captures whose run had other settings than were given here
}

// task is one capture to learn from.
type task struct {
	root    string
	record  detect.CaptureRecord
	label   eval.CaptureLabel
	whole   bool // what has no label is not there
	decided bool
}

// gather looks at every labelled or reviewed capture of the runs again, since runs don't keep what was thrown away as clutter, and
// lays what is found against labels and decisions.
func (f fitCmd) gather(con *console, model *models.Model) (gathered, error) {
	settings, err := f.settings(con.ctx)
	if err != nil {
		return gathered{}, err
	}
	tasks, err := f.tasks(con.ctx)
	if err != nil {
		return gathered{}, err
	}
	var g gathered
	var mu sync.Mutex
	found := make([][]fit.Sample, len(tasks))
	group, ctx := errgroup.WithContext(con.ctx)
	group.SetLimit(runtime.NumCPU())
	for i, t := range tasks {
		group.Go(func() error {
			samples, same, err := t.samples(ctx, model, settings, f.ReadText)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err != nil:
				g.lost = append(g.lost, fmt.Sprintf("%s: %v", t.record.Capture, err))
				return nil
			case t.decided:
				g.decided++
			default:
				g.labels++
			}
			if !same {
				g.others++
			}
			found[i] = samples
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return gathered{}, fmt.Errorf("looking at captures again: %w", err)
	}
	for _, s := range found {
		g.samples = append(g.samples, s...)
	}
	for _, l := range g.lost {
		fmt.Fprintln(con.err, "shadowgap: left out:", l)
	}
	if g.others > 0 {
		fmt.Fprintf(con.err, "shadowgap: %s triaged with other settings than given here: "+
			"give fit the same --manifest, --range, --side and so on\n", count(g.others, "capture"))
	}
	return g, nil
}

// tasks lists the captures with labels or decisions. The same picture in several runs counts once, the first with labels or else
// the first with decisions.
func (f fitCmd) tasks(ctx context.Context) ([]task, error) {
	files := make([]*eval.Labels, len(f.Labels))
	used := make([]map[int]bool, len(f.Labels))
	for i, name := range f.Labels {
		l, err := eval.Load(name)
		if err != nil {
			return nil, usage("%v", err)
		}
		files[i], used[i] = l, map[int]bool{}
	}
	var labelled, decided []task
	for _, dir := range f.Runs {
		run, ds, err := readReviewed(ctx, dir)
		if err != nil {
			return nil, err
		}
		said := decisionLabels(run, ds)
		for i, l := range files {
			at, err := run.Labelled(*l)
			if err != nil {
				return nil, usage("%s: %v", f.Labels[i], err)
			}
			for _, c := range run.Captures {
				if j, ok := at[c.Capture]; ok {
					used[i][j] = true
					labelled = append(labelled, task{root: run.InputRoot, record: c, label: l.Captures[j], whole: true})
				}
			}
		}
		for _, c := range run.Captures {
			if t, ok := said[c.Capture]; ok {
				decided = append(decided, t)
			}
		}
	}
	for i, l := range files {
		for j, c := range l.Captures {
			if !used[i][j] {
				return nil, usage("%s: capture %d (%q): none of the runs has it", f.Labels[i], j+1, c.Capture)
			}
		}
	}
	var out []task
	seen := map[string]bool{}
	for _, t := range append(labelled, decided...) {
		if !seen[t.record.SHA256] {
			seen[t.record.SHA256] = true
			out = append(out, t)
		}
	}
	if len(out) == 0 {
		return nil, usage("nothing to learn from: give --labels, or decide on marks with \"shadowgap review\" first")
	}
	return out, nil
}

// readReviewed reads a run with the decisions on it.
func readReviewed(ctx context.Context, dir string) (*eval.Run, []review.Decision, error) {
	run, err := readRun(ctx, dir)
	if err != nil {
		return nil, nil, err
	}
	store, err := openRun(ctx, dir)
	if err != nil {
		return nil, nil, err
	}
	ds, err := decisionsOf(ctx, store)
	if err := errors.Join(err, store.Close()); err != nil {
		return nil, nil, fmt.Errorf("reading decisions of %s: %w", dir, err)
	}
	return run, ds, nil
}

// decisionLabels turns decisions into labels. A rejected mark is clutter. A mark that the reviewer is unsure of, or passed over, says
// nothing; only where the capture was looked at to the end does what was neither marked nor drawn count as not there.
func decisionLabels(run *eval.Run, ds []review.Decision) map[string]task {
	st := review.Fold(ds)
	marks := map[string][]eval.MarkLabel{}
	told := map[string]bool{}
	unsure := false
	for _, m := range run.Marks {
		s := st.Mark(m.Capture, m.Mark)
		l := eval.MarkLabel{Class: m.Class, Highlight: m.Highlight, Shadow: m.Shadow}
		if s.Class != "" {
			l.Class = s.Class
		}
		switch {
		case s.Verdict == review.Reject:
			l.Class = detect.Clutter
		case s.Verdict == review.Accept, s.Verdict == "" && s.Class != "":
		default:
			l.Sure = &unsure
		}
		told[m.Capture] = told[m.Capture] || l.Sure == nil
		marks[m.Capture] = append(marks[m.Capture], l)
	}
	for _, d := range st.Missed() {
		told[d.Capture] = true
		marks[d.Capture] = append(marks[d.Capture],
			eval.MarkLabel{Class: d.Class, Kind: d.Kind, Highlight: d.Highlight, Shadow: d.Shadow, Sure: d.Sure})
	}
	out := map[string]task{}
	for _, c := range run.Captures {
		if done := st.Done(c.Capture); done || told[c.Capture] {
			out[c.Capture] = task{root: run.InputRoot, record: c, decided: true, whole: done,
				label: eval.CaptureLabel{Capture: c.Capture, By: "hand", Marks: marks[c.Capture]}}
		}
	}
	return out
}

var errChanged = errors.New("the file is another one than the run saw")

// samples looks at the capture again, keeping clutter. same tells whether the settings are those of the run.
func (t task) samples(
	ctx context.Context, model *models.Model, settings func(string, []byte) batch.Settings, readText bool,
) (out []fit.Sample, same bool, err error) {
	local := filepath.FromSlash(t.record.Capture)
	if !filepath.IsLocal(local) {
		return nil, false, errors.New("the path leads out of the run's folder of captures")
	}
	file, err := os.Open(filepath.Join(t.root, local))
	if err != nil {
		return nil, false, errors.New(detect.FileWhy(err))
	}
	defer file.Close()
	data, err := detect.ReadBytes(ctx, file, t.record.Capture, detect.Limits{})
	if err != nil {
		return nil, false, err
	}
	if detect.Sum(data) != t.record.SHA256 {
		return nil, false, errChanged
	}
	known := settings(t.record.Capture, data)
	opt := known.Options
	opt.Model, opt.KeepClutter = model, true
	job := batch.Job{Capture: t.record.Capture, SHA256: t.record.SHA256, Options: opt, Range: known.Range, ReadText: readText}
	var analyst batch.Analyst
	rec, marks, err := analyst.Analyse(ctx, job, data)
	if err = errors.Join(err, analyst.Close()); err != nil {
		return nil, false, err
	}
	if rec.Status == detect.StatusUnreadable {
		return nil, false, errors.New(*rec.Why)
	}
	// As runs list marks: a fit adds numbers up in the order that its samples come in, and the same ones are to give the same file.
	marks = append(decided.Something(marks), decided.Clutter(marks)...)
	lay := eval.MarkedSamples
	if t.whole {
		lay = eval.Samples
	}
	asked, _ := t.record.Versions.Asked() // clutter is kept here in any case
	return lay(t.record.SHA256, t.label, marks, eval.DefaultGate()), known.Hash == asked, nil
}

// tell says what there is to learn from.
func (g gathered) tell(out io.Writer, train, held []fit.Sample) {
	fmt.Fprintf(out, "%s to learn from: %d with labels, %d with decisions; %d of them held out by their content\n",
		count(groups(g.samples), "capture"), g.labels, g.decided, groups(held))
	for _, part := range []struct {
		name    string
		samples []fit.Sample
	}{{"to fit on", train}, {"held out", held}} {
		n := map[string]int{}
		for _, s := range part.samples {
			n[s.Class]++
		}
		var said []string
		for _, c := range detect.Classes {
			said = append(said, fmt.Sprintf("%d %s", n[string(c)], c))
		}
		fmt.Fprintf(out, "  %s: %s\n", part.name, strings.Join(said, ", "))
	}
}
