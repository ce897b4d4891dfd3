// Package models holds the classifier that turns a mark's measured evidence into odds, its fitted weights, and how they
// are fitted.
package models

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"math"
	"sync"
)

// SchemaVersion is the number a model file carries in its "schema" field.
const SchemaVersion = 1

// maxModelBytes bounds an unpacked model file: the shipped one is a tenth of it.
const maxModelBytes = 32 << 20

// Model is a sum of small decision trees over measured evidence, one sequence per class. A class's score is its bias plus
// the sum of its trees' leaves, all times a common scale that was fitted so that the odds (the scores' softmax) can be
// believed on captures the trees never saw. Method: J.H. Friedman, Greedy function approximation: a gradient boosting
// machine, Annals of Statistics 29(5), 2001.
type Model struct {
	Schema     int        `json:"schema"`
	Version    string     `json:"version"` // changes whenever the numbers do
	Classes    []string   `json:"classes"`
	Features   []string   `json:"features"` // names of the evidence, in the order trees refer to
	Scale      float64    `json:"scale"`
	Bias       []float64  `json:"bias"`  // per class
	Trees      [][]Tree   `json:"trees"` // classes × rounds
	Provenance Provenance `json:"provenance"`
}

// Tree is one decision tree. Node 0 is the root. A node with Left 0 is a leaf; any other sends evidence whose feature is
// missing or below Cut to Left, the rest to Right. Value is what the node would answer if the walk ended there, so that a
// step's worth can be told.
type Tree struct {
	Feature []int     `json:"f"`
	Cut     []float64 `json:"c"`
	Left    []int     `json:"l"`
	Right   []int     `json:"r"`
	Value   []float64 `json:"v"`
}

// Provenance says what a model was fitted on and how well it did on captures left out of the fit.
type Provenance struct {
	Source   string         `json:"source"`
	Samples  map[string]int `json:"samples"`  // per class
	LogLoss  float64        `json:"log_loss"` // mean negative log odds of the true class, cross-validated by capture
	Accuracy float64        `json:"accuracy"` // share of samples whose likeliest class is right, cross-validated by capture
}

//go:embed weights.json.gz
var embedded []byte

// shipped unpacks the embedded model once: every capture asks for it.
var shipped = sync.OnceValues(func() (*Model, error) {
	m, err := Parse(embedded)
	if err != nil {
		return nil, fmt.Errorf("embedded model: %w", err)
	}
	return m, nil
})

// Embedded returns the model the program ships with. All callers share it; it must not be changed.
func Embedded() (*Model, error) { return shipped() }

// Parse reads a model file, plain JSON or gzipped, and checks that its parts fit together, so that Odds can't fail.
func Parse(b []byte) (*Model, error) {
	if len(b) > 2 && b[0] == 0x1f && b[1] == 0x8b {
		z, err := gzip.NewReader(bytes.NewReader(b))
		if err != nil {
			return nil, fmt.Errorf("parsing model: %w", err)
		}
		if b, err = io.ReadAll(io.LimitReader(z, maxModelBytes+1)); err != nil {
			return nil, fmt.Errorf("parsing model: %w", err)
		}
		if len(b) > maxModelBytes {
			return nil, fmt.Errorf("parsing model: larger than %d bytes unpacked", maxModelBytes)
		}
	}
	var m Model
	if err := json.Unmarshal(b, &m); err != nil {
		return nil, fmt.Errorf("parsing model: %w", err)
	}
	if err := m.check(); err != nil {
		return nil, fmt.Errorf("parsing model %q: %w", m.Version, err)
	}
	return &m, nil
}

// Encode returns the model as a gzipped file that Parse reads; equal models give equal bytes.
func (m *Model) Encode() ([]byte, error) {
	plain, err := json.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("encoding model %q: %w", m.Version, err)
	}
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, fmt.Errorf("encoding model %q: %w", m.Version, err)
	}
	if _, err := z.Write(plain); err != nil {
		return nil, fmt.Errorf("encoding model %q: %w", m.Version, err)
	}
	if err := z.Close(); err != nil {
		return nil, fmt.Errorf("encoding model %q: %w", m.Version, err)
	}
	return out.Bytes(), nil
}

func (m *Model) check() error {
	if m.Schema != SchemaVersion {
		return fmt.Errorf("schema %d, want %d", m.Schema, SchemaVersion)
	}
	if len(m.Classes) < 2 || len(m.Bias) != len(m.Classes) || len(m.Trees) != len(m.Classes) {
		return errors.New("needs two classes or more, with a bias and trees for each")
	}
	if math.IsNaN(m.Scale) || math.IsInf(m.Scale, 0) {
		return errors.New("scale is not finite")
	}
	for c, trees := range m.Trees {
		for i := range trees {
			if err := trees[i].check(len(m.Features)); err != nil {
				return fmt.Errorf("class %q, tree %d: %w", m.Classes[c], i, err)
			}
		}
	}
	return nil
}

// check makes sure every walk ends: children come after their parent and inside the tree.
func (t *Tree) check(features int) error {
	n := len(t.Value)
	if n == 0 || len(t.Feature) != n || len(t.Cut) != n || len(t.Left) != n || len(t.Right) != n {
		return errors.New("arrays of different length")
	}
	for i := range n {
		if math.IsNaN(t.Value[i]) || math.IsInf(t.Value[i], 0) {
			return fmt.Errorf("node %d: value is not finite", i)
		}
		if t.Left[i] == 0 {
			continue
		}
		if t.Left[i] <= i || t.Left[i] >= n || t.Right[i] <= i || t.Right[i] >= n || t.Feature[i] < 0 || t.Feature[i] >= features {
			return fmt.Errorf("node %d: refers outside the tree or the features", i)
		}
	}
	return nil
}

// Odds returns the chance of each class, in the order of Classes, summing to 1. Features that evidence lacks, or whose
// value is NaN, count as missing; features the model doesn't know are ignored.
func (m *Model) Odds(evidence map[string]float64) []float64 {
	return softmax(m.scores(m.vector(evidence)))
}

func (m *Model) vector(evidence map[string]float64) []float64 {
	x := make([]float64, len(m.Features))
	for i, name := range m.Features {
		v, ok := evidence[name]
		if !ok {
			v = math.NaN()
		}
		x[i] = v
	}
	return x
}

func (m *Model) scores(x []float64) []float64 {
	score := make([]float64, len(m.Classes))
	for c, trees := range m.Trees {
		for i := range trees {
			score[c] += trees[i].Answer(x)
		}
		score[c] = m.Scale*score[c] + m.Bias[c]
	}
	return score
}

// Answer returns the value at the leaf that x, one number per feature of the model and NaN where it is missing, ends in.
func (t *Tree) Answer(x []float64) float64 {
	i := 0
	for t.Left[i] != 0 {
		if x[t.Feature[i]] >= t.Cut[i] {
			i = t.Right[i]
		} else {
			i = t.Left[i]
		}
	}
	return t.Value[i]
}

// Fingerprint is twelve hex digits of a model's numbers, for its version: equal models have equal fingerprints, wherever their samples
// came from.
func (m *Model) Fingerprint() string {
	h := fnv.New64a()
	fmt.Fprint(h, m.Classes, m.Features, m.Scale, m.Bias, m.Trees)
	return fmt.Sprintf("%012x", h.Sum64()&0xffffffffffff)
}

// VersionBy is a model's version when its numbers were come by in a way that is named so, such as "boosted".
func (m *Model) VersionBy(way string) string {
	return fmt.Sprintf("%s-%d-%s", way, SchemaVersion, m.Fingerprint())
}

// Softmax turns scores, one a class, into odds in place and returns them.
func Softmax(score []float64) []float64 { return softmax(score) }

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
