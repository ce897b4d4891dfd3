package features

import (
	"math"
	"math/rand/v2"
	"testing"
)

// blots draws soft blots from a seed into a picture of any size.
func blots(seed uint64, rows, cols int, shade func(x, y, v float64) float64) []uint8 {
	rng := rand.New(rand.NewPCG(seed, seed))
	type blot struct{ x, y, r, v float64 }
	var all [30]blot
	for i := range all {
		all[i] = blot{rng.Float64(), rng.Float64(), 0.03 + 0.1*rng.Float64(), 60 * rng.NormFloat64()}
	}
	out := make([]uint8, rows*cols)
	for i := range out {
		x, y := (float64(i%cols)+0.5)/float64(cols), (float64(i/cols)+0.5)/float64(rows)
		v := 120.0
		for _, b := range all {
			v += b.v * math.Exp(-((x-b.x)*(x-b.x)+(y-b.y)*(y-b.y))/(2*b.r*b.r))
		}
		out[i] = uint8(min(max(shade(x, y, v), 0), 255))
	}
	return out
}

func TestPattern(t *testing.T) {
	plain := func(_, _, v float64) float64 { return v }
	pattern := func(seed uint64, rows, cols int, shade func(x, y, v float64) float64) *Pattern {
		return NewSums(blots(seed, rows, cols, shade), rows, cols).Pattern(Point{}, Point{X: float64(cols), Y: float64(rows)})
	}
	base := pattern(1, 200, 300, plain)
	for _, tt := range []struct {
		name        string
		p           *Pattern
		least, most float64
	}{
		{"itself", base, 0.999, 1},
		{"at another size", pattern(1, 71, 410, plain), 0.98, 1},
		{"strong echoes dark", pattern(1, 100, 300, func(_, _, v float64) float64 { return 255 - v }), 0.9, 1},
		{"a step of the gain and a line", pattern(1, 200, 300, func(x, y, v float64) float64 {
			if y > 0.6 {
				v /= 2
			}
			if x > 0.47 && x < 0.5 {
				v /= 4
			}
			return v
		}), 0.85, 1},
		{"other blots", pattern(2, 200, 300, plain), 0, 0.3},
		{"one shade", pattern(1, 50, 50, func(_, _, _ float64) float64 { return 90 }), 0, 0},
	} {
		if got := base.Alike(tt.p); got < tt.least || got > tt.most {
			t.Errorf("%s: alike by %.3f, want %.2f to %.2f", tt.name, got, tt.least, tt.most)
		}
	}
}

// Boxes may begin and end between pixels.
func TestSumsBetweenPixels(t *testing.T) {
	s := NewSums([]uint8{10, 20, 30, 40, 50, 60}, 2, 3)
	for _, tt := range []struct{ x, y, want float64 }{
		{0, 0, 0}, {3, 2, 210}, {1, 1, 10}, {1.5, 1, 20}, {3, 0.5, 30}, {1.5, 1.5, 52.5}, {-1, 5, 0}, {9, 9, 210},
	} {
		if got := s.upTo(tt.x, tt.y); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("up to %g, %g: %g, want %g", tt.x, tt.y, got, tt.want)
		}
	}
}

// The lamp over a photographed screen shines on all of its parts, which doesn't make them drawings of one record.
func TestPatternUnderALamp(t *testing.T) {
	lamp := func(x, y, v float64) float64 { return 0.2*v + 200*math.Exp(-4*((x-1)*(x-1)+(y-0.5)*(y-0.5))) }
	of := func(seed uint64) *Pattern {
		return NewSums(blots(seed, 200, 300, lamp), 200, 300).Pattern(Point{}, Point{X: 300, Y: 200})
	}
	a := of(3)
	const others = 12
	mean := 0.0
	for seed := range uint64(others) {
		mean += a.Alike(of(4+seed)) / others
	}
	if mean > 0.4 {
		t.Errorf("other blots: alike by %.2f in the mean, want 0.4 at most", mean)
	}
	if got := a.Alike(of(3)); got < 0.999 {
		t.Errorf("the same blots: alike by %.2f", got)
	}
}

// A grid has the pattern of the picture that it is of.
func TestPatternOf(t *testing.T) {
	const rows, cols = 150, 420
	v := blots(1, rows, cols, func(_, _, v float64) float64 { return v })
	g, err := NewGrid(rows, cols)
	if err != nil {
		t.Fatal(err)
	}
	for i := range v {
		g.V[i] = float32(v[i]) / 255
	}
	base := NewSums(v, rows, cols).Pattern(Point{}, Point{X: cols, Y: rows})
	if got := base.Alike(PatternOf(g)); got < 0.95 {
		t.Errorf("alike by %.3f, want 0.95 and more", got)
	}
}
