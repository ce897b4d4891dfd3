package detect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"shadowgap/features"
)

func seeded(n uint64) *rand.Rand { return rand.New(rand.NewPCG(n, 1)) }

// rayleigh draws single-look amplitude speckle of mean 1 (Rayleigh mean = σ sqrt(π/2)).
func rayleigh(rng *rand.Rand) float64 {
	return math.Sqrt(-2*math.Log(1-rng.Float64())) / math.Sqrt(math.Pi/2)
}

func clip01(v float64) float32 { return float32(math.Max(0, math.Min(1, v))) }

func newGrid(t testing.TB, rows, cols int) *features.Grid {
	t.Helper()
	g, err := features.NewGrid(rows, cols)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// speckled is a grid of Rayleigh speckle of the given mean strength, and its all-valid flags.
func speckled(t testing.TB, rng *rand.Rand, rows, cols int, mean float64) (*features.Grid, []uint8) {
	t.Helper()
	g := newGrid(t, rows, cols)
	for i := range g.V {
		g.V[i] = clip01(mean * rayleigh(rng))
	}
	return g, allValid(g)
}

func allValid(g *features.Grid) []uint8 {
	valid := make([]uint8, len(g.V))
	for i := range valid {
		valid[i] = 1
	}
	return valid
}

// starboardOf takes a whole grid as the starboard side, the nadir at its left edge.
func starboardOf(t testing.TB, g *features.Grid, valid []uint8, hasZero bool) *swath {
	t.Helper()
	s, err := cutSwath(g, valid, make([]float64, g.Rows), Starboard, hasZero, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// quantileOf is the q-quantile of v by nearest rank.
func quantileOf(v []float64, q float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[min(len(v)-1, int(q*float64(len(v))))]
}

// rect is a solid patch.
func rect(r0, r1, k0, k1 int) patch {
	p := patch{span: span{r0, r1, k0, k1}, area: (r1 - r0) * (k1 - k0), peak: 5, mean: 3}
	for r := r0; r < r1; r++ {
		p.runs = append(p.runs, features.PixelRun{Row: r, Col0: k0, Col1: k1})
	}
	return p
}

// firstReturnOf refines a rough first return that is off by as much as a map's cell.
func firstReturnOf(s *swath, at func(r int) float64) *bottomEdge {
	const cell = 5.0
	rough, sure := make([]float64, s.echo.Rows), make([]float64, s.echo.Rows)
	for r := range rough {
		rough[r], sure[r] = at(r)+cell*math.Sin(float64(r)/9), 0.9
	}
	return refineFirstReturn(s, rough, sure, cell)
}
