// Command refit looks at captures whose truth is known. It writes them down as the finder's network sees them, for
// models/finder/fit.py, or fits the boosted trees that judge what the detector proposes in them.
//
//	go run ./cmd/refit -scenes 5200 -first 30001 -setin 3400 -views views.bin
//	go run ./cmd/refit -scenes 1100 -first 62001 -setin 520 -thin 0.25 -trees models/weights.json.gz
//
// Seeds below 100000 are its own; it refuses others. Of the open pictures only half A (testdata/open/halves.json) and the first half by
// name of the effigy tiles take part. Beside the trees it writes what they were fitted behind, so that a test can tell when a network or
// the evidence has changed since.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/eval/setin"
	"shadowgap/models/fit"
)

type settings struct {
	scenes int
	setIn  int
	first  int64
	open   string
	data   string
	views  string
	trees  string
	thin   float64
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var s settings
	flag.IntVar(&s.scenes, "scenes", 4000, "scenes to render")
	flag.IntVar(&s.setIn, "setin", 0, "open pictures to render with things set in")
	flag.Int64Var(&s.first, "first", 1, "seed of the first")
	flag.StringVar(&s.open, "open", "../shared/open-data", "folder of the open pictures; \"\" = without")
	flag.StringVar(&s.data, "labels", "testdata/open", "folder of labels.json and halves.json for them")
	flag.StringVar(&s.views, "views", "", "file to write the sides to as the finder sees them; nothing else is done then")
	flag.StringVar(&s.trees, "trees", "", "file to write the fitted trees to")
	flag.Float64Var(&s.thin, "thin", 1, "part of the rendered clutter that the trees are fitted on")
	flag.Parse()
	if err := run(ctx, s); err != nil {
		fmt.Fprintln(os.Stderr, "refit:", err)
		os.Exit(1)
	}
}

// looker looks at captures, one at a time.
type looker struct {
	detector detect.Detector
	views    *viewWriter // where the finder's views go; nil = look for candidates instead
}

// source gives the samples of one capture, or writes its views.
type source func(ctx context.Context, l *looker) ([]fit.Sample, error)

func run(ctx context.Context, s settings) error {
	if err := eval.FitSeeds(s.first, max(s.scenes, s.setIn)); err != nil {
		return err
	}
	var sources []source
	var err error
	if s.open != "" {
		real, err := openSources(s)
		if err != nil {
			return err
		}
		sources = append(sources, real...)
	}
	if s.setIn > 0 {
		if s.open == "" {
			return errors.New("-setin needs the open pictures: give -open too")
		}
		bottoms, err := setin.Load(ctx, s.open, s.data)
		if err != nil {
			return err
		}
		for i := range s.setIn {
			sources = append(sources, setInto(bottoms, s.first+int64(i)))
		}
	}
	for i := range s.scenes {
		sources = append(sources, rendered(s.first+int64(i), i))
	}
	var views *viewWriter
	if s.views != "" {
		if views, err = newViewWriter(s.views); err != nil {
			return err
		}
	}
	all, err := gather(ctx, sources, views)
	if views != nil {
		return errors.Join(err, views.close())
	}
	if err != nil {
		return err
	}
	report(all)
	if s.trees == "" {
		return nil
	}
	return fitTrees(ctx, s, all)
}

// gather looks at every source with as many detectors as there are cores. The samples' order does not depend on how many.
func gather(ctx context.Context, sources []source, views *viewWriter) ([]fit.Sample, error) {
	found := make([][]fit.Sample, len(sources))
	g, ctx := errgroup.WithContext(ctx)
	jobs := make(chan int)
	g.Go(func() error {
		defer close(jobs)
		for i := range sources {
			select {
			case jobs <- i:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	for range runtime.NumCPU() {
		g.Go(func() (err error) {
			l := looker{views: views}
			defer func() {
				if e := l.detector.Close(); err == nil {
					err = e
				}
			}()
			for i := range jobs {
				if found[i], err = sources[i](ctx, &l); err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	var all []fit.Sample
	for _, s := range found {
		all = append(all, s...)
	}
	return all, nil
}

// report tells how many candidates there are, by what they come from: the kind of capture stands before the first dash of a group.
func report(all []fit.Sample) {
	count := map[string]map[string]int{}
	for _, x := range all {
		kind, _, _ := strings.Cut(x.Group, "-")
		if count[kind] == nil {
			count[kind] = map[string]int{}
		}
		count[kind][x.Class]++
	}
	for _, kind := range slices.Sorted(maps.Keys(count)) {
		fmt.Printf("%s: %v\n", kind, count[kind])
	}
}

func fitTrees(ctx context.Context, s settings, all []fit.Sample) error {
	opt := fit.Options{Rounds: rounds, Source: fmt.Sprintf("%d rendered scenes, seeds %d to %d", s.scenes, s.first, s.first+int64(s.scenes)-1)}
	if s.setIn > 0 {
		opt.Source += fmt.Sprintf("; %d open pictures of half A with things set in", s.setIn)
	}
	for _, c := range detect.Classes {
		opt.Classes = append(opt.Classes, string(c))
	}
	m, err := fit.Fit(ctx, thinned(all, s.thin), opt)
	if err != nil {
		return err
	}
	b, err := m.Encode()
	if err != nil {
		return err
	}
	if err := os.WriteFile(s.trees, b, 0o644); err != nil {
		return fmt.Errorf("writing the trees: %w", err)
	}
	behind, err := stagesOf(modelsFolder, m)
	if err != nil {
		return err
	}
	if err := behind.write(filepath.Dir(s.trees)); err != nil {
		return err
	}
	fmt.Printf("%s: log loss %.3f, accuracy %.3f\n", m.Version, m.Provenance.LogLoss, m.Provenance.Accuracy)
	return nil
}

// modelsFolder holds the networks that the program is built with, seen from the repository's root, where this command is run.
const modelsFolder = "models"

// rounds is more than cross-validation ever keeps.
const rounds = 700

// hangingWeight is how much more a suspended target counts than a thing on the bottom: there are few, they are what a person looks for,
// and to call a fish a stone costs more than the reverse.
const hangingWeight = 1.8

// thinned keeps an even choice of the clutter and gives what is left the weight of the rest.
func thinned(all []fit.Sample, part float64) []fit.Sample {
	var out []fit.Sample
	due := 0.0
	for _, x := range all {
		if x.Class == string(detect.SuspendedTarget) {
			x.Weight = max(1, x.Weight) * hangingWeight
		}
		if x.Class == string(detect.Clutter) {
			if due += part; due < 1 {
				continue
			}
			due--
			if x.Weight == 0 {
				x.Weight = 1
			}
			x.Weight /= part
		}
		out = append(out, x)
	}
	return out
}
