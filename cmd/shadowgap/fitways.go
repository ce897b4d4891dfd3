package main

import (
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"math"

	"gonum.org/v1/gonum/optimize"

	"shadowgap/models"
)

// grown fits new trees. Classes weigh alike while the trees grow, however rare, so that the few are not drowned by the many; the
// biases then take the weights back out, so that odds are those of the samples as they come.
func grown(ctx context.Context, samples []models.Sample) (*models.Model, error) {
	classes := classNames()
	weights := classWeights(samples, classes)
	weighed := make([]models.Sample, len(samples))
	for i, s := range samples {
		s.Weight = weights[s.Class]
		weighed[i] = s
	}
	m, err := models.Fit(ctx, weighed, models.FitOptions{Classes: classes})
	if err != nil {
		return nil, err
	}
	for i, c := range classes {
		m.Bias[i] -= math.Log(weights[c])
	}
	return named(m)
}

// Bounds of a class's weight: a handful of samples must not outweigh the rest.
const (
	minClassWeight = 0.2
	maxClassWeight = 5
)

// classWeights gives each class the weight at which all would count alike, within bounds.
func classWeights(samples []models.Sample, classes []string) map[string]float64 {
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

// adjusted keeps a model's trees and finds the scale and biases at which its odds fit the samples best, by gonum's Nelder–Mead. A
// pull towards the model as it is, worth one sample at one natural unit, keeps classes of few samples where they are.
func adjusted(before *models.Model, samples []models.Sample) (*models.Model, error) {
	k := len(before.Classes)
	class := map[string]int{}
	for i, c := range before.Classes {
		class[c] = i
	}
	scores, truth := make([][]float64, len(samples)), make([]int, len(samples))
	for i, s := range samples {
		c, ok := class[s.Class]
		if !ok {
			return nil, fmt.Errorf("the model doesn't know class %q", s.Class)
		}
		truth[i] = c
		scores[i] = before.Odds(s.Evidence)
		for j, o := range scores[i] {
			scores[i][j] = math.Log(math.Max(o, 1e-12))
		}
	}
	loss := func(x []float64) float64 {
		total := 0.0
		for _, v := range x {
			total += v * v
		}
		scale := math.Exp(x[0])
		for i, s := range scores {
			sum, top := 0.0, math.Inf(-1)
			for j := range k {
				top = math.Max(top, scale*s[j]+x[1+j])
			}
			for j := range k {
				sum += math.Exp(scale*s[j] + x[1+j] - top)
			}
			total += math.Log(sum) + top - scale*s[truth[i]] - x[1+truth[i]]
		}
		return total / float64(len(samples))
	}
	found, err := optimize.Minimize(optimize.Problem{Func: loss}, make([]float64, k+1), &optimize.Settings{FuncEvaluations: 2000}, &optimize.NelderMead{})
	if found == nil {
		return nil, fmt.Errorf("adjusting odds: %w", err)
	}
	m := *before
	scale := math.Exp(found.X[0])
	m.Scale = scale * before.Scale
	m.Bias = make([]float64, k)
	for c := range m.Bias {
		m.Bias[c] = scale*before.Bias[c] + found.X[1+c]
	}
	return named(&m)
}

// named gives a model a version of its own, made from its numbers, so that equal models have equal versions.
func named(m *models.Model) (*models.Model, error) {
	m.Version, m.Provenance = "", models.Provenance{}
	text, err := json.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("naming the model: %w", err)
	}
	h := fnv.New64a()
	h.Write(text)
	m.Version = fmt.Sprintf("fitted-%d-%012x", models.SchemaVersion, h.Sum64()&0xffffffffffff)
	return m, nil
}
