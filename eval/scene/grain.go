package scene

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// gammaTable turns a standard normal variate into a gamma variate of mean 1 by matching quantiles.
type gammaTable [1025]float32

const gammaReach = 4.5 // standard deviations the table spans to either side

func newGammaTable(shape float64) *gammaTable {
	var t gammaTable
	g := distuv.Gamma{Alpha: shape, Beta: shape}
	n := distuv.UnitNormal
	for i := range t {
		z := gammaReach * (2*float64(i)/float64(len(t)-1) - 1)
		t[i] = float32(g.Quantile(n.CDF(z)))
	}
	return &t
}

func (t *gammaTable) at(z float64) float64 {
	u := (z/gammaReach + 1) / 2 * float64(len(t)-1)
	if u <= 0 {
		return float64(t[0])
	}
	i := int(u)
	if i >= len(t)-1 {
		return float64(t[len(t)-1])
	}
	f := float32(u - float64(i))
	return float64(t[i] + (t[i+1]-t[i])*f)
}

// grain is speckle of any number of looks. K-distributed speckle is gamma speckle times a gamma texture (E. Jakeman and
// P.N. Pusey, IEEE Trans. Antennas Propag. 24, 806, 1976). Along the track it may be correlated through its normal scores.
type grain struct {
	speckle *gammaTable
	texture *gammaTable
	rho     float64
	prev    []float64
	field   octave
	scores  []float64
	rng     *rand.Rand
	rough   bool // texture is drawn sample by sample
}

func newGrain(s *Spec, side, cols int) *grain {
	r := &s.Record
	g := &grain{speckle: newGammaTable(r.Looks), rho: r.AlongRho, rng: newRand(s.Seed, uint64(streamGrain*16+side))}
	if g.rho > 0 {
		g.prev = make([]float64, cols)
		for c := range g.prev {
			g.prev[c] = g.rng.NormFloat64()
		}
	}
	if r.KShape > 0 {
		g.texture = newGammaTable(r.KShape)
		g.scores = make([]float64, cols)
		g.rough = r.KCols <= 1 && r.KRows <= 1
		seed := uint64(s.Seed)*0x9e3779b97f4a7c15 + uint64(streamGrain*16+side)
		g.field = octave{seed: seed, cx: max(1, r.KCols), cy: max(1, r.KRows), shear: 0.17}
	}
	return g
}

// line fills dst with one row's factors of mean 1.
func (g *grain) line(r int, dst []float64) {
	keep := math.Sqrt(1 - g.rho*g.rho)
	for c := range dst {
		z := g.rng.NormFloat64()
		if g.rho > 0 {
			z = g.rho*g.prev[c] + keep*z
			g.prev[c] = z
		}
		dst[c] = g.speckle.at(z)
	}
	if g.texture == nil {
		return
	}
	if g.rough {
		for c := range dst {
			dst[c] *= g.texture.at(g.rng.NormFloat64())
		}
		return
	}
	clear(g.scores)
	y := float64(r) + 0.37
	g.field.line(y, 0, float64(len(dst)+8))
	g.field.addTo(g.scores, y, 0.31, 1, 1)
	for c := range dst {
		dst[c] *= g.texture.at(g.scores[c])
	}
}
