// Package models holds the classifier that turns a mark's measured evidence into odds, its fitted weights, and how they
// are fitted.
package models

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sort"
)

// SchemaVersion is the number a model file carries in its "schema" field.
const SchemaVersion = 1

// Model holds a weighted sum of likelihoods for each case of evidence. For each feature it knows how likely each class is to
// show a value in each of a few bins (and to lack the value); the score of a class is its bias plus the sum over features of
// weight × log likelihood, and odds are the scores' softmax. Bins bound what one strange value can do, and every feature's
// share of a verdict can be told in words. With all weights 1 it is the naive Bayes rule; weights below 1 discount features
// that repeat each other. Cases keep apart what means different things: a highlight of a given strength is worth less
// without a shadow than with one.
type Model struct {
	Schema     int             `json:"schema"`
	Version    string          `json:"version"` // changes whenever the weights do
	Classes    []string        `json:"classes"`
	Cases      map[string]Case `json:"cases"` // by name, all of CaseNames
	Provenance Provenance      `json:"provenance"`
}

// Case is the classifier for one case of evidence.
type Case struct {
	Bias     []float64 `json:"bias"` // per class
	Features []Feature `json:"features"`
}

// CaseNames lists the cases: a highlight inside the water column, one on the bottom with a shadow, one without, and a
// shadow without a highlight.
var CaseNames = [...]string{"water", "pair", "highlight", "shadow"}

// caseOf tells which case evidence belongs to, by what was measured.
func caseOf(evidence map[string]float64) string {
	if evidence["wet"] == 1 {
		return CaseNames[0]
	}
	_, highlight := evidence["highlight-area"]
	_, shadow := evidence["shadow-area"]
	switch {
	case highlight && shadow:
		return CaseNames[1]
	case highlight:
		return CaseNames[2]
	}
	return CaseNames[3]
}

// Feature is one kind of evidence.
type Feature struct {
	Name   string      `json:"name"`
	Edges  []float64   `json:"edges"`   // n ascending inner edges make n+1 bins; a value on an edge belongs to the upper bin
	LogLik [][]float64 `json:"log_lik"` // classes × (n+2): n+1 bins, then "value missing"; each centred over the classes
	Weight []float64   `json:"weight"`  // per class
}

// Provenance says what a model was fitted on and how well it did there.
type Provenance struct {
	Source   string         `json:"source"`
	Samples  map[string]int `json:"samples"`  // per class
	LogLoss  float64        `json:"log_loss"` // mean negative log odds of the true class, cross-validated by capture
	Accuracy float64        `json:"accuracy"` // share of samples whose likeliest class is right, cross-validated by capture
}

//go:embed weights.json
var embedded []byte

// Embedded returns the model the program ships with.
func Embedded() (*Model, error) {
	m, err := Parse(embedded)
	if err != nil {
		return nil, fmt.Errorf("embedded model: %w", err)
	}
	return m, nil
}

// Parse reads a model file and checks that its parts fit together.
func Parse(b []byte) (*Model, error) {
	var m Model
	if err := json.Unmarshal(b, &m); err != nil {
		return nil, fmt.Errorf("parsing model: %w", err)
	}
	if err := m.check(); err != nil {
		return nil, fmt.Errorf("parsing model %q: %w", m.Version, err)
	}
	return &m, nil
}

func (m *Model) check() error {
	if m.Schema != SchemaVersion {
		return fmt.Errorf("schema %d, want %d", m.Schema, SchemaVersion)
	}
	if len(m.Classes) < 2 {
		return errors.New("needs two classes or more")
	}
	for _, name := range CaseNames {
		c, ok := m.Cases[name]
		if !ok || len(c.Bias) != len(m.Classes) {
			return fmt.Errorf("case %q: needs a bias for each class", name)
		}
		if err := m.checkFeatures(c.Features); err != nil {
			return fmt.Errorf("case %q: %w", name, err)
		}
	}
	return nil
}

func (m *Model) checkFeatures(features []Feature) error {
	for _, f := range features {
		if len(f.LogLik) != len(m.Classes) || len(f.Weight) != len(m.Classes) || !sort.Float64sAreSorted(f.Edges) {
			return fmt.Errorf("feature %q: likelihoods, weights or edges don't fit", f.Name)
		}
		for _, l := range f.LogLik {
			if len(l) != len(f.Edges)+2 {
				return fmt.Errorf("feature %q: %d bins for %d edges", f.Name, len(l), len(f.Edges))
			}
			for _, v := range l {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return fmt.Errorf("feature %q: a likelihood is not finite", f.Name)
				}
			}
		}
	}
	return nil
}

// Odds returns the chance of each class, in the order of Classes, summing to 1. Features that evidence lacks, or whose
// value is NaN, count as missing; features the model doesn't know are ignored.
func (m *Model) Odds(evidence map[string]float64) []float64 {
	c := m.Cases[caseOf(evidence)]
	return c.odds(evidence)
}

func (k *Case) odds(evidence map[string]float64) []float64 {
	score := append([]float64(nil), k.Bias...)
	for i := range k.Features {
		f := &k.Features[i]
		bin := f.bin(evidence)
		for c := range score {
			score[c] += f.Weight[c] * f.LogLik[c][bin]
		}
	}
	return softmax(score)
}

// Share is what one feature adds to the score of a class over the mean of the others, in natural-log units.
type Share struct {
	Feature string
	Value   float64 // NaN when missing
	For     float64
}

// Shares returns each feature's part in the verdict for a class (an index into Classes), strongest first. It returns an
// error for an index out of range.
func (m *Model) Shares(evidence map[string]float64, class int) ([]Share, error) {
	if class < 0 || class >= len(m.Classes) {
		return nil, fmt.Errorf("model has no class %d", class)
	}
	features := m.Cases[caseOf(evidence)].Features
	out := make([]Share, len(features))
	for i := range features {
		f := &features[i]
		bin := f.bin(evidence)
		others := 0.0
		for c := range m.Classes {
			if c != class {
				others += f.Weight[c] * f.LogLik[c][bin] / float64(len(m.Classes)-1)
			}
		}
		v, ok := evidence[f.Name]
		if !ok {
			v = math.NaN()
		}
		out[i] = Share{f.Name, v, f.Weight[class]*f.LogLik[class][bin] - others}
	}
	sort.SliceStable(out, func(a, b int) bool { return math.Abs(out[a].For) > math.Abs(out[b].For) })
	return out, nil
}

func (f *Feature) bin(evidence map[string]float64) int {
	v, ok := evidence[f.Name]
	if !ok || math.IsNaN(v) {
		return len(f.Edges) + 1
	}
	return sort.Search(len(f.Edges), func(i int) bool { return f.Edges[i] > v })
}

func softmax(score []float64) []float64 {
	top := math.Inf(-1)
	for _, s := range score {
		top = math.Max(top, s)
	}
	sum := 0.0
	for i, s := range score {
		score[i] = math.Exp(s - top)
		sum += score[i]
	}
	for i := range score {
		score[i] /= sum
	}
	return score
}
