package detect

import (
	"math"
	"testing"
)

// A shadow is the same stretch whichever part of it its box holds, and what lies beyond plain bottom is no part of it.
func TestStretchOf(t *testing.T) {
	for _, tt := range []struct {
		name   string
		k0, k1 int // the box, of a shadow from 124 to 160
		speck  int // column of a bright speck in all rows, 0 for none
		noise  float64
	}{
		{"all of it", 124, 160, 0, 0},
		{"the near part", 124, 142, 0, 0},
		{"the far part", 142, 160, 0, 0},
		{"the middle", 136, 148, 0, 0},
		{"more than it", 118, 168, 0, 0},
		{"a speck inside", 124, 160, 150, 0},
		{"speckled", 124, 160, 0, 1},
	} {
		lv, c := drawnPair(t, 100, 108, 124, 160, 0)
		rng := seeded(77)
		for i := range lv.q.V {
			if tt.noise > 0 {
				lv.q.V[i] *= float32(rayleigh(rng))
			}
			if k := i % lv.q.Cols; k == tt.speck && tt.speck > 0 || k > 180 && k < 200 {
				lv.q.V[i] = map[bool]float32{true: 9, false: 0}[k == tt.speck]
			}
		}
		s := rect(30, 50, tt.k0, tt.k1)
		got := stretchOf(lv, *c.highlight, s, 0.1, 108)
		if math.Abs(got.from-124) > 2 || math.Abs(got.to-160) > 2 {
			t.Errorf("%s: from %g to %g, drawn from 124 to 160", tt.name, got.from, got.to)
		}
	}
}

// Boxes at the edges of a side, of one row or one pixel, and those whose rows aren't the highlight's give a stretch inside the side.
func TestStretchOfSmallBoxes(t *testing.T) {
	lv, c := drawnPair(t, 100, 108, 124, 160, 0)
	for _, s := range []patch{
		rect(30, 31, 130, 131), rect(0, 1, 0, 1), rect(79, 80, 239, 240), rect(60, 70, 200, 240), rect(30, 50, 90, 100),
	} {
		for _, far := range []float64{0, 108, 240, 300} {
			got := stretchOf(lv, *c.highlight, s, 0.1, far)
			if got.from < 0 || got.to > float64(lv.q.Cols) || got.to < got.from {
				t.Errorf("box %v, far %g: from %g to %g", s.span, far, got.from, got.to)
			}
		}
	}
}

func BenchmarkStretchOf(b *testing.B) {
	g, _ := speckled(b, seeded(5), 400, 1700, 1)
	lv, h, s := &leveled{q: g, sigma: 0.5}, rect(100, 140, 600, 620), rect(100, 140, 620, 700)
	for b.Loop() {
		stretchOf(lv, h, s, 0.4, 620)
	}
}
