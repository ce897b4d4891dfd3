package features

import (
	"errors"
	"math"
)

// Histogram counts values in equal bins between Low and High; values outside fall into the end bins. It serves quantiles
// of millions of pixels without sorting them.
type Histogram struct {
	Low, High float64
	N         int
	bins      []int
	scale     float64
}

// NewHistogram returns an empty histogram of the given number of bins over [low, high). It returns an error unless
// low < high and bins > 0.
func NewHistogram(low, high float64, bins int) (*Histogram, error) {
	if !(low < high) || bins <= 0 || math.IsInf(low, 0) || math.IsInf(high, 0) {
		return nil, errors.New("histogram wants finite low < high and at least one bin")
	}
	return &Histogram{Low: low, High: high, bins: make([]int, bins), scale: float64(bins) / (high - low)}, nil
}

// Add counts one value; NaN is ignored.
func (h *Histogram) Add(v float64) {
	if v != v {
		return
	}
	i := 0
	if v > h.Low {
		i = len(h.bins) - 1
		if v < h.High {
			i = min(int((v-h.Low)*h.scale), i)
		}
	}
	h.bins[i]++
	h.N++
}

// AddWhere counts every step-th of the values whose mask is of; mask is as long as values, and NaN is ignored.
func (h *Histogram) AddWhere(values []float32, mask []uint8, of uint8, step int) {
	bins, low, high, scale := h.bins, h.Low, h.High, h.scale
	last, n := len(bins)-1, 0
	mask = mask[:len(values)]
	for i := 0; i < len(values); i += step {
		v := float64(values[i])
		if mask[i] != of || v != v {
			continue
		}
		at := 0
		if v > low {
			at = last
			if v < high {
				at = min(int((v-low)*scale), last)
			}
		}
		bins[at]++
		n++
	}
	h.N += n
}

// Quantile returns the value below which the fraction q (0 to 1) of the samples lies, linear inside a bin, so exact to a
// bin's width. It returns an error for an empty histogram.
func (h *Histogram) Quantile(q float64) (float64, error) {
	if h.N == 0 {
		return 0, errors.New("no samples")
	}
	want := q * float64(h.N)
	sum := 0.0
	for i, n := range h.bins {
		if n == 0 {
			continue
		}
		if sum+float64(n) >= want {
			return h.Low + (float64(i)+math.Max(0, want-sum)/float64(n))/h.scale, nil
		}
		sum += float64(n)
	}
	return h.High, nil
}
