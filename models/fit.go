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
	Bins    int      // bins per feature; 0 means 8
	Ridge   float64  // pull of the weights towards naive Bayes halved; 0 means 3
	Folds   int      // cross-validation folds; 0 means 5
	Source  string   // what the samples are, for the provenance
}

// Fit learns a model from samples: bins at the pooled quantiles of each feature, smoothed likelihoods per class, then
// weights and biases that minimise the mean negative log odds of the true class (L-BFGS, gonum) with a ridge penalty. Log
// loss and accuracy in the provenance come from cross-validation by capture. It returns an error when a class has no
// sample, or when ctx ends.
func Fit(ctx context.Context, samples []Sample, opt FitOptions) (*Model, error) {
	if opt.Bins == 0 {
		opt.Bins = 8
	}
	if opt.Ridge == 0 {
		opt.Ridge = 3
	}
	if opt.Folds == 0 {
		opt.Folds = 5
	}
	m, err := fitOnce(samples, opt)
	if err != nil {
		return nil, fmt.Errorf("fitting on %d samples: %w", len(samples), err)
	}
	loss, right, n := 0.0, 0.0, 0.0
	for fold := range opt.Folds {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("fitting: %w", err)
		}
		var train, held []Sample
		for _, s := range samples {
			if foldOf(s.Group, opt.Folds) == fold {
				held = append(held, s)
			} else {
				train = append(train, s)
			}
		}
		if len(held) == 0 {
			continue
		}
		part, err := fitOnce(train, opt)
		if err != nil {
			continue // a fold without some class can't be judged; the others are
		}
		l, a := part.Judge(held)
		loss += l * float64(len(held))
		right += a * float64(len(held))
		n += float64(len(held))
	}
	m.Provenance = Provenance{Source: opt.Source, Samples: map[string]int{}}
	for _, s := range samples {
		m.Provenance.Samples[s.Class]++
	}
	if n > 0 {
		m.Provenance.LogLoss, m.Provenance.Accuracy = loss/n, right/n
	}
	m.Version = m.fingerprint()
	return m, nil
}

// Judge returns the mean negative log odds of the true class and the share of samples whose likeliest class is right.
// Samples of a class the model doesn't know count as wrong at odds of one in a thousand.
func (m *Model) Judge(samples []Sample) (logLoss, accuracy float64) {
	if len(samples) == 0 {
		return 0, 0
	}
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
		logLoss -= math.Log(p)
		if m.Classes[best] == s.Class {
			accuracy++
		}
	}
	return logLoss / float64(len(samples)), accuracy / float64(len(samples))
}

func fitOnce(samples []Sample, opt FitOptions) (*Model, error) {
	index := map[string]int{}
	for i, c := range opt.Classes {
		index[c] = i
	}
	counts := make([]float64, len(opt.Classes))
	for i, s := range samples {
		c, ok := index[s.Class]
		if !ok {
			return nil, fmt.Errorf("sample %d: unknown class %q", i, s.Class)
		}
		counts[c] += weightOf(s)
	}
	for c, n := range counts {
		if n == 0 {
			return nil, fmt.Errorf("no sample of class %q", opt.Classes[c])
		}
	}
	m := &Model{Schema: SchemaVersion, Classes: append([]string(nil), opt.Classes...), Cases: map[string]Case{}}
	parts := map[string][]Sample{}
	for _, s := range samples {
		name := caseOf(s.Evidence)
		parts[name] = append(parts[name], s)
	}
	for _, name := range CaseNames {
		c, err := fitCase(parts[name], index, opt)
		if err != nil {
			return nil, fmt.Errorf("case %q: %w", name, err)
		}
		m.Cases[name] = c
	}
	return m, nil
}

// fitCase fits one case. Without samples it gives even odds.
func fitCase(samples []Sample, index map[string]int, opt FitOptions) (Case, error) {
	k := Case{Bias: make([]float64, len(opt.Classes)), Features: []Feature{}}
	if len(samples) == 0 {
		return k, nil
	}
	counts := make([]float64, len(opt.Classes))
	names := map[string]bool{}
	for _, s := range samples {
		counts[index[s.Class]] += weightOf(s)
		for name := range s.Evidence {
			names[name] = true
		}
	}
	ordered := make([]string, 0, len(names))
	for name := range names {
		ordered = append(ordered, name)
	}
	sort.Strings(ordered)
	for _, name := range ordered {
		if f := newFeature(name, samples, index, counts, opt.Bins); len(f.Edges) > 0 || f.sometimesMissing(samples) {
			k.Features = append(k.Features, f)
		}
	}
	if err := k.fitWeights(samples, index, opt.Ridge); err != nil {
		return Case{}, err
	}
	return k, nil
}

// sometimesMissing tells whether a feature's presence alone says anything.
func (f *Feature) sometimesMissing(samples []Sample) bool {
	seen := 0
	for _, s := range samples {
		if v, ok := s.Evidence[f.Name]; ok && !math.IsNaN(v) {
			seen++
		}
	}
	return seen > 0 && seen < len(samples)
}

// newFeature bins one feature at its pooled quantiles and counts it per class, each bin smoothed by the pooled share worth
// eight samples, so that a bin a class never showed is unlikely, not impossible.
func newFeature(name string, samples []Sample, index map[string]int, counts []float64, bins int) Feature {
	var values []float64
	for _, s := range samples {
		if v, ok := s.Evidence[name]; ok && !math.IsNaN(v) {
			values = append(values, v)
		}
	}
	sort.Float64s(values)
	f := Feature{Name: name}
	for i := 1; i < bins && len(values) > 0; i++ {
		e := values[i*len(values)/bins]
		if e > values[0] && (len(f.Edges) == 0 || e > f.Edges[len(f.Edges)-1]) {
			f.Edges = append(f.Edges, e)
		}
	}
	n := len(f.Edges) + 2
	seen := make([][]float64, len(counts))
	for c := range seen {
		seen[c] = make([]float64, n)
	}
	pooled, total := make([]float64, n), 0.0
	for _, s := range samples {
		b, w := f.bin(s.Evidence), weightOf(s)
		seen[index[s.Class]][b] += w
		pooled[b] += w
		total += w
	}
	const smoothing = 8
	f.LogLik = make([][]float64, len(counts))
	f.Weight = make([]float64, len(counts))
	for c := range counts {
		f.LogLik[c] = make([]float64, n)
		for b := range n {
			prior := (pooled[b] + 0.5) / (total + 0.5*float64(n))
			f.LogLik[c][b] = math.Log((seen[c][b] + smoothing*prior) / (counts[c] + smoothing))
		}
	}
	for b := range n {
		mean := 0.0
		for c := range counts {
			mean += f.LogLik[c][b] / float64(len(counts))
		}
		for c := range counts {
			f.LogLik[c][b] = math.Round((f.LogLik[c][b]-mean)*1e4) / 1e4
		}
	}
	return f
}

// fitWeights minimises the weighted mean log loss over biases and weights by L-BFGS with its exact gradient.
func (k *Case) fitWeights(samples []Sample, index map[string]int, ridge float64) error {
	classes, nf := len(k.Bias), len(k.Features)
	const start = 0.5
	bins := make([][]int, len(samples))
	total := 0.0
	for i, s := range samples {
		bins[i] = make([]int, nf)
		for j := range k.Features {
			bins[i][j] = k.Features[j].bin(s.Evidence)
		}
		total += weightOf(s)
	}
	if total == 0 {
		return errors.New("all samples weigh nothing")
	}
	scores := func(x []float64, i int) []float64 {
		out := make([]float64, classes)
		copy(out, x[:classes])
		for j := range nf {
			for c := range out {
				out[c] += x[classes+j*classes+c] * k.Features[j].LogLik[c][bins[i][j]]
			}
		}
		return softmax(out)
	}
	problem := optimize.Problem{
		Func: func(x []float64) float64 {
			sum := 0.0
			for i, s := range samples {
				sum -= weightOf(s) * math.Log(math.Max(1e-12, scores(x, i)[index[s.Class]]))
			}
			for _, w := range x[classes:] {
				sum += ridge * (w - start) * (w - start)
			}
			return sum / total
		},
		Grad: func(grad, x []float64) {
			clear(grad)
			for i, s := range samples {
				p := scores(x, i)
				p[index[s.Class]]--
				for c := range p {
					d := weightOf(s) * p[c]
					grad[c] += d
					for j := range nf {
						grad[classes+j*classes+c] += d * k.Features[j].LogLik[c][bins[i][j]]
					}
				}
			}
			for i := range x[classes:] {
				grad[classes+i] += 2 * ridge * (x[classes+i] - start)
			}
			for i := range grad {
				grad[i] /= total
			}
		},
	}
	x := make([]float64, classes+nf*classes)
	for i := range x[classes:] {
		x[classes+i] = start
	}
	result, err := optimize.Minimize(problem, x, &optimize.Settings{MajorIterations: 200, GradientThreshold: 1e-5}, &optimize.LBFGS{})
	if result == nil {
		return fmt.Errorf("fitting weights: %w", err)
	}
	k.Bias = make([]float64, classes)
	for c := range k.Bias {
		k.Bias[c] = round4(result.X[c])
	}
	for j := range k.Features {
		for c := range classes {
			k.Features[j].Weight[c] = round4(result.X[classes+j*classes+c])
		}
	}
	return nil
}

// fingerprint names a model by its numbers, so equal models have equal versions.
func (m *Model) fingerprint() string {
	h := fnv.New64a()
	fmt.Fprint(h, m.Classes)
	for _, name := range CaseNames {
		fmt.Fprint(h, name, m.Cases[name].Bias)
		for _, f := range m.Cases[name].Features {
			fmt.Fprint(h, f.Name, f.Edges, f.LogLik, f.Weight)
		}
	}
	return fmt.Sprintf("likelihoods-%d-%012x", SchemaVersion, h.Sum64()&0xffffffffffff)
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

func round4(v float64) float64 { return math.Round(v*1e4) / 1e4 }
