package models

import (
	"math"
	"math/rand/v2"
	"testing"
)

// someEvidence are marks with numbers drawn at random, some of them missing and some not a number.
func someEvidence(m *Model, n int) []map[string]float64 {
	rng := rand.New(rand.NewPCG(5, 7))
	out := make([]map[string]float64, n)
	for i := range out {
		out[i] = map[string]float64{"unknown to the model": 1}
		for _, name := range m.Features {
			switch rng.IntN(8) {
			case 0: // missing
			case 1:
				out[i][name] = math.NaN()
			case 2:
				out[i][name] = float64(rng.IntN(3)) // cuts of the small model are whole
			default:
				out[i][name] = 3 * rng.NormFloat64()
			}
		}
	}
	return out
}

func TestForestJudgesAsItsModel(t *testing.T) {
	shipped, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	uneven := small()
	uneven.Trees[1] = append(uneven.Trees[1],
		Tree{Feature: []int{0}, Cut: []float64{0}, Left: []int{0}, Right: []int{0}, Value: []float64{0.25}}, // a leaf alone
		// right children before left ones
		Tree{Feature: []int{1, 0, 0, 0, 0}, Cut: []float64{1, 0, 2, 0, 0}, Left: []int{2, 0, 4, 0, 0}, Right: []int{1, 0, 3, 0, 0},
			Value: []float64{0, 0.5, 0.1, -0.75, 0.125}})
	if err := uneven.check(); err != nil {
		t.Fatal(err)
	}
	for name, m := range map[string]*Model{"shipped": shipped, "small": small(), "uneven": uneven} {
		t.Run(name, func(t *testing.T) {
			f := NewForest(m)
			for n := range 2*lanes + 2 {
				evidence := someEvidence(m, n)
				got := f.Odds(evidence)
				if len(got) != n {
					t.Fatalf("odds of %d marks for %d", len(got), n)
				}
				for i, e := range evidence {
					for c, want := range m.Odds(e) {
						if got[i][c] != want {
							t.Errorf("mark %d of %d, class %s: %v, the model says %v", i, n, m.Classes[c], got[i][c], want)
						}
					}
				}
			}
		})
	}
}

// BenchmarkForestOdds judges as many marks as a side of a capture holds.
func BenchmarkForestOdds(b *testing.B) {
	m, err := Embedded()
	if err != nil {
		b.Fatal(err)
	}
	f, evidence := NewForest(m), someEvidence(m, 60)
	for b.Loop() {
		f.Odds(evidence)
	}
}
