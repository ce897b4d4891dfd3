package eval

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// confidence is the level of every interval.
const confidence = 0.95

// Rate is a share k of n with its 95 % Wilson score interval. In JSON value, low and high are null when n is 0.
type Rate struct {
	K, N             int
	Value, Low, High float64
}

// NewRate returns k of n with its interval; for n = 0 the value is NaN and the interval 0 to 1.
func NewRate(k, n int) Rate {
	r := Rate{K: k, N: n, Value: math.NaN()}
	if n > 0 {
		r.Value = float64(k) / float64(n)
	}
	r.Low, r.High = Wilson(k, n, confidence)
	return r
}

// MarshalJSON writes {"k","n","value","low","high"}.
func (r Rate) MarshalJSON() ([]byte, error) {
	out := struct {
		K     int      `json:"k"`
		N     int      `json:"n"`
		Value *float64 `json:"value"`
		Low   *float64 `json:"low"`
		High  *float64 `json:"high"`
	}{K: r.K, N: r.N}
	if r.N > 0 {
		out.Value, out.Low, out.High = &r.Value, &r.Low, &r.High
	}
	return json.Marshal(out)
}

// Wilson returns the score interval of a rate k of n at the given level of confidence, without continuity correction (R.G.
// Newcombe, Statistics in Medicine 17, 857-872, 1998, method 3). It needs 0 <= k <= n; n = 0 gives 0, 1.
func Wilson(k, n int, level float64) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	z := distuv.UnitNormal.Quantile(1 - (1-level)/2)
	N, p := float64(n), float64(k)/float64(n)
	centre := (p + z*z/(2*N)) / (1 + z*z/N)
	half := z / (1 + z*z/N) * math.Sqrt(p*(1-p)/N+z*z/(4*N*N))
	low, high = math.Max(0, centre-half), math.Min(1, centre+half)
	// Rounding must not push the ends past what was seen.
	if k == 0 {
		low = 0
	}
	if k == n {
		high = 1
	}
	return low, high
}

// Estimate is a statistic with its 95 % bootstrap interval over captures. In JSON what is not a number is null.
type Estimate struct {
	Value, Low, High float64
}

// MarshalJSON writes {"value","low","high"}.
func (e Estimate) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Value *float64 `json:"value"`
		Low   *float64 `json:"low"`
		High  *float64 `json:"high"`
	}{finite(e.Value), finite(e.Low), finite(e.High)})
}

func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// bootstrap returns stat over all n captures with its percentile interval over resamples drawn with replacement. stat gets
// how often each capture was drawn; marks of one capture stay together because they share water, gain and bottom. A
// resample on which stat is NaN (nothing to divide by) is left out. The same seed gives the same interval.
func bootstrap(n, resamples int, seed uint64, stat func(times []int) float64) Estimate {
	times := make([]int, n)
	for i := range times {
		times[i] = 1
	}
	e := Estimate{Value: stat(times), Low: math.NaN(), High: math.NaN()}
	if n == 0 {
		return e
	}
	rng := rand.New(rand.NewPCG(seed, 0x5eed))
	drawn := make([]float64, 0, resamples)
	for range resamples {
		clear(times)
		for range n {
			times[rng.IntN(n)]++
		}
		if v := stat(times); !math.IsNaN(v) {
			drawn = append(drawn, v)
		}
	}
	if len(drawn) == 0 {
		return e
	}
	slices.Sort(drawn)
	e.Low, e.High = sortedQuantile(drawn, (1-confidence)/2), sortedQuantile(drawn, (1+confidence)/2)
	return e
}

// sortedQuantile interpolates between order statistics; NaN for none.
func sortedQuantile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	x := p * float64(len(v)-1)
	i := int(x)
	if i+1 >= len(v) {
		return v[len(v)-1]
	}
	return v[i] + (x-float64(i))*(v[i+1]-v[i])
}
