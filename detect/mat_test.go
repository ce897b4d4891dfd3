package detect

import (
	"math"
	"testing"

	"shadowgap/features"
)

// meanAround is the mean over a window with the picture mirrored about its edge pixels (…3 2 1 0 1 2 3…), cell by cell.
func meanAround(g *features.Grid, r, c, rows, cols int) float64 {
	mirror := func(i, n int) int {
		for i < 0 || i >= n {
			if i < 0 {
				i = -i
			} else {
				i = 2*n - 2 - i
			}
		}
		return i
	}
	sum := 0.0
	for y := r - rows/2; y <= r+rows/2; y++ {
		for x := c - cols/2; x <= c+cols/2; x++ {
			sum += float64(g.At(mirror(y, g.Rows), mirror(x, g.Cols)))
		}
	}
	return sum / float64(rows*cols)
}

// Grids are averaged band by band; nothing of the bands shows.
func TestBoxMeansAcrossBands(t *testing.T) {
	rng := seeded(5)
	for _, tt := range []struct {
		rows, cols int
		windows    [][2]int
	}{
		{3, 3, [][2]int{{3, 3}}},
		{7, 40, [][2]int{{7, 7}, {1, 3}}},
		{2*bandPixels/600 + 1, 600, [][2]int{{3, 3}, {15, 15}}}, // the last band has one row
		{bandPixels / 300, 300, [][2]int{{5, 1}}},
		{40, bandPixels, [][2]int{{7, 3}}}, // a row fills a band
	} {
		g := newGrid(t, tt.rows, tt.cols)
		for i := range g.V {
			g.V[i] = float32(rng.Float64())
		}
		means, err := boxMeans(g, tt.windows, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, w := range tt.windows {
			for range 4000 {
				r, c := rng.IntN(g.Rows), rng.IntN(g.Cols)
				if want := meanAround(g, r, c, w[0], w[1]); math.Abs(float64(means[i].At(r, c))-want) > 1e-5 {
					t.Fatalf("%d × %d, window %v: %v at row %d, column %d, want %v", g.Rows, g.Cols, w, means[i].At(r, c), r, c, want)
				}
			}
		}
	}
}

func TestBoxMeansRefuse(t *testing.T) {
	g := newGrid(t, 4, 9)
	for _, w := range [][2]int{{2, 3}, {3, 2}, {5, 3}, {3, 11}, {0, 1}, {-1, 3}} {
		if _, err := boxMeans(g, [][2]int{w}, nil); err == nil {
			t.Errorf("window %v on 4 × 9: no error", w)
		}
	}
	if _, err := boxMeans(&features.Grid{Rows: 2, Cols: 2, V: make([]float32, 3)}, [][2]int{{1, 1}}, nil); err == nil {
		t.Error("three values for 2 × 2: no error")
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
