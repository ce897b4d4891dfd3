package detect

import (
	"math"
	"testing"

	"shadowgap/features"
)

// windowStats returns the mean and the standard deviation of every whole 32 × 48 window of q from column k0 on.
func windowStats(q *features.Grid, k0 int) (means, spreads []float64) {
	for r := 0; r+32 <= q.Rows; r += 32 {
		for k := k0; k+48 <= q.Cols; k += 48 {
			var sum, sum2 float64
			for rr := r; rr < r+32; rr++ {
				for _, v := range q.Row(rr)[k : k+48] {
					sum += float64(v)
					sum2 += float64(v) * float64(v)
				}
			}
			m := sum / (32 * 48)
			means = append(means, m)
			spreads = append(spreads, math.Sqrt(sum2/(32*48)-m*m))
		}
	}
	return means, spreads
}

// One look of Rayleigh amplitude has std/mean = sqrt(4/π - 1) = 0.5227232 (scipy.stats.rayleigh, SciPy 1.10.1). A window of
// 32 × 48 independent pixels estimates its mean to 0.5227 / √1536 = 1.3 % and its spread to about 2 % of itself, so the
// worst of some ninety windows lies within 5 % and 8 %; the trend's own window adds as much again. Trends are taken out by
// medians, and the median of such speckle is 0.939 of its mean, so the whole may lie a few percent over 1.
func TestLevelTakesGainOut(t *testing.T) {
	const rows, cols, rayleighRatio = 256, 528, 0.5227232
	for _, tt := range []struct {
		name string
		gain func(r, k int) float64
	}{
		{"even", func(_, _ int) float64 { return 0.2 }},
		{"bright display", func(_, _ int) float64 { return 0.35 }},
		{"dark display", func(_, _ int) float64 { return 0.05 }},
		{"falling with range", func(_, k int) float64 { return 0.35 * math.Exp(-float64(k)/260) }},
		{"rising with range", func(_, k int) float64 { return 0.06 + 0.25*float64(k)/cols }},
		{"changing along track", func(r, _ int) float64 { return 0.2 * (1 + 0.5*math.Sin(float64(r)/45)) }},
		{"both", func(r, k int) float64 {
			return 0.3 * math.Exp(-float64(k)/400) * (1 + 0.4*math.Cos(float64(r)/50))
		}},
		{"jumps between pings", func(r, _ int) float64 { return 0.2 * (1 + 0.3*float64((r*7)%3-1)) }},
		{"rings at fixed ranges", func(_, k int) float64 { return 0.2 * (1 + 0.25*math.Sin(float64(k)/3)) }},
	} {
		for _, side := range [...]Side{Port, Starboard} {
			g := newGrid(t, rows, cols)
			rng := seeded(31)
			for r := range rows {
				for k := range cols {
					c := k
					if side == Port {
						c = cols - 1 - k
					}
					g.V[r*cols+c] = clip01(tt.gain(r, k) * rayleigh(rng))
				}
			}
			near := make([]float64, rows)
			if side == Port {
				for r := range near {
					near[r] = cols
				}
			}
			s, err := cutSwath(g, allValid(g), near, side, false, nil)
			if err != nil {
				t.Fatal(err)
			}
			lv, err := level(s, nil)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(lv.sigma/rayleighRatio-1) > 0.1 {
				t.Errorf("%s, %s: spread %.3f, want %.3f within a tenth", tt.name, side, lv.sigma, rayleighRatio)
			}
			means, spreads := windowStats(lv.q, 0)
			all := meanOf(lv, span{0, rows, 0, cols})
			if math.Abs(all-1) > 0.1 {
				t.Errorf("%s, %s: leveled to a mean of %.3f", tt.name, side, all)
			}
			for i := range means {
				if math.Abs(means[i]/all-1) > 0.1 {
					t.Errorf("%s, %s: window %d has mean %.3f, all of them %.3f", tt.name, side, i, means[i], all)
				}
				if math.Abs(spreads[i]/lv.sigma-1) > 0.2 {
					t.Errorf("%s, %s: window %d has spread %.3f, typical is %.3f", tt.name, side, i, spreads[i], lv.sigma)
				}
			}
		}
	}
}

// Twice the gain is the same bottom.
func TestLevelIgnoresTheGainSetting(t *testing.T) {
	g, valid := speckled(t, seeded(32), 200, 400, 0.12)
	double := newGrid(t, g.Rows, g.Cols)
	for i, v := range g.V {
		double.V[i] = 2 * v
	}
	a, err := level(starboardOf(t, g, valid, false), nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := level(starboardOf(t, double, valid, false), nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.q.V {
		if d := math.Abs(float64(a.q.V[i] - b.q.V[i])); d > 0.02*(1+float64(a.q.V[i])) {
			t.Fatalf("pixel %d: %.4f at one gain, %.4f at twice it", i, a.q.V[i], b.q.V[i])
		}
	}
}

// Things and their shadows stay as far from plain bottom as they were drawn.
func TestLevelKeepsThings(t *testing.T) {
	g, valid := speckled(t, seeded(33), 240, 400, 0.15)
	for r := 100; r < 120; r++ {
		for k := 150; k < 210; k++ {
			v := 0.01
			if k < 165 {
				v = 0.75
			}
			g.V[r*g.Cols+k] = float32(v)
		}
	}
	lv, err := level(starboardOf(t, g, valid, false), nil)
	if err != nil {
		t.Fatal(err)
	}
	if high := meanOf(lv, span{102, 118, 152, 163}); high < 3.5 || high > 6.5 {
		t.Errorf("a highlight of 5 times the bottom is leveled to %.2f", high)
	}
	if low := meanOf(lv, span{102, 118, 168, 208}); low > 0.25 {
		t.Errorf("a shadow of 0.07 times the bottom is leveled to %.2f", low)
	}
	if beside := meanOf(lv, span{102, 118, 230, 300}); math.Abs(beside-1) > 0.12 {
		t.Errorf("bottom beside them is leveled to %.2f", beside)
	}
}

// The water column's noise is leveled to the spread of the bottom, about 1.
func TestLevelWater(t *testing.T) {
	s := newSide(t, 34, 0.1, 0.35, func(int) float64 { return 200 })
	sw := starboardOf(t, s.g, s.valid, true)
	edge := edgeAt(s.g.Rows, 200, 1)
	lv, err := level(sw, edge)
	if err != nil {
		t.Fatal(err)
	}
	if m := meanOf(lv, span{0, s.g.Rows, 60, 180}); math.Abs(m-1) > 0.15 {
		t.Errorf("quiet water is leveled to %.2f", m)
	}
	if m := meanOf(lv, span{0, s.g.Rows, 230, 400}); math.Abs(m-1) > 0.1 {
		t.Errorf("bottom is leveled to %.2f", m)
	}
	means, spreads := windowStats(lv.q, 30)
	for i := range means {
		if spreads[i] > 2*lv.sigma {
			t.Errorf("window %d spreads by %.2f, typical is %.2f", i, spreads[i], lv.sigma)
		}
	}
}
