package detect

import (
	"math"
	"slices"
	"testing"

	"shadowgap/features"
)

// nadirPanel draws speckled bottom, a dark water column of the given half width and a bright band around the column that at
// gives for a row (pixel edges).
func nadirPanel(t *testing.T, seed uint64, rows, cols int, water, band float64, at func(r int) float64) (*features.Grid, []uint8) {
	rng := seeded(seed)
	g, valid := speckled(t, rng, rows, cols, 0.35)
	for r := range rows {
		for c, row := 0, g.Row(r); c < cols; c++ {
			switch d := math.Abs(float64(c) + 0.5 - at(r)); {
			case d < band:
				row[c] = clip01(0.85 + 0.05*rng.NormFloat64())
			case d < water:
				row[c] = clip01(0.04 * rayleigh(rng))
			}
		}
	}
	return g, valid
}

func TestRefineNadir(t *testing.T) {
	const rows, cols = 320, 480
	for _, tt := range []struct {
		name        string
		water, band float64
		at          func(r int) float64
	}{
		{"in the middle", 60, 3, func(int) float64 { return 240 }},
		{"off centre", 50, 2.5, func(int) float64 { return 101.5 }},
		{"wandering", 60, 3, func(r int) float64 { return 250 + 5*math.Sin(float64(r)/75) }},
		{"tilted, as in a photo of a screen", 60, 3, func(r int) float64 { return 220 + 0.08*float64(r) }},
		{"broad band", 70, 9, func(int) float64 { return 300 }},
		{"a pixel wide", 60, 0.6, func(int) float64 { return 200.5 }},
		{"at the left edge", 60, 4, func(int) float64 { return 0 }},
		{"at the right edge", 60, 4, func(int) float64 { return cols }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			g, valid := nadirPanel(t, 1, rows, cols, tt.water, tt.band, tt.at)
			for _, off := range []float64{-4, 0, 4} {
				line := refineNadir(g, valid, roughNadir(rows, tt.at, off), 8)
				for r, x := range line.x {
					if math.Abs(x-tt.at(r)) > 2 {
						t.Fatalf("rough path off by %v, row %d: nadir at %.2f, want %.2f", off, r, x, tt.at(r))
					}
				}
			}
		})
	}
}

// roughNadir is a path that is off by so many pixels, as the map's may be.
func roughNadir(rows int, at func(r int) float64, off float64) []float64 {
	out := make([]float64, rows)
	for r := range out {
		out[r] = at(r) + off
	}
	return out
}

// Where no band stands the rough path is kept.
func TestRefineNadirWithoutBand(t *testing.T) {
	const rows, cols = 320, 480
	bottom, valid := speckled(t, seeded(2), rows, cols, 0.35)
	water, _ := speckled(t, seeded(3), rows, cols, 0.03)
	for i := range water.V {
		if c := i % cols; c > 200 { // water to the left, bottom to the right, no band
			water.V[i] = bottom.V[i]
		}
	}
	for name, g := range map[string]*features.Grid{"bottom only": bottom, "water beside bottom": water, "black": newGrid(t, rows, cols)} {
		line := refineNadir(g, valid, roughNadir(rows, func(int) float64 { return 150 }, 0), 8)
		for r, x := range line.x {
			if math.Abs(x-150) > 4 {
				t.Errorf("%s: row %d: nadir at %.1f, score %.2f; want the rough path's 150", name, r, x, line.score)
				break
			}
		}
	}
}

// Rows that a bar or a text covers don't pull the line.
func TestRefineNadirUnderFurniture(t *testing.T) {
	const rows, cols = 320, 480
	at := func(r int) float64 { return 220 + float64(r)/20 }
	g, valid := nadirPanel(t, 4, rows, cols, 60, 3, at)
	for r := 96; r < 128; r++ {
		for c := 100; c < 400; c++ {
			g.V[r*cols+c], valid[r*cols+c] = 1, 0
		}
	}
	line := refineNadir(g, valid, roughNadir(rows, at, 3), 8)
	for r, x := range line.x {
		if math.Abs(x-at(r)) > 2.5 {
			t.Fatalf("row %d: nadir at %.2f, want %.2f", r, x, at(r))
		}
	}
}

func TestDropBadRows(t *testing.T) {
	const rows, cols = 200, 300
	for _, tt := range []struct {
		name string
		bad  []int
		v    float32
	}{
		{"none", nil, 0},
		{"lost", []int{3, 50, 120, 121}, 0},
		{"interference", []int{10, 77}, 0.9},
	} {
		g, valid := speckled(t, seeded(5), rows, cols, 0.3)
		want := map[int]bool{}
		for _, r := range tt.bad {
			want[r] = true
			for c := range cols {
				g.V[r*cols+c] = tt.v
			}
		}
		kept, n := dropBadRows(g, valid)
		if n != len(tt.bad) {
			t.Errorf("%s: %d rows dropped, want %d", tt.name, n, len(tt.bad))
		}
		if !slices.Equal(valid, allValid(g)) {
			t.Errorf("%s: the panel's own flags were changed", tt.name)
		}
		for r := range rows {
			if (kept[r*cols] == 0) != want[r] {
				t.Errorf("%s: row %d valid %v", tt.name, r, kept[r*cols])
			}
		}
	}
}
