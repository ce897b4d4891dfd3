package ruled

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowgap/features"
)

func TestMask(t *testing.T) {
	const rows, cols = 300, 200
	tests := []struct {
		name  string
		nadir float64
		draw  func(g *features.Grid)
		want  []int // columns whose pixels are no echo
	}{
		{"bare", math.NaN(), func(*features.Grid) {}, nil},
		{"a bright line", math.NaN(), func(g *features.Grid) { line(g, 60, rows, 0.5) }, []int{60}},
		{"a dark line", math.NaN(), func(g *features.Grid) { line(g, 60, rows, -0.2) }, []int{60}},
		{"two lines", math.NaN(), func(g *features.Grid) { line(g, 60, rows, 0.5); line(g, 140, rows, 0.5) }, []int{60, 140}},
		{"a post half as high", math.NaN(), func(g *features.Grid) { line(g, 60, rows/2, 0.5) }, nil},
		{"the nadir", 60, func(g *features.Grid) { line(g, 60, rows, 0.5) }, nil},
		{"an edge", math.NaN(), func(g *features.Grid) {
			for x := 60; x < cols; x++ {
				line(g, x, rows, 0.3)
			}
		}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(3, 3))
			g, err := features.NewGrid(rows, cols)
			if err != nil {
				t.Fatal(err)
			}
			valid := make([]uint8, len(g.V))
			for i := range g.V {
				g.V[i], valid[i] = float32(0.2*math.Sqrt(rng.ExpFloat64())), 1
			}
			tt.draw(g)
			if n := Mask(g, valid, tt.nadir); n != len(tt.want) {
				t.Errorf("%d lines, want %d", n, len(tt.want))
			}
			want := make([]uint8, cols)
			for x := range want {
				want[x] = 1
			}
			for _, x := range tt.want {
				want[x] = 0
			}
			for i, v := range valid {
				if v != want[i%cols] {
					t.Fatalf("row %d, column %d: valid is %d, want %d", i/cols, i%cols, v, want[i%cols])
				}
			}
		})
	}
}

func line(g *features.Grid, x, to int, by float32) {
	for r := range to {
		g.Row(r)[x] += by
	}
}
