package models

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"sort"

	"gonum.org/v1/gonum/optimize"
)

// Sample is one mark with its true class.
type Sample struct {
	Evidence map[string]float64
	Class    string
	Group    string  // the capture it comes from: samples of one capture are never split between fitting and checking
	Weight   float64 // how much it counts; 0 means 1
}

// FitOptions steer a fit.
type FitOptions struct {
	Classes []string // every class the model must know, in the order odds are given
	Rounds  int      // most trees per class; 0 means 250
	Folds   int      // cross-validation folds; 0 means 5
	Source  string   // what the samples are, for the provenance
}

// Fit learns a model from samples by gradient boosting. Cross-validation by capture chooses how many rounds to keep, and its
// left-out scores, which no tree has seen, fit the scale and the biases that make odds honest (gonum's Nelder–Mead). Log
// loss and accuracy in the provenance are those of the left-out scores. It returns an error when a class has no sample,
// when no fold can be left out, or when ctx ends.
func Fit(ctx context.Context, samples []Sample, opt FitOptions) (*Model, error) {
	if opt.Rounds == 0 {
		opt.Rounds = 250
	}
	if opt.Folds == 0 {
		opt.Folds = 5
	}
	t, err := newTable(samples, opt.Classes)
	if err != nil {
		return nil, fmt.Errorf("fitting on %d samples: %w", len(samples), err)
	}
	// scores[round][sample*classes+class], of the model that did not see the sample
	scores := make([][]float64, opt.Rounds)
	for r := range scores {
		scores[r] = make([]float64, len(samples)*len(opt.Classes))
	}
	judged := make([]bool, len(samples))
	for fold := range opt.Folds {
		var train, held []int
		for i, s := range samples {
			if foldOf(s.Group, opt.Folds) == fold {
				held = append(held, i)
			} else {
				train = append(train, i)
			}
		}
		if len(held) == 0 || len(train) == 0 {
			continue
		}
		for _, i := range held {
			judged[i] = true
		}
		err := t.boost(ctx, train, opt.Rounds, func(round, class int, tree *Tree) {
			for _, i := range held {
				at := i*len(opt.Classes) + class
				if round > 0 {
					scores[round][at] = scores[round-1][at]
				}
				scores[round][at] += tree.leaf(t.values[i])
			}
		})
		if err != nil {
			return nil, fmt.Errorf("cross-validating: %w", err)
		}
	}
	best, loss := -1, math.Inf(1)
	for r := range scores {
		if l, _ := t.judge(scores[r], judged, 1, make([]float64, len(opt.Classes))); l < loss {
			best, loss = r, l
		}
	}
	if best < 0 {
		return nil, errors.New("fitting: all samples come from one capture, so nothing can be left out to check with")
	}
	m := &Model{Schema: SchemaVersion, Classes: append([]string(nil), opt.Classes...), Features: t.names, Trees: make([][]Tree, len(opt.Classes))}
	all := make([]int, len(samples))
	for i := range all {
		all[i] = i
	}
	err = t.boost(ctx, all, best+1, func(_, class int, tree *Tree) { m.Trees[class] = append(m.Trees[class], *tree) })
	if err != nil {
		return nil, fmt.Errorf("fitting: %w", err)
	}
	if m.Scale, m.Bias, err = t.calibrate(scores[best], judged); err != nil {
		return nil, fmt.Errorf("fitting: calibrating: %w", err)
	}
	m.Provenance = Provenance{Source: opt.Source, Samples: map[string]int{}}
	for _, s := range samples {
		m.Provenance.Samples[s.Class]++
	}
	l, a := t.judge(scores[best], judged, m.Scale, m.Bias)
	m.Provenance.LogLoss, m.Provenance.Accuracy = round5(l), round5(a)
	m.Version = m.fingerprint()
	return m, nil
}

// Judge returns the mean negative log odds of the true class and the share of samples whose likeliest class is right.
// Samples of a class the model doesn't know count as wrong at odds of one in a thousand.
func (m *Model) Judge(samples []Sample) (logLoss, accuracy float64) {
	total := 0.0
	for _, s := range samples {
		odds := m.Odds(s.Evidence)
		best, p := 0, 1e-3
		for c, o := range odds {
			if o > odds[best] {
				best = c
			}
			if m.Classes[c] == s.Class {
				p = math.Max(o, 1e-3)
			}
		}
		w := weightOf(s)
		total += w
		logLoss -= w * math.Log(p)
		if m.Classes[best] == s.Class {
			accuracy += w
		}
	}
	if total == 0 {
		return 0, 0
	}
	return logLoss / total, accuracy / total
}

// judge is Judge on scores that are already there.
func (t *table) judge(scores []float64, judged []bool, scale float64, bias []float64) (logLoss, accuracy float64) {
	k := len(t.classes)
	p := make([]float64, k)
	total := 0.0
	for i, ok := range judged {
		if !ok {
			continue
		}
		best := 0
		for c := range p {
			p[c] = scale*scores[i*k+c] + bias[c]
			if p[c] > p[best] {
				best = c
			}
		}
		softmax(p)
		total += t.weight[i]
		logLoss -= t.weight[i] * math.Log(math.Max(p[t.class[i]], 1e-12))
		if best == t.class[i] {
			accuracy += t.weight[i]
		}
	}
	if total == 0 {
		return math.Inf(1), 0
	}
	return logLoss / total, accuracy / total
}

// calibrate finds the scale and the class biases of least log loss on left-out scores.
func (t *table) calibrate(scores []float64, judged []bool) (scale float64, bias []float64, err error) {
	k := len(t.classes)
	problem := optimize.Problem{Func: func(x []float64) float64 {
		l, _ := t.judge(scores, judged, math.Exp(x[0]), append(append([]float64(nil), x[1:]...), 0))
		return l
	}}
	result, err := optimize.Minimize(problem, make([]float64, k), &optimize.Settings{FuncEvaluations: 400}, &optimize.NelderMead{})
	if result == nil {
		return 0, nil, err
	}
	bias = append(append([]float64(nil), result.X[1:]...), 0)
	for c := range bias {
		bias[c] = round5(bias[c])
	}
	return round5(math.Exp(result.X[0])), bias, nil
}

// fingerprint names a model by its numbers, so equal models have equal versions.
func (m *Model) fingerprint() string {
	h := fnv.New64a()
	fmt.Fprint(h, m.Classes, m.Features, m.Scale, m.Bias, m.Trees)
	return fmt.Sprintf("boosted-%d-%012x", SchemaVersion, h.Sum64()&0xffffffffffff)
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
	index := map[string]int{}
	for i, c := range classes {
		index[c] = i
	}
	t := &table{classes: classes, class: make([]int, len(samples)), weight: make([]float64, len(samples))}
	counts := make([]float64, len(classes))
	names := map[string]bool{}
	for i, s := range samples {
		c, ok := index[s.Class]
		if !ok {
			return nil, fmt.Errorf("sample %d: unknown class %q", i, s.Class)
		}
		if w := weightOf(s); w < 0 || math.IsNaN(w) || math.IsInf(w, 0) {
			return nil, fmt.Errorf("sample %d: weight %v", i, s.Weight)
		}
		t.class[i], t.weight[i] = c, weightOf(s)
		counts[c] += t.weight[i]
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

func round5(v float64) float64 { return math.Round(v*1e5) / 1e5 }
