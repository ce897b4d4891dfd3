// Package fit learns the judge's models from marks whose class is known, and refits a model that is in use. Nothing that looks at
// captures needs it.
package fit

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"runtime"
	"slices"
	"sort"

	"golang.org/x/sync/errgroup"

	"shadowgap/models"
)

// Sample is one mark with its true class.
type Sample struct {
	Evidence map[string]float64
	Class    string
	Group    string  // the capture it comes from: samples of one capture are never split between fitting and checking
	Weight   float64 // how much it counts; 0 means 1
	Stands   float64 // how many samples there were for each that is left, it among them; 0 means 1
}

// Options steer a fit.
type Options struct {
	Classes []string // every class the model must know, in the order odds are given
	Rounds  int      // most trees per class; 0 means 250
	Folds   int      // cross-validation folds; 0 means 5
	Nothing string   // the class whose odds against all others together are to come true as often as samples occur; "" = none
	Source  string   // what the samples are, for the provenance
}

// Fit learns a model from samples by gradient boosting. Cross-validation by capture chooses how many rounds to keep, and its
// left-out scores, which no tree has seen, fit the scale and the biases that make odds honest: by weight between the classes, and by
// how many samples each stands for between Options.Nothing and the rest, since weights say what a mistake costs and not how often
// things occur. Log loss and accuracy in the provenance are those of the left-out scores, by weight. It returns an error when a
// class has no sample, when Nothing is none of the classes, when no fold can be left out, or when ctx ends.
func Fit(ctx context.Context, samples []Sample, opt Options) (*models.Model, error) {
	if opt.Rounds == 0 {
		opt.Rounds = 250
	}
	if opt.Folds == 0 {
		opt.Folds = 5
	}
	if opt.Nothing != "" && !slices.Contains(opt.Classes, opt.Nothing) {
		return nil, fmt.Errorf("fitting on %d samples: %q is none of the classes %q", len(samples), opt.Nothing, opt.Classes)
	}
	t, err := newTable(samples, opt.Classes)
	if err != nil {
		return nil, fmt.Errorf("fitting on %d samples: %w", len(samples), err)
	}
	left, rounds, err := t.leaveOut(ctx, samples, opt)
	if err != nil {
		return nil, err
	}
	m := &models.Model{
		Schema: models.SchemaVersion, Classes: append([]string(nil), opt.Classes...), Features: t.names,
		Trees: make([][]models.Tree, len(opt.Classes)),
	}
	all := make([]int, len(samples))
	for i := range all {
		all[i] = i
	}
	err = t.boost(ctx, all, rounds, func(_, class int, tree *models.Tree) { m.Trees[class] = append(m.Trees[class], *tree) })
	if err != nil {
		return nil, fmt.Errorf("fitting: %w", err)
	}
	scale, bias, err := left.calibrate(0)
	if err != nil {
		return nil, fmt.Errorf("fitting: calibrating: %w", err)
	}
	m.Scale, m.Bias = round5(scale), make([]float64, len(bias))
	for c, name := range opt.Classes {
		if name == opt.Nothing {
			bias[c] += left.shiftOf(c, scale, bias, samples)
		}
		m.Bias[c] = round5(bias[c])
	}
	loss, accuracy := left.judge(m.Scale, m.Bias)
	m.Provenance = provenance(samples, round5(loss), round5(accuracy))
	m.Provenance.Source = opt.Source
	m.Version = m.VersionBy("boosted")
	return m, nil
}

func provenance(samples []Sample, loss, accuracy float64) models.Provenance {
	p := models.Provenance{Samples: map[string]int{}, LogLoss: loss, Accuracy: accuracy}
	for _, s := range samples {
		p.Samples[s.Class]++
	}
	return p
}

// leaveOut grows trees with each fold left out in turn. It returns the scores that the left-out samples get at the number of rounds
// of least log loss, and that number.
func (t *table) leaveOut(ctx context.Context, samples []Sample, opt Options) (left *scored, rounds int, err error) {
	k := len(opt.Classes)
	left = &scored{
		classes: k, scores: make([]float64, len(samples)*k), class: t.class, weight: t.weight, judged: make([]bool, len(samples)),
	}
	var folds []*fold
	g, inner := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for number := range opt.Folds {
		f := &fold{losses: make([]float64, opt.Rounds)}
		for i, s := range samples {
			if foldOf(s.Group, opt.Folds) == number {
				f.held = append(f.held, i)
			} else {
				f.train = append(f.train, i)
			}
		}
		if len(f.held) == 0 || len(f.train) == 0 {
			continue
		}
		folds = append(folds, f)
		for _, i := range f.held {
			left.judged[i] = true
		}
		g.Go(func() error { return t.growWithout(inner, f, left.scores) }) // no two folds write of one sample
	}
	if err := g.Wait(); err != nil {
		return nil, 0, fmt.Errorf("cross-validating: %w", err)
	}
	best := math.Inf(1)
	for r := range opt.Rounds {
		loss := 0.0
		for _, f := range folds {
			loss += f.losses[r]
		}
		if len(folds) > 0 && loss < best {
			rounds, best = r+1, loss
		}
	}
	if rounds == 0 {
		return nil, 0, errors.New("fitting: all samples come from one capture, so nothing can be left out to check with")
	}
	for _, f := range folds {
		t.score(f, rounds, left.scores)
	}
	return left, rounds, nil
}

// fold is a part of the samples left out of trees.
type fold struct {
	train, held []int
	trees       []*models.Tree // round × class
	losses      []float64      // of what is left out, by weight, after each round
}

// growWithout grows a fold's trees on what it doesn't leave out. scores (samples × classes) of what it leaves out are added to as it goes.
func (t *table) growWithout(ctx context.Context, f *fold, scores []float64) error {
	k := len(t.classes)
	p := make([]float64, k)
	return t.boost(ctx, f.train, len(f.losses), func(round, class int, tree *models.Tree) {
		f.trees = append(f.trees, tree)
		for _, i := range f.held {
			scores[i*k+class] += tree.Answer(t.values[i])
			if class < k-1 {
				continue
			}
			copy(p, scores[i*k:(i+1)*k])
			models.Softmax(p)
			f.losses[round] -= t.weight[i] * math.Log(math.Max(p[t.class[i]], leastOdds))
		}
	})
}

// score sets the scores (samples × classes) of what a fold leaves out to what its trees of the first rounds give.
func (t *table) score(f *fold, rounds int, scores []float64) {
	k := len(t.classes)
	for _, i := range f.held {
		of := scores[i*k : (i+1)*k]
		clear(of)
		for n, tree := range f.trees[:rounds*k] {
			of[n%k] += tree.Answer(t.values[i])
		}
	}
}

// table is the samples as numbers.
type table struct {
	classes []string
	names   []string    // features, sorted
	values  [][]float64 // samples × features, NaN where missing
	edges   [][]float64 // per feature, ascending; bin b > 0 holds values in [edges[b-1], edges[b]), bin 0 what is missing or below all
	bins    [][]uint8   // features × samples
	class   []int       // per sample
	weight  []float64   // per sample
}

const maxBins = 64

func newTable(samples []Sample, classes []string) (*table, error) {
	t := &table{classes: classes}
	var err error
	if t.class, t.weight, err = classesOf(samples, classes); err != nil {
		return nil, err
	}
	counts := make([]float64, len(classes))
	names := map[string]bool{}
	for i, s := range samples {
		counts[t.class[i]] += t.weight[i]
		for name := range s.Evidence {
			names[name] = true
		}
	}
	for c, n := range counts {
		if n == 0 {
			return nil, fmt.Errorf("no sample of class %q", classes[c])
		}
	}
	for name := range names {
		t.names = append(t.names, name)
	}
	sort.Strings(t.names)
	t.values = make([][]float64, len(samples))
	for i, s := range samples {
		t.values[i] = make([]float64, len(t.names))
		for j, name := range t.names {
			v, ok := s.Evidence[name]
			if !ok {
				v = math.NaN()
			}
			t.values[i][j] = v
		}
	}
	t.edges, t.bins = make([][]float64, len(t.names)), make([][]uint8, len(t.names))
	for j := range t.names {
		t.edges[j] = quantileEdges(t.values, j)
		t.bins[j] = make([]uint8, len(samples))
		for i := range samples {
			if v := t.values[i][j]; v == v {
				t.bins[j][i] = uint8(sort.Search(len(t.edges[j]), func(e int) bool { return t.edges[j][e] > v }))
			}
		}
	}
	return t, nil
}

// classesOf returns the index of each sample's class and its weight.
func classesOf(samples []Sample, classes []string) (class []int, weight []float64, err error) {
	index := map[string]int{}
	for i, c := range classes {
		index[c] = i
	}
	class, weight = make([]int, len(samples)), make([]float64, len(samples))
	for i, s := range samples {
		c, ok := index[s.Class]
		if !ok {
			return nil, nil, fmt.Errorf("sample %d: unknown class %q", i, s.Class)
		}
		w := weightOf(s)
		if w < 0 || math.IsNaN(w) || math.IsInf(w, 0) {
			return nil, nil, fmt.Errorf("sample %d: weight %v", i, s.Weight)
		}
		class[i], weight[i] = c, w
	}
	return class, weight, nil
}

// quantileEdges returns at most maxBins-1 cuts of feature j with about equally many samples between them. The least value is
// a cut too, so that missing can be told from small.
func quantileEdges(values [][]float64, j int) []float64 {
	var v []float64
	for i := range values {
		if x := values[i][j]; x == x {
			v = append(v, x)
		}
	}
	sort.Float64s(v)
	var edges []float64
	for b := 0; b < maxBins-1 && len(v) > 0; b++ {
		e := round5(v[b*len(v)/(maxBins-1)])
		if len(edges) == 0 || e > edges[len(edges)-1] {
			edges = append(edges, e)
		}
	}
	return edges
}

func foldOf(group string, folds int) int {
	h := fnv.New32a()
	h.Write([]byte(group))
	return int(h.Sum32() % uint32(folds))
}

func weightOf(s Sample) float64 {
	if s.Weight == 0 {
		return 1
	}
	return s.Weight
}

func standsOf(s Sample) float64 {
	if s.Stands == 0 {
		return 1
	}
	return s.Stands
}

func round5(v float64) float64 { return math.Round(v*1e5) / 1e5 }
