package finder

import (
	"math"
	"slices"
	"testing"
)

func TestCoarser(t *testing.T) {
	const rows, cols = 64, 96
	planes := make([]uint8, Planes*rows*cols)
	for p := range Planes {
		for y := range rows {
			for x := range cols {
				planes[(p*rows+y)*cols+x] = uint8(10*p + y/2 + x/2 + y%2 + 2*(x%2)) // the mean of four is 1.5 over the first
			}
		}
	}
	s := coarser(planes, rows, cols, slices.Repeat([]uint8{255}, Planes*rows*cols))
	if s.rows != 32 || s.cols != 64 {
		t.Fatalf("%d × %d cells, want 32 × 64", s.rows, s.cols)
	}
	for p := range Planes {
		for y := range s.rows {
			for x := range s.cols {
				want := 10*p + y + min(x, cols/2-1) + 2
				if got := int(s.cells[(p*s.rows+y)*s.cols+x]); got != want {
					t.Fatalf("plane %d, row %d, column %d is %d, want %d", p, y, x, got, want)
				}
			}
		}
	}
	if s := coarser(make([]uint8, Planes*32*32), 32, 32, nil); s.rows != 32 || s.cols != 32 {
		t.Errorf("the least side comes to %d × %d cells", s.rows, s.cols)
	}
}

// look is an answer of one thing in a cell, its highlight's and shadow's boxes in cells of its side from that side's own corner; all cells
// are as hot as heat, or only that one.
func look(planes, rows, cols, y, x int, all bool, heat [Kinds]float32, box [4]float64) []float32 {
	n := rows * cols
	out := make([]float32, planes*n)
	i := y*cols + x
	for k, c := range [...]int{0, 1, 2, SeenShadow} {
		for j := range n {
			out[c*n+j] = -8
			if all || j == i {
				out[c*n+j] = heat[k%Kinds]
			}
		}
	}
	for c, v := range box {
		centre := float64(2*y + 1)
		if c >= 2 {
			centre = float64(2*x + 1)
		}
		out[(HighlightBox+c)*n+i], out[(ShadowBox+c)*n+i] = encode(v-centre), encode(v-centre)
	}
	return out
}

func TestMerge(t *testing.T) {
	const rows, cols, y, x = 16, 24, 7, 10
	box := [4]float64{11, 19, 18, 30} // of the side's cells
	for _, c := range []struct {
		name      string
		near, far [Kinds]float32
		farBox    [4]float64 // as the far look sees it, in cells of the side
		heat      float32    // of the first kind
		closer    float32
		want      [4]float64
	}{
		{"both see it", [Kinds]float32{2, -5, -5}, [Kinds]float32{1, -5, -6}, box, 1.5, 0.5, box},
		{"only the closer look sees it", [Kinds]float32{3, -5, -5}, [Kinds]float32{-7, -7, -7}, [4]float64{0, 2, 0, 2}, -2, 5, box},
		{"only the far look sees it", [Kinds]float32{-7, -7, -7}, [Kinds]float32{3, -5, -5}, [4]float64{3, 27, 6, 36}, -2, -5,
			[4]float64{3, 27, 6, 36}},
		{"they differ in kind", [Kinds]float32{2, 0, -5}, [Kinds]float32{-2, 4, -5}, box, 0, 0, box},
	} {
		near := look(Answers, rows, cols, y, x, false, c.near, box)
		half := [4]float64{c.farBox[0] / 2, c.farBox[1] / 2, c.farBox[2] / 2, c.farBox[3] / 2}
		far := look(Channels, rows/2, cols/2, y/2, x/2, true, c.far, half)
		merge(near, rows, cols, far, rows/2, cols/2)
		const n, i = rows * cols, y*cols + x
		if near[i] != c.heat || near[Closer*n+i] != c.closer {
			t.Errorf("%s: heat %.2f, closer %.2f, want %.2f and %.2f", c.name, near[i], near[Closer*n+i], c.heat, c.closer)
		}
		if want := (c.near[0] + c.far[0]) / 2; near[SeenShadow*n+i] != want {
			t.Errorf("%s: shadow seen %.2f, want %.2f", c.name, near[SeenShadow*n+i], want)
		}
		for k, want := range c.want {
			centre := float64(2*y + 1)
			if k >= 2 {
				centre = float64(2*x + 1)
			}
			for _, first := range [...]int{HighlightBox, ShadowBox} {
				if got := Distance(near[(first+k)*n+i]) + centre; math.Abs(got-want) > 0.05 {
					t.Errorf("%s: side %d of the box at %d lies at %.2f, want %.2f", c.name, k, first, got, want)
				}
			}
		}
	}
}

// Between the middles of cells of twice the size a plane is even, and beyond the outermost as they are.
func TestEnlarge(t *testing.T) {
	const rows, cols, farRows, farCols = 16, 24, 8, 16
	plane := make([]float32, farRows*farCols)
	for y := range farRows {
		for x := range farCols {
			plane[y*farCols+x] = 6*float32(y) - 2*float32(x)
		}
	}
	row, line := make([]float32, cols), make([]float32, farCols)
	at := func(v, n int) float32 { return min(max((float32(v)+0.5)/2-0.5, 0), float32(n-1)) }
	for y := range rows {
		enlarge(row, line, plane, y, betweens(cols, farCols))
		for x, got := range row {
			if want := 6*at(y, farRows) - 2*at(x, farCols); math.Abs(float64(got-want)) > 1e-4 {
				t.Fatalf("row %d, column %d: %.3f, want %.3f", y, x, got, want)
			}
		}
	}
}
