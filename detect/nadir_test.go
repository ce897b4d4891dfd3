package detect

import (
	"math"
	"slices"
	"testing"

	"shadowgap/detect/frame"
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
				line := refineNadir(g, valid, roughNadir(tt.at, off), 8)
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
func roughNadir(at func(r int) float64, off float64) []float64 {
	const rows = 320
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
		line := refineNadir(g, valid, roughNadir(func(int) float64 { return 150 }, 0), 8)
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
	line := refineNadir(g, valid, roughNadir(at, 3), 8)
	for r, x := range line.x {
		if math.Abs(x-at(r)) > 2.5 {
			t.Fatalf("row %d: nadir at %.2f, want %.2f", r, x, at(r))
		}
	}
}

// What lies beside a path is the mean over the rows of each column from it, of what is echo; what is drawn and what lies outside the panel
// are told apart, and lost rows count for nothing.
func TestBeside(t *testing.T) {
	const rows, cols, reach = 40, 60, 30
	g, valid := newGrid(t, rows, cols), make([]uint8, rows*cols)
	path := make([]float64, rows)
	for r := range rows {
		path[r] = 20.5 // the middle of column 20
		for c := range cols {
			g.V[r*cols+c], valid[r*cols+c] = float32(c)/100, 1
			if c == 25 && r < rows/2 {
				g.V[r*cols+c], valid[r*cols+c] = 1, 0 // drawn over
			}
			if r == 6 {
				g.V[r*cols+c], valid[r*cols+c] = 1, 0 // lost
			}
		}
	}
	b := beside(g, valid, path, reach)
	at := func(column int) int { return reach + column - 20 }
	for _, tt := range []struct {
		column                  int
		strength, drawn, inside float64
	}{
		{20, 0.20, 0, 1}, {3, 0.03, 0, 1}, {45, 0.45, 0, 1},
		{25, 0.25, 9.0 / 19, 1},
		{-5, 0, 0, 0},
	} {
		i := at(tt.column)
		off := max(math.Abs(float64(b.Strength[i])-tt.strength), math.Abs(float64(b.Drawn[i])-tt.drawn))
		if off > 1e-6 || float64(b.Inside[i]) != tt.inside {
			t.Errorf("column %d: strength %v, drawn %v, inside %v; want %v, %v, %v",
				tt.column, b.Strength[i], b.Drawn[i], b.Inside[i], tt.strength, tt.drawn, tt.inside)
		}
		if b.Spread[i] > 1e-4 {
			t.Errorf("column %d: spread %v of rows that are alike", tt.column, b.Spread[i])
		}
	}
	// a panel without a row of echo has nothing beside its path
	if b := beside(g, make([]uint8, rows*cols), path, reach); b.Inside[reach] != 0 || b.Strength[reach] != 0 {
		t.Errorf("of lost rows alone: inside %v, strength %v", b.Inside[reach], b.Strength[reach])
	}
}

// The nadir is where the sides meet, not in the middle of what is bright there; one set by hand, and one at the panel's end, stay.
func TestFindNadir(t *testing.T) {
	const rows, cols = 320, 480
	// the pulse is stronger to port, and a line is drawn at the nadir
	draw := func(nadir float64) (*features.Grid, []uint8) {
		rng := seeded(6)
		g, valid := speckled(t, rng, rows, cols, 0.35)
		for r := range rows {
			for c, row := 0, g.Row(r); c < cols; c++ {
				switch u := float64(c) + 0.5 - nadir; {
				case math.Abs(u) < 1.5:
					row[c] = 0.95
				case math.Abs(u) < 70:
					pulse := 0.5 * math.Exp(-math.Abs(u)/10)
					if u > 0 {
						pulse *= 0.3
					}
					row[c] = clip01((0.03 + pulse) * rayleigh(rng))
				}
			}
		}
		return g, valid
	}
	var d Detector
	defer d.Close()
	for _, tt := range []struct {
		name         string
		nadir, rough float64
		opt          Options
		want, within float64
	}{
		{"a rough path to port of it", 240, 235, Options{}, 240, 1},
		{"to starboard of it", 240, 244, Options{}, 240, 1},
		{"set by hand", 240, 240, Options{NadirX: 240}, 240, 2.5},
		{"at the panel's end", 4, 4, Options{}, 4, 2.5},
	} {
		g, valid := draw(tt.nadir)
		p := &frame.Panel{Echo: g, Valid: valid, Nadir: roughNadir(func(int) float64 { return tt.rough }, 0), CellPx: 4}
		line, err := d.findNadir(p, valid, tt.opt)
		if err != nil {
			t.Fatal(err)
		}
		for r, x := range line.x {
			if math.Abs(x-tt.want) > tt.within {
				t.Errorf("%s: row %d at %.2f, want %.1f within %.1f", tt.name, r, x, tt.want, tt.within)
				break
			}
		}
	}
	if line, err := d.findNadir(&frame.Panel{}, nil, Options{}); line != nil || err != nil {
		t.Errorf("a panel without a nadir: %v, %v", line, err)
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
