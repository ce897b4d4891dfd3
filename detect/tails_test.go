package detect

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Laws of the family whose quantiles have closed forms.
var closedLaws = []struct {
	name     string
	quantile func(below, above float64) float64
}{
	{"exponential", func(_, above float64) float64 { return -math.Log(above) }},
	{"Rayleigh", func(_, above float64) float64 { return math.Sqrt(-math.Log(above)) }},
	{"Weibull of shape 7", func(_, above float64) float64 { return math.Pow(-math.Log(above), 1.0/7) }},
	{"Fréchet of shape 4", func(below, _ float64) float64 { return math.Pow(-math.Log(below), -1.0/4) }},
	{"lognormal", func(below, above float64) float64 {
		if below < above {
			return math.Exp(0.3 * distuv.UnitNormal.Quantile(below))
		}
		return math.Exp(-0.3 * distuv.UnitNormal.Quantile(above))
	}},
}

func TestTailsFollowTheLaw(t *testing.T) {
	for _, law := range closedLaws {
		got := newTails(func(p float64) float64 { return law.quantile(p, 1-p) }, 2)
		for _, chance := range []float64{1e-2, 1e-4, 1e-7} {
			over, under := law.quantile(1-chance, chance), law.quantile(chance, 1-chance)
			if g := float64(got.over(chance)); math.Abs(g/over-1) > 0.02 {
				t.Errorf("%s: over %g lies %g of it, want %g", law.name, g, chance, over)
			}
			if g := float64(got.under(chance)); under > leastTold && math.Abs(math.Log(g/under)) > 0.1 {
				t.Errorf("%s: under %g lies %g of it, want %g", law.name, g, chance, under)
			}
		}
	}
}

// Things on a bottom move a bright threshold up, but no farther than is allowed, and shadows a dark one down.
func TestTailsDoNotFollowThings(t *testing.T) {
	plain := func(p float64) float64 { return math.Exp(0.1 * distuv.UnitNormal.Quantile(p)) }
	with := func(p float64) float64 {
		switch p {
		case tailFrom:
			return 0.05
		case 1 - tailFrom:
			return 8
		}
		return plain(p)
	}
	clean, got := newTails(plain, 1.25), newTails(with, 1.25)
	if a, b := math.Log(float64(got.over(1e-4))), math.Log(float64(clean.over(1e-4))); math.Abs(a/b-1.25) > 0.01 {
		t.Errorf("bright things move the threshold from %g to %g times the spread of plain bottom, want 1.25 times as far", b, a)
	}
	if a, b := math.Log(float64(got.under(1e-4))), math.Log(float64(clean.under(1e-4))); math.Abs(a/b-heaviestBelow) > 0.01 {
		t.Errorf("shadows move the threshold from %g to %g, want %g times as far", b, a, heaviestBelow)
	}
}
