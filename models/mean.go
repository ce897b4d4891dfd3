package models

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Mean returns the model whose scores are the mean of several models' scores: a fit of trees is a draw, and two draws err less together
// (L. Breiman, Bagging predictors, Machine Learning 24(2), 1996). Its evidence is all of theirs, its provenance tells the mean of how well
// each did. It returns an error when there is none or their classes differ. Its version is the caller's to set.
func Mean(ms ...*Model) (*Model, error) {
	if len(ms) == 0 {
		return nil, errors.New("the mean of no model")
	}
	first, part := ms[0], 1/float64(len(ms))
	out := &Model{Schema: SchemaVersion, Classes: slices.Clone(first.Classes), Scale: 1, Bias: make([]float64, len(first.Classes)),
		Trees: make([][]Tree, len(first.Classes)), Provenance: Provenance{Samples: map[string]int{}}}
	var sources []string
	for _, m := range ms {
		if !slices.Equal(m.Classes, first.Classes) {
			return nil, fmt.Errorf("the mean of models of %v and of %v", first.Classes, m.Classes)
		}
		at := make([]int, len(m.Features)) // of each of its features in the mean's
		for i, name := range m.Features {
			if at[i] = slices.Index(out.Features, name); at[i] < 0 {
				at[i] = len(out.Features)
				out.Features = append(out.Features, name)
			}
		}
		for c, trees := range m.Trees {
			out.Bias[c] += part * m.Bias[c]
			for i := range trees {
				out.Trees[c] = append(out.Trees[c], trees[i].scaled(part*m.Scale, at))
			}
		}
		for c, n := range m.Provenance.Samples {
			out.Provenance.Samples[c] += n
		}
		out.Provenance.LogLoss += part * m.Provenance.LogLoss
		out.Provenance.Accuracy += part * m.Provenance.Accuracy
		sources = append(sources, m.Provenance.Source)
	}
	out.Provenance.Source = "the mean of: " + strings.Join(sources, "; and of: ")
	return out, out.check()
}

// digits are those of a tree's values that a file keeps.
const digits = 1e6

// scaled is a tree that answers so many times as much and asks features by other numbers.
func (t *Tree) scaled(by float64, at []int) Tree {
	out := Tree{Feature: make([]int, len(t.Feature)), Cut: t.Cut, Left: t.Left, Right: t.Right, Value: make([]float64, len(t.Value))}
	for i, f := range t.Feature {
		if t.Left[i] != 0 {
			out.Feature[i] = at[f]
		}
		out.Value[i] = math.Round(by*t.Value[i]*digits) / digits
	}
	return out
}
