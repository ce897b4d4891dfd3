package features

import (
	"math"
	"math/rand/v2"
	"testing"
)

// meanAround is the mean over a window by its definition, the grid mirrored about its outermost cells (…3 2 1 0 1 2 3…).
func meanAround(g *Grid, r, c, rows, cols int) float64 {
	fold := func(i, n int) int {
		if i < 0 {
			i = -i
		}
		if i >= n {
			i = 2*n - 2 - i
		}
		return i
	}
	sum := 0.0
	for y := r - rows/2; y <= r+rows/2; y++ {
		for x := c - cols/2; x <= c+cols/2; x++ {
			sum += float64(g.At(fold(y, g.Rows), fold(x, g.Cols)))
		}
	}
	return sum / float64(rows*cols)
}

func TestBoxMean(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for _, tt := range []struct{ rows, cols, winRows, winCols int }{
		{3, 3, 3, 3}, {3, 4, 3, 3}, {17, 40, 3, 3}, {1, 9, 1, 3}, {9, 1, 5, 1}, {1, 1, 1, 1}, {7, 7, 7, 7},
		{20, 31, 7, 7}, {20, 31, 15, 3}, {21, 8, 5, 7},
		{7, 40, 1, 3}, {437, 600, 3, 3}, {437, 600, 15, 15}, {436, 300, 5, 1}, {40, 1 << 17, 7, 3},
	} {
		g, _ := NewGrid(tt.rows, tt.cols)
		for i := range g.V {
			g.V[i] = float32(rng.ExpFloat64())
		}
		out, _ := NewGrid(tt.rows, tt.cols)
		if err := BoxMean(out, g, tt.winRows, tt.winCols); err != nil {
			t.Fatal(err)
		}
		const whole = 4000 // a larger grid is looked at in so many places
		places := rng.Perm(len(g.V))
		for _, i := range places[:min(len(places), whole)] {
			r, c := i/g.Cols, i%g.Cols
			want := meanAround(g, r, c, tt.winRows, tt.winCols)
			if got := float64(out.At(r, c)); math.Abs(got-want) > 1e-7*math.Max(1, want) {
				t.Fatalf("%+v: %v at row %d, column %d, want %v", tt, got, r, c, want)
			}
		}
	}
}

func TestBoxMeanRefuses(t *testing.T) {
	g, _ := NewGrid(4, 9)
	out, _ := NewGrid(4, 9)
	for _, w := range [][2]int{{2, 3}, {3, 2}, {5, 3}, {3, 11}, {0, 1}, {-1, 3}} {
		if err := BoxMean(out, g, w[0], w[1]); err == nil {
			t.Errorf("window %v on 4 × 9: no error", w)
		}
	}
	if err := BoxMean(out, &Grid{Rows: 4, Cols: 9, V: make([]float32, 3)}, 1, 1); err == nil {
		t.Error("three values for 4 × 9: no error")
	}
	if err := BoxMean(&Grid{Rows: 9, Cols: 4, V: make([]float32, 36)}, g, 1, 1); err == nil {
		t.Error("9 × 4 for 4 × 9: no error")
	}
}

func BenchmarkBoxMean(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	g, _ := NewGrid(900, 850)
	for i := range g.V {
		g.V[i] = float32(rng.ExpFloat64())
	}
	out, _ := NewGrid(g.Rows, g.Cols)
	for _, n := range []int{3, 7} {
		b.Run(map[int]string{3: "window=3", 7: "window=7"}[n], func(b *testing.B) {
			for b.Loop() {
				if err := BoxMean(out, g, n, n); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
