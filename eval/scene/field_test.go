package scene

import (
	"math"
	"testing"
)

// Speckle of L looks and its K-distributed kin, closed forms: a gamma variate of mean 1 and shape L has variance 1/L; a product of
// two of shapes L and nu has (1 + 1/L)(1 + 1/nu) - 1.
func TestGrain(t *testing.T) {
	for _, tt := range []struct {
		name          string
		r             Record
		variance, rho float64
	}{
		{"1.2 looks", Record{Looks: 1.2}, 1 / 1.2, 0},
		{"2.7 looks", Record{Looks: 2.7}, 1 / 2.7, 0},
		{"K", Record{Looks: 3, KShape: 2}, (1+1.0/3)*(1+0.5) - 1, 0},
		// At many looks a gamma variate is nearly normal, so scores and variates correlate alike.
		{"along track", Record{Looks: 50, AlongRho: 0.7}, 1.0 / 50, 0.7},
	} {
		const rows, cols = 400, 400
		g := newGrain(&Spec{Seed: 4, Record: tt.r}, starboardSide, cols)
		prev, line := make([]float64, cols), make([]float64, cols)
		var sum, sum2, lag float64
		for r := range rows {
			g.line(r, line)
			for c, v := range line {
				sum, sum2 = sum+v, sum2+v*v
				if r > 0 {
					lag += v * prev[c]
				}
			}
			copy(prev, line)
		}
		const n = rows * cols
		mean := sum / n
		variance := sum2/n - mean*mean
		if math.Abs(mean-1) > 0.01 || math.Abs(variance/tt.variance-1) > 0.04 {
			t.Errorf("%s: mean %.3f, variance %.3f, want 1 and %.3f", tt.name, mean, variance, tt.variance)
		}
		if rho := (lag/(n-cols) - mean*mean) / variance; math.Abs(rho-tt.rho) > 0.04 {
			t.Errorf("%s: correlation from row to row %.3f, want %.2f", tt.name, rho, tt.rho)
		}
	}
}

// The fields have the power law they are asked for, within what steps of octaves allow, and unit variance.
func TestOctaves(t *testing.T) {
	for _, b := range []float64{1, 2, 3} {
		slope, variance := 0.0, 0.0
		const tries = 6
		for seed := range uint64(tries) {
			f := newOctaves(seed*977+3, 1.5, 1, 0, 7, b)
			v := make([]float64, window*window)
			for y := range window {
				f.addTo(v[y*window:(y+1)*window], float64(y), 0, 1, 1)
			}
			sum, sum2 := 0.0, 0.0
			for _, x := range v {
				sum, sum2 = sum+x, sum2+x*x
			}
			n := float64(len(v))
			variance += (sum2/n - sum*sum/n/n) / tries
			slope += slopeOf(v) / tries
		}
		if math.Abs(slope-b) > 0.8 {
			t.Errorf("b = %g: slope %.2f", b, slope)
		}
		if variance < 0.4 || variance > 1.6 {
			t.Errorf("b = %g: variance %.2f", b, variance)
		}
	}
}

// Every kernel keeps a level, and all but nearest keep a ramp away from the edges.
func TestKernels(t *testing.T) {
	for _, k := range []Kernel{KernelArea, KernelNearest, KernelLinear, KernelCubic} {
		for _, n := range []int{40, 100, 237} {
			const m = 100
			taps := kernelTaps(k, m, n)
			for i, tp := range taps {
				sum, at := 0.0, 0.0
				for j, w := range tp.w {
					sum += float64(w)
					at += float64(w) * float64(tp.first+j)
				}
				want := (float64(i)+0.5)*m/float64(n) - 0.5
				tol := 0.06
				if k == KernelNearest || k == KernelArea && n > m {
					tol = 0.51
				}
				if inside := want > 2 && want < m-3; math.Abs(sum-1) > 1e-5 || inside && math.Abs(at-want) > tol {
					t.Errorf("%s %d to %d: sample %d weighs %.4f at %.2f, want 1 at %.2f", k, m, n, i, sum, at, want)
					break
				}
			}
		}
	}
}

// A palette drawn from the seed rises in luminance all the way.
func TestDrawnPalettes(t *testing.T) {
	n := 0
	for seed := int64(100_000); seed < 100_060; seed++ {
		s := Wide(seed)
		if len(s.Display.Stops) == 0 {
			continue
		}
		n++
		c, err := s.Display.colours()
		if err != nil {
			t.Fatal(err)
		}
		for i := 1; i < len(c); i++ {
			// Rounding to 8 bits may take one step back.
			if lum(c[i]) < lum(c[i-1])-1 {
				t.Errorf("seed %d: luminance falls from %d to %d at %d", seed, lum(c[i-1]), lum(c[i]), i)
				break
			}
		}
	}
	if n < 8 {
		t.Errorf("%d drawn palettes in 60 scenes", n)
	}
}
