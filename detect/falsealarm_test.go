package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"shadowgap/features"
)

// plainBottom is what plain speckled bottom echoes: single-look amplitude, whose intensity is K-distributed with a shape (0: exponential,
// so that the amplitude is Rayleigh), alike over grain pixels each way.
type plainBottom struct{ shape, grain int }

func (b plainBottom) String() string {
	if b.shape == 0 {
		return fmt.Sprintf("Rayleigh, grain %d", b.grain)
	}
	return fmt.Sprintf("K of shape %d, grain %d", b.shape, b.grain)
}

// draw is amplitude of mean 1. K-distributed intensity is the product of the exponential's and of a gamma variate of mean 1 (K.D. Ward,
// Compound representation of high resolution sea clutter, Electronics Letters 17(16), 1981; from memory); both are sums of squares of
// Gaussian fields.
func (b plainBottom) draw(t testing.TB, rng *rand.Rand, rows, cols int) *features.Grid {
	t.Helper()
	g := b.squares(t, rng, rows, cols, 2)
	if b.shape > 0 {
		for i, v := range b.squares(t, rng, rows, cols, 2*b.shape).V {
			g.V[i] *= v
		}
	}
	sum := 0.0
	for i, v := range g.V {
		g.V[i] = float32(math.Sqrt(float64(v)))
		sum += float64(g.V[i])
	}
	for i := range g.V {
		g.V[i] *= float32(float64(len(g.V)) / sum)
	}
	return g
}

// squares is the mean of the squares of n Gaussian fields of the bottom's grain.
func (b plainBottom) squares(t testing.TB, rng *rand.Rand, rows, cols, n int) *features.Grid {
	t.Helper()
	out := newGrid(t, rows, cols)
	white := newGrid(t, rows+2*b.grain, cols+2*b.grain) // mirrored edges are cut off
	mean := newGrid(t, white.Rows, white.Cols)
	for range n {
		for i := range white.V {
			white.V[i] = float32(rng.NormFloat64())
		}
		if err := features.BoxMean(mean, white, b.grain, b.grain); err != nil {
			t.Fatal(err)
		}
		for r := range rows {
			dst := out.Row(r)
			for c, v := range mean.Row(r + b.grain)[b.grain : b.grain+cols] {
				dst[c] += v * v * float32(b.grain*b.grain) / float32(n)
			}
		}
	}
	return out
}

// addRatios adds to each window's count, above and below plain bottom, the part of a side that lies past the threshold for a chance, over
// that chance.
func addRatios(t *testing.T, g *features.Grid, chance float64, n *[2 * len(scales)]float64) {
	t.Helper()
	s := starboardOf(t, g, allValid(g), false)
	lv, err := level(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	seg := &segments{}
	if err := seg.average(lv, nil); err != nil {
		t.Fatal(err)
	}
	for j, f := range seg.fields {
		hi, lo := f.normal.tails.over(chance), f.normal.tails.under(chance)
		for _, v := range f.mean.V {
			if v > hi {
				n[2*j] += 1 / chance / float64(len(f.mean.V))
			} else if v < lo {
				n[2*j+1] += 1 / chance / float64(len(f.mean.V))
			}
		}
	}
}

// The share of plain bottom that passes a seed threshold is meant to be the chance that the threshold is designed for, from 0.8 to 1.25
// times, whatever the display and the bottom. That is reached in 127 of 144 cells and missed in 17. All that miss are highlights', too few
// pass, and the bottom's grain is 3 pixels or 5: 13 are of the finest window, where as little as 0.31 of the share passes, 4 of the next.
// What it costs is faint highlights on coarse-grained bottom, not false ones. The test fails when one of the 127 (+) leaves the bounds.
// The 17 (-) it only prints, so it would not notice if they got worse. Nothing that holds may be made a -.
//
// The chance here is 1e-3, of which 8 million pixels hold enough to tell. None of the scales is designed for so much: how the ratio is at
// their own chances stands below the table, and there most of it lies over the bounds.
//
// Measured, windows of 3, 6 and 14 pixels, each above and below; standard errors are 0.01 to 0.05, for the widest window up to 0.1:
//
//	bottom                  display        3           6          14
//	Rayleigh, grain 1       linear       1.06  1.04  1.02  1.03  1.08  1.09
//	Rayleigh, grain 1       square root  1.02  1.03  0.98  0.99  1.06  1.08
//	Rayleigh, grain 1       intensity    0.99  1.03  1.02  1.03  1.12  1.09
//	Rayleigh, grain 1       logarithmic  1.03  0.99  0.99  0.99  1.01  1.07
//	Rayleigh, grain 3       linear       0.71  1.14  0.95  1.03  1.02  1.10
//	Rayleigh, grain 3       square root  0.67  1.13  0.96  1.04  1.06  1.09
//	Rayleigh, grain 3       intensity    0.71  1.14  0.89  1.00  0.99  1.07
//	Rayleigh, grain 3       logarithmic  0.67  1.15  0.98  1.03  1.08  1.09
//	Rayleigh, grain 5       linear       0.61  1.04  0.82  0.96  1.13  1.01
//	Rayleigh, grain 5       square root  0.56  1.04  0.79  0.94  1.12  1.03
//	Rayleigh, grain 5       intensity    0.59  1.10  0.76  0.98  1.05  0.99
//	Rayleigh, grain 5       logarithmic  0.63  1.04  0.80  0.95  1.12  1.09
//	K of shape 4, grain 1   linear       1.03  1.04  1.05  1.01  1.08  1.07
//	K of shape 4, grain 1   square root  1.01  1.03  1.02  1.02  1.02  1.05
//	K of shape 4, grain 1   intensity    0.86  0.99  1.02  0.91  1.10  1.13
//	K of shape 4, grain 1   logarithmic  1.02  1.01  1.01  1.02  1.03  1.03
//	K of shape 4, grain 3   linear       0.84  1.09  1.00  1.05  1.01  1.06
//	K of shape 4, grain 3   square root  0.81  1.09  1.01  1.05  1.03  1.03
//	K of shape 4, grain 3   intensity    0.56  1.07  0.85  0.96  0.96  1.08
//	K of shape 4, grain 3   logarithmic  0.82  1.12  1.03  1.05  1.03  1.02
//	K of shape 4, grain 5   linear       0.70  1.02  0.88  1.01  1.00  1.06
//	K of shape 4, grain 5   square root  0.68  1.01  0.88  1.04  1.04  1.04
//	K of shape 4, grain 5   intensity    0.31  1.07  0.65  0.96  0.95  1.01
//	K of shape 4, grain 5   logarithmic  0.75  1.05  0.90  1.08  1.05  1.06
//
// (The 0.80 of grain 5, logarithmic, window 6 is a miss before it is rounded.)
//
// At the chances that the scales are designed for (2e-7 to 1e-4) no test holds the ratio: to tell it takes over 100 million pixels each.
// Measured once, in the table's order, Rayleigh of grain 1 gives 1.9 2.9 1.8 1.3 1.2 1.4 at linear, 1.7 2.6 1.7 1.3 1.2 1.4 at square
// root, 1.5 2.9 1.6 1.3 1.2 1.3 at intensity and 1.4 3.2 1.5 1.3 1.3 1.4 at logarithmic displays: much the same at each, but 3 of 24 are
// within the bounds, and of the finest window's shadows three times as many pass as designed. Grain 3 at linear displays gives
// 0.1 6.0 1.0 1.0 1.2 1.3. A highlight's finest window is too small for means there: speckle that is alike over it reaches less far than
// any law of its body says.
func TestFalseAlarmRatio(t *testing.T) {
	const rows, cols, pictures, chance, least, most = 500, 1000, 16, 1e-3, 0.8, 1.25
	for i, tt := range []struct {
		bottom plainBottom
		holds  map[string]string // by display, as in the table
	}{
		{plainBottom{0, 1}, map[string]string{
			"linear": "++++++", "square root": "++++++", "intensity": "++++++", "logarithmic": "++++++",
		}},
		{plainBottom{0, 3}, map[string]string{
			"linear": "-+++++", "square root": "-+++++", "intensity": "-+++++", "logarithmic": "-+++++",
		}},
		{plainBottom{0, 5}, map[string]string{
			"linear": "-+++++", "square root": "-+-+++", "intensity": "-+-+++", "logarithmic": "-+-+++",
		}},
		{plainBottom{4, 1}, map[string]string{
			"linear": "++++++", "square root": "++++++", "intensity": "++++++", "logarithmic": "++++++",
		}},
		{plainBottom{4, 3}, map[string]string{
			"linear": "++++++", "square root": "++++++", "intensity": "-+++++", "logarithmic": "++++++",
		}},
		{plainBottom{4, 5}, map[string]string{
			"linear": "-+++++", "square root": "-+++++", "intensity": "-+-+++", "logarithmic": "-+++++",
		}},
	} {
		t.Run(tt.bottom.String(), func(t *testing.T) {
			t.Parallel()
			sums := make([][2 * len(scales)]float64, len(displays))
			for p := range pictures {
				amplitude := tt.bottom.draw(t, seeded(uint64(1000*(i+1)+p)), rows, cols)
				for k, d := range displays {
					if tt.holds[d.name] == "" {
						continue
					}
					g := newGrid(t, rows, cols)
					for j, a := range amplitude.V {
						g.V[j] = clip01(d.draw(float64(a)))
					}
					addRatios(t, g, chance, &sums[k])
				}
			}
			for k, d := range displays {
				holds := tt.holds[d.name]
				if holds == "" {
					continue
				}
				told := fmt.Sprintf("%-24s%-11s", tt.bottom, d.name)
				for c, sum := range sums[k] {
					ratio := sum / pictures
					told += fmt.Sprintf("  %.3f", ratio)
					if holds[c] == '+' && !(ratio >= least && ratio <= most) {
						t.Errorf("%s, window %d, %s: %.2f times the designed share", d.name, scales[c/2].window,
							[...]string{"above", "below"}[c%2], ratio)
					}
				}
				t.Log(told)
			}
		})
	}
}
