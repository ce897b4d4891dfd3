package fit

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"shadowgap/models"
)

// ChoiceFolds is how many folds, by capture, choose the way to refit.
const ChoiceFolds = 3

// ErrNoWay is wrapped by the error of samples that no way to refit can take.
var ErrNoWay = errors.New("can't fit")

// Refit makes a new model from samples in the way that does best in cross-validation by capture: grow new trees for the same classes,
// or keep those of the model in use and adjust its odds. how says in words which. It returns an error that wraps ErrNoWay when
// neither can take the samples, and one when ctx ends.
func Refit(ctx context.Context, before *models.Model, samples []Sample) (m *models.Model, how string, err error) {
	ways := []struct {
		words string
		fit   func([]Sample) (*models.Model, error)
	}{
		{"odds adjusted", func(s []Sample) (*models.Model, error) { return adjusted(before, s) }},
		{"new trees", func(s []Sample) (*models.Model, error) { return grown(ctx, s, before.Classes) }},
	}
	best, loss, accuracy := -1, math.Inf(1), 0.0
	var failures []error
	for i, w := range ways {
		l, a, err := crossValidate(samples, w.fit)
		if ctx.Err() != nil {
			return nil, "", fmt.Errorf("fitting: %w", ctx.Err())
		}
		if err != nil {
			failures = append(failures, fmt.Errorf("%s: %w", w.words, err))
			continue
		}
		if l < loss {
			best, loss, accuracy = i, l, a
		}
	}
	if best < 0 {
		return nil, "", fmt.Errorf("%w: %w", ErrNoWay, errors.Join(failures...))
	}
	if m, err = ways[best].fit(samples); err != nil {
		return nil, "", fmt.Errorf("fitting: %w", err)
	}
	m.Provenance = provenance(samples, loss, accuracy)
	return m, ways[best].words, nil
}

// crossValidate leaves every capture out once and judges what is left out.
func crossValidate(samples []Sample, fit func([]Sample) (*models.Model, error)) (loss, accuracy float64, err error) {
	names := map[string]int{}
	for _, s := range samples {
		names[s.Group] = 0
	}
	for i, name := range slices.Sorted(maps.Keys(names)) {
		names[name] = i % ChoiceFolds
	}
	for fold := range ChoiceFolds {
		var in, out []Sample
		for _, s := range samples {
			if names[s.Group] == fold {
				out = append(out, s)
			} else {
				in = append(in, s)
			}
		}
		m, err := fit(in)
		if err != nil {
			return 0, 0, err
		}
		l, a := Judge(m, out)
		share := float64(len(out)) / float64(len(samples))
		loss += share * l
		accuracy += share * a
	}
	return loss, accuracy, nil
}

// grown fits new trees. Classes weigh alike while the trees grow, however rare, so that the few are not drowned by the many; the
// biases then take the weights back out, so that odds are those of the samples as they come.
func grown(ctx context.Context, samples []Sample, classes []string) (*models.Model, error) {
	weights := classWeights(samples, classes)
	weighed := make([]Sample, len(samples))
	for i, s := range samples {
		s.Weight = weights[s.Class]
		weighed[i] = s
	}
	m, err := Fit(ctx, weighed, Options{Classes: classes})
	if err != nil {
		return nil, err
	}
	for i, c := range classes {
		m.Bias[i] -= math.Log(weights[c])
	}
	return named(m), nil
}

// Bounds of a class's weight: a handful of samples must not outweigh the rest.
const (
	minClassWeight = 0.2
	maxClassWeight = 5
)

// classWeights gives each class the weight at which all would count alike, within bounds.
func classWeights(samples []Sample, classes []string) map[string]float64 {
	n := map[string]int{}
	for _, s := range samples {
		n[s.Class]++
	}
	w := make(map[string]float64, len(classes))
	for _, c := range classes {
		even := float64(len(samples)) / float64(len(classes)*max(n[c], 1))
		w[c] = math.Max(minClassWeight, math.Min(maxClassWeight, even))
	}
	return w
}

// adjusted keeps a model's trees and finds the scale and biases at which its odds fit the samples best. A pull towards the model as
// it is, worth one sample at one natural unit, keeps classes of few samples where they are.
func adjusted(before *models.Model, samples []Sample) (*models.Model, error) {
	k := len(before.Classes)
	s := scored{classes: k, scores: make([]float64, 0, k*len(samples))}
	var err error
	if s.class, s.weight, err = classesOf(samples, before.Classes); err != nil {
		return nil, fmt.Errorf("adjusting odds: %w", err)
	}
	for _, sample := range samples {
		for _, o := range before.Odds(sample.Evidence) {
			s.scores = append(s.scores, math.Log(math.Max(o, 1e-12)))
		}
	}
	scale, bias, err := s.calibrate(1 / float64(len(samples)))
	if err != nil {
		return nil, fmt.Errorf("adjusting odds: %w", err)
	}
	m := *before
	m.Scale = scale * before.Scale
	m.Bias = make([]float64, k)
	for c := range m.Bias {
		m.Bias[c] = scale*before.Bias[c] + bias[c]
	}
	return named(&m), nil
}

// named gives a model a version of its own and leaves its provenance to be said.
func named(m *models.Model) *models.Model {
	m.Provenance = models.Provenance{}
	m.Version = m.VersionBy("fitted")
	return m
}
