package detect

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// tails is how far plain bottom's strengths reach at one scale: their logarithm follows a log-gamma law. Gamma-distributed intensity under
// any power is of that family, and so are lognormal strengths and, near enough, means over windows and logarithmic displays; it is as
// lopsided as the display makes it (R.L. Prentice, A log gamma model and its maximum likelihood estimation, Biometrika 61(3), 1974;
// from memory). Its three numbers are taken from the picture's 10 %, 50 % and 90 % quantiles. Speckle that is alike over a window or more
// reaches less far than the law says, and specks reach farther, which the quantiles at 1 % and 99 % show.
type tails struct {
	median      float64
	shape       float64 // 0 lognormal, 1 exponential or a power of it
	mid, spread float64 // of the logarithm
	heaviest    float64 // see newTails

	// Distance of the tails from the median, in the logarithm, over that of the law. Above it is that at the 99 % quantile, from which
	// the difference grows in proportion to normal quantiles.
	above, below float64
}

// Where the law is taken from, and how far the picture's own tails may differ from it.
const (
	lawFrom       = 0.1
	tailFrom      = 0.01
	mostLopsided  = 4.0 // shapes, at most, and
	leastLopsided = -2.0
	leastShape    = 0.01 // under which the law is lognormal for all that can be told
	lightestAbove = 0.7
	lightestBelow = 0.9
	heaviestBelow = 1.1  // shadows can fill more than 1 % of a side
	leastTold     = 1e-3 // leveled strength that a quantile counts as, at least
)

// newTails learns the law from the quantiles of a side's strengths, at lawFrom and tailFrom of either end and the median. heaviest is how
// much farther than the law the bright tail may reach.
func newTails(quantile func(float64) float64, heaviest float64) tails {
	told := func(p float64) float64 { return math.Log(math.Max(quantile(p), leastTold)) }
	median := told(0.5)
	up, down := told(1-lawFrom)-median, median-told(lawFrom)
	lo, hi := leastLopsided, mostLopsided
	for range 12 { // to a thousandth of a shape
		t := tails{shape: (lo + hi) / 2}
		if mid := t.law(0.5, 0.5); (t.law(1-lawFrom, lawFrom)-mid)*down > (mid-t.law(lawFrom, 1-lawFrom))*up {
			lo = t.shape
		} else {
			hi = t.shape
		}
	}
	t := tails{median: math.Exp(median), shape: (lo + hi) / 2, heaviest: heaviest, above: 1, below: 1}
	t.spread = (up + down) / (t.law(1-lawFrom, lawFrom) - t.law(lawFrom, 1-lawFrom))
	t.mid = median - t.spread*t.law(0.5, 0.5)
	reach := func(p float64) float64 { return t.mid + t.spread*t.law(p, 1-p) - median }
	if far := reach(1 - tailFrom); far > 0 {
		t.above = (told(1-tailFrom) - median) / far
	}
	if far := reach(tailFrom); far < 0 {
		t.below = math.Min(math.Max((told(tailFrom)-median)/far, lightestBelow), heaviestBelow)
	}
	return t
}

// law is the standard log-gamma variate that is not reached with the chance below and passed with the chance above, their sum being 1.
func (t tails) law(below, above float64) float64 {
	l := t.shape
	if math.Abs(l) < leastShape {
		if below < above {
			return distuv.UnitNormal.Quantile(below)
		}
		return -distuv.UnitNormal.Quantile(above)
	}
	if l < 0 {
		below, above = above, below
	}
	m := 1 / (l * l)
	if below < above {
		return math.Log(mathext.GammaIncRegInv(m, below)/m) / l
	}
	return math.Log(mathext.GammaIncRegCompInv(m, above)/m) / l
}

// over is the strength that plain bottom passes with a chance.
func (t tails) over(chance float64) float32 {
	out := distuv.UnitNormal.Quantile(chance) / distuv.UnitNormal.Quantile(tailFrom)
	above := math.Min(math.Max(1+(t.above-1)*out, lightestAbove), t.heaviest)
	return float32(t.median * math.Exp(above*(t.mid+t.spread*t.law(1-chance, chance)-math.Log(t.median))))
}

// under is the strength that plain bottom stays below with a chance.
func (t tails) under(chance float64) float32 {
	return float32(t.median * math.Exp(t.below*(t.mid+t.spread*t.law(chance, 1-chance)-math.Log(t.median))))
}
