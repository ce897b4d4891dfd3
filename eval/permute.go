package eval

import (
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
)

// Comparison is a statistic of two runs on the same captures and the chance of a difference at least this great if it made no
// difference which run each capture's result came from.
type Comparison struct {
	Statistic string `json:"statistic"`
	A         Number `json:"a"`
	B         Number `json:"b"`
	Diff      Number `json:"difference"` // B - A
	P         Number `json:"p"`
	Exact     bool   `json:"exact"` // every exchange was tried
}

// exactCaptures is up to how many captures that differ every exchange is tried.
const exactCaptures = 12

// Compare tests run b against run a by a paired permutation test over captures, two-sided, with the given number of random
// exchanges (all of them where few captures differ). The statistics are F1, recall, precision, false marks per capture and
// the share of right classes. Both must have been scored on the same captures with the same options; otherwise an error names
// the difference.
func Compare(a, b *Results, exchanges int, seed uint64) ([]Comparison, error) {
	if len(a.PerCapture) != len(b.PerCapture) {
		return nil, fmt.Errorf("comparing runs: %d captures against %d", len(a.PerCapture), len(b.PerCapture))
	}
	if exchanges < 1 {
		return nil, fmt.Errorf("comparing runs: %d exchanges", exchanges)
	}
	for i := range a.PerCapture {
		x, y := a.PerCapture[i], b.PerCapture[i]
		if x.Capture != y.Capture {
			return nil, fmt.Errorf("comparing runs: capture %q against %q", x.Capture, y.Capture)
		}
		if x.Labels != y.Labels {
			return nil, fmt.Errorf("comparing runs: %s has %d labels in one and %d in the other", x.Capture, x.Labels, y.Labels)
		}
	}
	var out []Comparison
	for _, s := range statistics {
		out = append(out, permute(s.name, s.of, a.PerCapture, b.PerCapture, exchanges, seed))
	}
	return out, nil
}

// totals are summed CaptureResults.
type totals struct{ captures, labels, found, right, wrong int }

func (t *totals) add(r CaptureResult) {
	t.captures++
	t.labels += r.Labels
	t.found += r.Found
	t.right += r.RightClass
	t.wrong += r.False
}

var statistics = [...]struct {
	name string
	of   func(totals) float64
}{
	{"F1", func(t totals) float64 { return f1(float64(t.found), float64(t.wrong), float64(t.labels-t.found)) }},
	{"recall", func(t totals) float64 { return float64(t.found) / float64(t.labels) }},
	{"precision", func(t totals) float64 { return float64(t.found) / float64(t.found+t.wrong) }},
	{"false marks per capture", func(t totals) float64 { return float64(t.wrong) / float64(t.captures) }},
	{"right class", func(t totals) float64 { return float64(t.right) / float64(t.found) }},
}

func permute(name string, of func(totals) float64, a, b []CaptureResult, exchanges int, seed uint64) Comparison {
	var differ []int // exchanging equal results changes nothing
	for i := range a {
		if a[i] != b[i] {
			differ = append(differ, i)
		}
	}
	diff := func(swapped func(k int) bool) float64 {
		var ta, tb totals
		k := 0
		for i := range a {
			x, y := a[i], b[i]
			if k < len(differ) && differ[k] == i {
				if swapped(k) {
					x, y = y, x
				}
				k++
			}
			ta.add(x)
			tb.add(y)
		}
		return of(tb) - of(ta)
	}
	var ta, tb totals
	for i := range a {
		ta.add(a[i])
		tb.add(b[i])
	}
	c := Comparison{Statistic: name, A: Number(of(ta)), B: Number(of(tb)), P: Number(math.NaN())}
	seen := of(tb) - of(ta)
	c.Diff = Number(seen)
	if math.IsNaN(seen) {
		return c
	}
	// Sums in another order differ in the last digit: count those as equal.
	reaches := func(d float64) bool { return math.Abs(d) >= math.Abs(seen)-1e-12 }
	if len(differ) <= exactCaptures {
		c.Exact = true
		all := uint(1) << len(differ)
		hit := 0
		for mask := range all {
			if reaches(diff(func(k int) bool { return mask>>k&1 == 1 })) {
				hit++
			}
		}
		c.P = Number(float64(hit) / float64(all))
		return c
	}
	rng := rand.New(rand.NewPCG(seed, 0xabcd))
	hit := 0
	words := make([]uint64, (len(differ)+bits.UintSize-1)/bits.UintSize)
	for range exchanges {
		for i := range words {
			words[i] = rng.Uint64()
		}
		if reaches(diff(func(k int) bool { return words[k/bits.UintSize]>>(k%bits.UintSize)&1 == 1 })) {
			hit++
		}
	}
	c.P = Number(float64(hit+1) / float64(exchanges+1)) // the order seen is one of the exchanges
	return c
}
