package detect

import (
	"fmt"
	"math"

	"shadowgap/features"
)

// normalised describes what plain bottom does at one scale: raised to a power its strengths are nearly normal. The power is
// learned from the picture, since the display's gain curve (linear, square root, logarithmic, anything a capture went
// through) is unknown; G.E.P. Box and D.R. Cox, An analysis of transformations, J. R. Stat. Soc. B 26(2), 1964, use the
// same family.
type normalised struct {
	centre       float32 // median strength
	power        float64
	mid          float64 // centre raised to the power
	lower, upper float64 // standard deviations of the raised strengths below and above the middle
	tails        tails
}

// normalise learns the power that makes the 20 %, 50 % and 80 % quantiles of the bottom symmetric, and the spread on each
// side from the same quantiles: objects fill too little of a picture to move them. A tail heavier than normal at 3 % (many
// specks, a rock field) widens the spread above by up to heaviest, so that only what stands out of the specks counts; a
// wide window averages specks away, and a large object alone can fill 3 % of a small picture, so heaviest falls with the
// window. leastPower bounds the power from below: means over wide windows are near normal as they are, and a lower power
// would only follow the objects in them. It returns an error when there is no bottom.
func normalise(m *features.Grid, mask []uint8, leastPower, heaviest float64) (normalised, error) {
	h, err := features.NewHistogram(0, 16, 16000)
	if err != nil {
		return normalised{}, fmt.Errorf("normalising: %w", err)
	}
	// an even choice is sample enough, of the tails too; an odd step does not fall in step with the rows, whose length is even more often
	const enough = 200_000
	h.AddWhere(m.V, mask, regionBottom, len(mask)/enough|1)
	q := make(map[float64]float64, 8)
	for _, p := range [...]float64{0.2, 0.5, 0.8, 0.97, lawFrom, 1 - lawFrom, tailFrom, 1 - tailFrom} {
		v, err := h.Quantile(p)
		if err != nil {
			return normalised{}, fmt.Errorf("normalising: the side holds no bottom: %w", err)
		}
		q[p] = v
	}
	skew := func(p float64) float64 {
		return raise(q[0.8], p) + raise(q[0.2], p) - 2*raise(q[0.5], p)
	}
	lo, hi := leastPower, 1.5
	for range 40 {
		mid := (lo + hi) / 2
		if skew(mid) > 0 {
			hi = mid
		} else {
			lo = mid
		}
	}
	n := normalised{centre: float32(q[0.5]), power: (lo + hi) / 2}
	n.mid = raise(q[0.5], n.power)
	const z80, z97 = 0.841621, 1.880794 // normal quantiles
	n.lower = math.Max((n.mid-raise(q[0.2], n.power))/z80, 1e-3)
	n.upper = math.Max((raise(q[0.8], n.power)-n.mid)/z80, 1e-3)
	tail := (raise(q[0.97], n.power) - n.mid) / z97
	n.upper = math.Min(math.Max(n.upper, tail), heaviest*n.upper)
	n.tails = newTails(func(p float64) float64 { return q[p] }, heaviest)
	return n, nil
}

// raise is the power transform (v^p − 1) / p, the logarithm at p = 0: increasing in v for every p.
func raise(v, p float64) float64 {
	v = math.Max(v, 1e-4)
	if math.Abs(p) < 1e-3 {
		return math.Log(v)
	}
	return (math.Pow(v, p) - 1) / p
}

// lower is the inverse of raise; values no strength reaches give 0 below and +Inf above.
func lower(t, p float64) float64 {
	if math.Abs(p) < 1e-3 {
		return math.Exp(t)
	}
	base := 1 + p*t
	if base <= 0 {
		if p > 0 {
			return 0
		}
		return math.Inf(1)
	}
	return math.Pow(base, 1/p)
}

// z returns how many spreads a strength lies above (or, negative, below) plain bottom.
func (n normalised) z(v float32) float64 {
	d := raise(float64(v), n.power) - n.mid
	if d < 0 {
		return d / n.lower
	}
	return d / n.upper
}

// at is the strength that lies z spreads from plain bottom; strengths can't fall below 0.
func (n normalised) at(z float64) float32 {
	spread := n.upper
	if z < 0 {
		spread = n.lower
	}
	return float32(lower(n.mid+z*spread, n.power))
}
