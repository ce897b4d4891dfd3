package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/internal/export"
	"shadowgap/models"
	"shadowgap/models/fit"
	"shadowgap/models/network"
)

// modelChoice is the option that picks a model.
type modelChoice struct {
	Model string `type:"path" placeholder:"FILE" help:"Model file, as fit writes it; default the one the program ships with."`
}

// load reads the model.
func (c modelChoice) load() (*models.Model, error) {
	if c.Model == "" {
		return models.Embedded()
	}
	data, err := os.ReadFile(c.Model)
	if err != nil {
		return nil, usage("--model %s: %s", c.Model, detect.FileWhy(err))
	}
	m, err := models.Parse(data)
	if err != nil {
		return nil, usage("--model %s is no model that this program reads: %v", c.Model, err)
	}
	if !slices.Equal(m.Classes, classNames()) {
		return nil, usage("--model %s tells %s apart; want %s", c.Model, strings.Join(m.Classes, ", "), strings.Join(classNames(), ", "))
	}
	return m, nil
}

// version is the version of the model that load reads. A file is read for it and checked; what the program ships with needs neither.
func (c modelChoice) version() (string, error) {
	if c.Model == "" {
		return models.EmbeddedVersion()
	}
	m, err := c.load()
	if err != nil {
		return "", err
	}
	return m.Version, nil
}

func classNames() []string {
	var out []string
	for _, c := range detect.Classes {
		out = append(out, string(c))
	}
	return out
}

type fitCmd struct {
	Runs   []string `required:"" sep:"none" placeholder:"RUN" help:"${fit_runs}"`
	Labels []string `sep:"none" placeholder:"FILE" help:"labels.json of captures in the runs; they count instead of decisions there."`
	Out    string   `short:"o" default:"model.json.gz" placeholder:"FILE" help:"File for the new model, for --model of triage and explain."`

	modelChoice `embed:""`
	knowledge   `embed:""`
}

// minCaptures is how few captures can be learnt from: some are needed to check with.
const minCaptures = 6

// Run fits.
func (f fitCmd) Run(con *console) error {
	if err := needsPlace(f.Out, modelKind, "model"); err != nil { // before minutes of work
		return err
	}
	if err := network.Start(); err != nil {
		return err
	}
	before, err := f.load()
	if err != nil {
		return err
	}
	g, err := f.gather(con, before)
	if err != nil {
		return err
	}
	train, held := heldOut(g.samples)
	if n := groups(train) + groups(held); n < minCaptures || groups(held) == 0 || groups(train) < fit.ChoiceFolds {
		return usage("only %s can be learnt from (%d of them held out to check with): too few. Label or decide on more.",
			count(n, "capture"), groups(held))
	}
	g.tell(con.out, train, held)
	after, how, err := fit.Refit(con.ctx, before, train)
	if errors.Is(err, fit.ErrNoWay) {
		return usage("%v", err)
	} else if err != nil {
		return err
	}
	old, fresh := judged(before, held), judged(after, held)
	tellHeldOut(con.out, how, old, fresh)
	if !(fresh.loss < old.loss) {
		return status{exitFailed, fmt.Sprintf("the new model does no better on the captures held out (log loss %.4f, the one in use %.4f): "+
			"not written. More labels may help.", fresh.loss, old.loss)}
	}
	after.Provenance.Source = fmt.Sprintf("%s, after %s; %s; on %s held out: log loss %.4f before, %.4f after",
		how, before.Version, g.source(f), count(groups(held), "capture"), old.loss, fresh.loss)
	data, err := after.Encode()
	if err != nil {
		return err
	}
	err = export.File(f.Out, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(con.out, "\nThe new model %s is %s; \"shadowgap triage --model %s\" uses it.\n", after.Version, f.Out, f.Out)
	return nil
}

// source says what the samples were made from.
func (g gathered) source(f fitCmd) string {
	var names []string
	for _, l := range f.Labels {
		names = append(names, filepath.Base(l))
	}
	said := fmt.Sprintf("%s of %s", count(len(g.samples), "sample"), count(groups(g.samples), "capture"))
	if len(names) > 0 {
		said += ", labels " + strings.Join(names, ", ")
	}
	if g.decided > 0 {
		said += ", decisions on " + count(g.decided, "capture")
	}
	return said
}

// heldOut splits samples by their capture's content, so that the same capture is always on the same side: a quarter is held out.
// Groups are SHA-256 sums in hex.
func heldOut(samples []fit.Sample) (train, held []fit.Sample) {
	for _, s := range samples {
		if strings.Contains("048c", s.Group[len(s.Group)-1:]) {
			held = append(held, s)
		} else {
			train = append(train, s)
		}
	}
	return train, held
}

// groups counts the captures that samples come from.
func groups(samples []fit.Sample) int {
	seen := map[string]bool{}
	for _, s := range samples {
		seen[s.Group] = true
	}
	return len(seen)
}

// judgement is how well a model does on samples.
type judgement struct {
	loss, accuracy float64
	classes        []eval.Rate // per class, samples whose likeliest class is the right one
}

func judged(m *models.Model, samples []fit.Sample) judgement {
	var j judgement
	j.loss, j.accuracy = fit.Judge(m, samples)
	for _, c := range m.Classes {
		k, n := 0, 0
		for _, s := range samples {
			if s.Class != c {
				continue
			}
			n++
			odds := m.Odds(s.Evidence)
			if m.Classes[slices.Index(odds, slices.Max(odds))] == c {
				k++
			}
		}
		j.classes = append(j.classes, eval.NewRate(k, n))
	}
	return j
}

func tellHeldOut(out io.Writer, how string, before, after judgement) {
	fmt.Fprintf(out, "\nOn the captures held out (%s)\n", how)
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  \tbefore\tafter")
	fmt.Fprintf(t, "  log loss\t%.4f\t%.4f\n", before.loss, after.loss)
	fmt.Fprintf(t, "  likeliest class right\t%.3f\t%.3f\n", before.accuracy, after.accuracy)
	share := func(r eval.Rate) string {
		if r.N == 0 {
			return "–"
		}
		return fmt.Sprintf("%.3f [%.3f, %.3f]", r.Value, r.Low, r.High)
	}
	for i, c := range detect.Classes {
		fmt.Fprintf(t, "  of %d %s\t%s\t%s\n", before.classes[i].N, c, share(before.classes[i]), share(after.classes[i]))
	}
	t.Flush()
}
