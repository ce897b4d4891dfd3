package detect

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// What a screen may do to echo amplitude (0 to 1 in and out): displays differ in gain, gamma and compression.
var displays = []struct {
	name string
	draw func(a float64) float64
}{
	{"linear", func(a float64) float64 { return 0.2 * a }},
	{"linear, bright", func(a float64) float64 { return 0.3 * a }},
	{"square root", func(a float64) float64 { return 0.35 * math.Sqrt(a) }},
	{"intensity", func(a float64) float64 { return 0.1 * a * a }},
	// 40 dB from black to full scale, the mean echo at 0.55
	{"logarithmic", func(a float64) float64 { return 0.55 + math.Log10(math.Max(a, 1e-6))/2 }},
}

const megapixel = 1e6

// A constant false-alarm rule must hold whatever the display does. Seeds pass at a stated chance a pixel, so over N pixels
// of plain speckle the expected number of seeds is N times that chance. Sources: Rayleigh amplitude for one look; for means
// over windows the normal quantile that the chance is defined by (the central limit; exact closed forms exist only for
// intensity of known shape, M.A. Richards, Fundamentals of Radar Signal Processing, 2nd ed., section 6.5.3).
//
// Tolerance: the seeds of one w × w window come in clumps, so N pixels hold about N/w² independent looks: at chance 1e-3 and
// w = 15 the 2.5 million pixels here hold 11 independent exceedances, a standard error of 30 %, and the power that
// normalises them is fitted to 20 % and 80 % quantiles, not to the tail. At most 2.5 times the stated chance holds both;
// below, 4 times too few is let pass, since the skew of a logarithmic display is only partly in reach of a power.
func TestFalseAlarmRateOnSpeckle(t *testing.T) {
	const rows, cols, pictures = 500, 1000, 5
	for _, d := range displays {
		t.Run(d.name, func(t *testing.T) {
			beyond := make([]float64, 2*len(scales))
			highlights, shadows, pixels := 0, 0, 0.0
			for p := range pictures {
				rng := seeded(uint64(100 + p))
				g := newGrid(t, rows, cols)
				for i := range g.V {
					g.V[i] = clip01(d.draw(rayleigh(rng)))
				}
				s := starboardOf(t, g, allValid(g), false)
				lv, err := level(s, nil)
				if err != nil {
					t.Fatal(err)
				}
				seg, err := segment(s, lv)
				if err != nil {
					t.Fatal(err)
				}
				highlights += len(seg.highlights)
				shadows += len(seg.shadows)
				pixels += rows * cols
				const chance = 1e-3
				for j, f := range seg.fields {
					hi, lo := f.normal.tails.over(chance), f.normal.tails.under(chance)
					q, w := lv.q, scales[j].window
					if f.step > 1 {
						if q, _, err = halved(lv.q, lv.mask, nil); err != nil {
							t.Fatal(err)
						}
					}
					mean, err := boxMean(q, w/f.step, w/f.step, nil)
					if err != nil {
						t.Fatal(err)
					}
					for _, v := range mean.V {
						if v > hi {
							beyond[2*j] += float64(f.step * f.step)
						} else if v < lo {
							beyond[2*j+1] += float64(f.step * f.step)
						}
					}
				}
			}
			for j, n := range beyond {
				share := n / pixels
				t.Logf("window %d, %s: %.2g of pixels beyond the threshold for 1e-3", scales[j/2].window, [...]string{"above", "below"}[j%2], share)
				if share > 2.5e-3 || share < 1e-3/4 {
					t.Errorf("window %d, %s: %.2g of pixels lie beyond the threshold for 1e-3", scales[j/2].window,
						[...]string{"above", "below"}[j%2], share)
				}
			}
			perMP := float64(highlights+shadows) * megapixel / pixels
			t.Logf("%.1f highlights and %.1f shadows a megapixel", float64(highlights)*megapixel/pixels, float64(shadows)*megapixel/pixels)
			if bound := mostPatches(); perMP > bound {
				t.Errorf("%.1f patches a megapixel of plain speckle, want at most %.1f", perMP, bound)
			}
		})
	}
}

// mostPatches is how many patches the stated chances p allow a megapixel. Means over w × w pixels of white speckle have the
// correlation (1 - |dx|/w)(1 - |dy|/w), for which the clumps of exceedances of a high level z number (z²/w)² p a pixel, and
// never more than p (J. Pickands, Upcrossing probabilities for stationary Gaussian processes, Trans. AMS 145, 1969, with his
// constant 1 for each direction; from memory, unverified). Growing joins clumps, so this is a bound; the factor of 2.5 is
// that of the chances.
func mostPatches() float64 {
	n := 0.0
	for _, sc := range scales {
		for _, p := range [...]float64{sc.highlight, sc.shadow} {
			z := distuv.UnitNormal.Quantile(1 - p)
			n += math.Min(1, math.Pow(z, 4)/float64(sc.window*sc.window)) * p * megapixel
		}
	}
	return 2.5 * n
}

// The rule still sees what stands out, at every display.
func TestSegmentFindsThings(t *testing.T) {
	for _, d := range displays {
		g := newGrid(t, 240, 400)
		rng := seeded(41)
		thing, shade := span{100, 112, 200, 210}, span{100, 112, 210, 250}
		faint := span{30, 70, 100, 150} // broad and weak: only a wide window sees it
		for r := range g.Rows {
			for k := range g.Cols {
				a := rayleigh(rng)
				switch at := (span{r, r + 1, k, k + 1}); {
				case inside(at, thing):
					a *= 5
				case inside(at, shade):
					a *= 0.05
				case inside(at, faint):
					a *= 1.8
				}
				g.V[r*g.Cols+k] = clip01(d.draw(a))
			}
		}
		s := starboardOf(t, g, allValid(g), false)
		lv, err := level(s, nil)
		if err != nil {
			t.Fatal(err)
		}
		seg, err := segment(s, lv)
		if err != nil {
			t.Fatal(err)
		}
		if !found(seg.highlights, thing, 0.5) {
			t.Errorf("%s: the highlight isn't among %d", d.name, len(seg.highlights))
		}
		if !found(seg.shadows, shade, 0.5) {
			t.Errorf("%s: the shadow isn't among %d", d.name, len(seg.shadows))
		}
		if !found(seg.highlights, faint, 0.3) {
			t.Errorf("%s: the broad faint patch isn't among %d highlights", d.name, len(seg.highlights))
		}
		for _, p := range append(seg.highlights, seg.shadows...) {
			n := 0
			for _, run := range p.runs {
				n += run.Col1 - run.Col0
				if run.Row < p.r0 || run.Row >= p.r1 || run.Col0 < p.k0 || run.Col1 > p.k1 {
					t.Errorf("%s: a run lies outside its patch", d.name)
				}
			}
			if n != p.area {
				t.Errorf("%s: area %d, runs hold %d", d.name, p.area, n)
			}
		}
	}
}

func inside(a, b span) bool { return a.r0 >= b.r0 && a.r1 <= b.r1 && a.k0 >= b.k0 && a.k1 <= b.k1 }

// found tells whether a patch's box overlaps want by a share of what both cover together.
func found(ps []patch, want span, share float64) bool {
	for _, p := range ps {
		r, k := min(p.r1, want.r1)-max(p.r0, want.r0), min(p.k1, want.k1)-max(p.k0, want.k0)
		if r <= 0 || k <= 0 {
			continue
		}
		in := float64(r * k)
		if in/(float64(p.rows()*p.cols()+want.rows()*want.cols())-in) >= share {
			return true
		}
	}
	return false
}

// Nothing but furniture, or too small for any window: no patches, no crash.
func TestSegmentSmallOrCovered(t *testing.T) {
	g, valid := speckled(t, seeded(42), 2, 40, 0.2)
	s := starboardOf(t, g, valid, false)
	lv, err := level(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	seg, err := segment(s, lv)
	if err != nil {
		t.Fatal(err)
	}
	if len(seg.highlights)+len(seg.shadows) > 0 {
		t.Errorf("patches in two rows: %+v", seg)
	}
}

func TestHalvedKeepsOddEdges(t *testing.T) {
	g := newGrid(t, 3, 5)
	for i := range g.V {
		g.V[i] = float32(i)
	}
	mask := make([]uint8, len(g.V))
	for i := range mask {
		mask[i] = uint8(i)
	}
	half, in, err := halved(g, mask, nil)
	if err != nil {
		t.Fatal(err)
	}
	if half.Rows != 2 || half.Cols != 3 {
		t.Fatalf("%d × %d, want 2 × 3", half.Rows, half.Cols)
	}
	for i, want := range []float32{3, 5, 6.5, 10.5, 12.5, 14} {
		if half.V[i] != want {
			t.Errorf("cell %d is %v, want %v", i, half.V[i], want)
		}
	}
	for i, want := range []uint8{0, 2, 4, 10, 12, 14} {
		if in[i] != want {
			t.Errorf("cell %d belongs to pixel %d, want %d", i, in[i], want)
		}
	}
}
