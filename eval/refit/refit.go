// Package refit makes what the finder's network and the judge's trees are fitted on, from rendered scenes and from the open pictures
// that may be fitted on, and fits the trees. Beside the trees it writes what they were fitted behind, so that a test can tell when a
// network or the evidence has changed since.
package refit

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"path"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/eval/setin"
	"shadowgap/models/fit"
)

// Settings say what is looked at and what is made of it.
type Settings struct {
	Scenes  int      // scenes to render
	SetIn   int      // open pictures to render with things set in
	Others  int      // captures to render of each world by another hand
	First   int64    // seed of the first
	Open    string   // folder of the open pictures; "" = without
	Labels  string   // folder of labels.json and halves.json for them
	Views   string   // file to write the sides to as the finder sees them, "" = none; nothing else is done then
	Paths   string   // file to write the nadirs' paths to, for models/axis/fit.py, "" = none; nothing else is done then
	Shown   string   // folder to write the captures of the other worlds to, with their labels, "" = none; nothing else is done then
	Samples string   // file to write what is found to, for trees fitted on several such; "" = none; no trees are fitted then
	From    []string // files of samples to fit the trees on, instead of looking
	Mean    []string // files of trees to write the mean of, instead of looking; what each was fitted behind stands beside it
	Trees   string   // file to write the fitted trees to; "" = none
	Models  string   // folder of the networks that the program is built with, for what the trees are fitted behind
	Thin    float64  // part of the rendered clutter that the trees are fitted on, above 0, at most 1

	// Apart is the file of a finder (ONNX) fitted without the groups of real pictures that Held names by pattern (path.Match). Those are
	// looked at with it, and other real pictures not at all: what a finder was fitted on it is surer of than of anything it meets
	// later, and trees fitted behind it would ask for as much. "" = look at all with the finder that the program is built with.
	Apart string
	Held  []string
}

// heldOut tells whether a group is one of those that patterns name.
func heldOut(held []string, group string) bool {
	return slices.ContainsFunc(held, func(pattern string) bool {
		ok, _ := path.Match(pattern, group) // patterns were checked before
		return ok
	})
}

// check refuses settings that contradict themselves, and seeds that no fit may see, with eval.ErrUnseen.
func (s *Settings) check() error {
	if err := eval.FitSeeds(s.First, max(s.Scenes, s.SetIn, s.Others)); err != nil {
		return err
	}
	if (s.Trees != "" && len(s.From)+len(s.Mean) == 0 || s.Samples != "") && !(s.Thin > 0 && s.Thin <= 1) {
		return fmt.Errorf("part of the clutter to fit on is %v: must be above 0 and at most 1", s.Thin)
	}
	if s.Shown != "" && s.Others <= 0 {
		return errors.New("captures of the other worlds are to be shown: say how many of each")
	}
	if err := s.checkMade(); err != nil {
		return err
	}
	if (s.Apart == "") != (len(s.Held) == 0) {
		return errors.New("a finder fitted apart and the groups held out of its fit go together")
	}
	for _, pattern := range s.Held {
		if _, err := path.Match(pattern, ""); err != nil {
			return fmt.Errorf("groups held out, %q: %w", pattern, err)
		}
	}
	return nil
}

// checkMade refuses settings that ask for more than one thing: each run makes one.
func (s *Settings) checkMade() error {
	made := 0
	for _, file := range []string{s.Views, s.Paths, s.Shown, s.Samples, s.Trees} {
		if file != "" {
			made++
		}
	}
	switch {
	case made > 1:
		return errors.New("each run makes one thing: views, paths, pictures, samples or trees")
	case len(s.From) > 0 && s.Trees == "":
		return errors.New("samples are read to fit trees on: say where to write those")
	case len(s.Mean) > 0 && (s.Trees == "" || len(s.From) > 0):
		return errors.New("the mean of trees goes with where to write it, and with no samples")
	}
	return nil
}

// looker looks at captures, one at a time.
type looker struct {
	detector detect.Detector
	apart    *detect.Detector // for real pictures of groups it has not seen; nil = none
	file     string           // where its finder was read from
	held     []string         // patterns of those groups
	views    *writer          // where the finder's views go; nil = look for candidates instead
	paths    *writer          // where paths go; nil = look for views or candidates instead
}

// newLooker makes one that writes views or paths, unless both are nil; apart is the network of Settings.Apart, nil where there is none.
func newLooker(s Settings, views, paths *writer, apart []byte) *looker {
	l := &looker{views: views, paths: paths, file: s.Apart, held: s.Held}
	if apart != nil {
		l.apart = &detect.Detector{Finder: apart}
	}
	return l
}

// close frees what the detectors hold.
func (l *looker) close() error {
	err := l.detector.Close()
	if l.apart != nil {
		err = errors.Join(err, l.apart.Close())
	}
	return err
}

// at is the detector to look at a capture with, nil where it is to be left out.
func (l *looker) at(from origin) *detect.Detector {
	switch {
	case l.apart == nil || from.source == sourceRendered || from.source == sourceOther:
		return &l.detector
	case heldOut(l.held, from.group):
		return l.apart
	}
	return nil
}

// blamed says with an error of a detector what finder it looked with, where that is not the program's own: one that is no finder is found
// out when it is to look.
func (l *looker) blamed(d *detect.Detector, err error) error {
	if d != l.apart {
		return err
	}
	return fmt.Errorf("looking with the finder of %s: %w", l.file, err)
}

// source gives the samples of one capture, or writes its views or paths.
type source func(ctx context.Context, l *looker) ([]fit.Sample, error)

// Run looks at every capture that s names, and writes down its views or fits trees on what is found in it. It tells out how many
// candidates there were and how well the trees do. Seeds and pictures that no fit may see are refused with eval.ErrUnseen.
func Run(ctx context.Context, s Settings, out io.Writer) error {
	if err := s.check(); err != nil {
		return err
	}
	for _, file := range []string{s.Samples, s.Trees} { // written when all has been looked at, which takes minutes
		if err := mayWriteBeside(file); err != nil {
			return err
		}
	}
	if s.Shown != "" {
		return writePictures(ctx, s.Shown, s.First, s.Others)
	}
	if len(s.Mean) > 0 {
		return meanTrees(s, out)
	}
	if len(s.From) > 0 {
		parts, err := s.readParts()
		if err != nil {
			return err
		}
		return fitTrees(ctx, s, parts, out)
	}
	var apart []byte
	if s.Apart != "" {
		var err error
		if apart, err = readONNX(s.Apart); err != nil {
			return fmt.Errorf("reading the finder fitted apart: %w", err)
		}
	}
	sources, err := sourcesOf(ctx, s)
	if err != nil {
		return err
	}
	all, err := lookAt(ctx, s, sources, apart)
	if err != nil || s.Views != "" || s.Paths != "" {
		return err
	}
	report(out, all)
	if s.Samples == "" && s.Trees == "" {
		return nil
	}
	p, err := s.part(thinned(all, s.Thin))
	if err != nil {
		return err
	}
	if s.Samples != "" {
		return p.write(s.Samples)
	}
	return fitTrees(ctx, s, []part{p}, out)
}

// sourcesOf are the captures that settings name.
func sourcesOf(ctx context.Context, s Settings) ([]source, error) {
	var out []source
	if s.Open != "" {
		real, err := openSources(s)
		if err != nil {
			return nil, err
		}
		out = append(out, real...)
	}
	if s.SetIn > 0 {
		if s.Open == "" {
			return nil, errors.New("things are set into open pictures: name their folder too")
		}
		bottoms, err := setin.Load(ctx, s.Open, s.Labels)
		if err != nil {
			return nil, err
		}
		for i := range s.SetIn {
			out = append(out, setInto(bottoms, s.First+int64(i)))
		}
	}
	for i := range s.Scenes {
		out = append(out, rendered(s.First+int64(i), i))
	}
	for i := range s.Others {
		for w := range others {
			out = append(out, elsewhere(w, s.First+int64(i)))
		}
	}
	return out, nil
}

// lookAt looks at every source and returns what is found, or writes down its views or its paths.
func lookAt(ctx context.Context, s Settings, sources []source, apart []byte) (all []fit.Sample, err error) {
	var views, paths *writer
	switch {
	case s.Views != "":
		if views, err = newWriter("views", s.Views); err != nil {
			return nil, err
		}
		defer func() { err = errors.Join(err, views.close()) }()
	case s.Paths != "":
		if paths, err = newWriter("paths", s.Paths); err != nil {
			return nil, err
		}
		defer func() { err = errors.Join(err, paths.close()) }()
	}
	return gather(ctx, sources, func() *looker { return newLooker(s, views, paths, apart) })
}

// gather looks at every source with as many detectors as there are cores. The samples' order does not depend on how many.
func gather(ctx context.Context, sources []source, newLooker func() *looker) ([]fit.Sample, error) {
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
			l := newLooker()
			defer func() { err = errors.Join(err, l.close()) }()
			for i := range jobs {
				if found[i], err = sources[i](ctx, l); err != nil {
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
func report(out io.Writer, all []fit.Sample) {
	count := map[string]map[string]int{}
	for _, x := range all {
		kind, _, _ := strings.Cut(x.Group, "-")
		if count[kind] == nil {
			count[kind] = map[string]int{}
		}
		count[kind][x.Class]++
	}
	for _, kind := range slices.Sorted(maps.Keys(count)) {
		fmt.Fprintf(out, "%s: %v\n", kind, count[kind])
	}
}

// fitTrees fits trees on what parts hold.
func fitTrees(ctx context.Context, s Settings, parts []part, out io.Writer) error {
	opt := fit.Options{Rounds: rounds, Nothing: string(detect.Clutter), Source: sourceOf(parts)}
	var all []fit.Sample
	for _, p := range parts {
		all = append(all, p.Samples...)
	}
	for _, c := range detect.Classes {
		opt.Classes = append(opt.Classes, string(c))
	}
	m, err := fit.Fit(ctx, all, opt)
	if err != nil {
		return err
	}
	return writeTrees(s, m, out)
}

// rounds is more than cross-validation has kept so far.
const rounds = 1500

// hangingWeight is how much more a suspended target counts than a thing on the bottom: there are few, they are what a person looks for,
// and to call a fish a stone costs more than the reverse.
const hangingWeight = 2.0

// thinned keeps an even choice of the clutter, from the middle of each stretch, and lets what is left weigh and stand for the rest.
func thinned(all []fit.Sample, part float64) []fit.Sample {
	var out []fit.Sample
	due := 0.5
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
			x.Stands = 1 / part
		}
		out = append(out, x)
	}
	return out
}
