package features

import "fmt"

// BoxMean fills out, a grid of g's size that shares no memory with it, with the mean over a window of rows × cols centred on each
// cell (odd numbers, no larger than the grid), the grid mirrored about its outermost cells. Sums are kept in double precision, in
// which those of echo strengths are exact, so it makes no difference where on the grid a window lies. It returns an error for
// sizes that don't fit.
func BoxMean(out, g *Grid, rows, cols int) error {
	if err := boxFits(out, g, rows, cols); err != nil {
		return err
	}
	if rows == 3 && cols == 3 {
		boxMean3(out, g)
		return nil
	}
	half := rows / 2
	sums := make([]float64, g.Cols+cols-1) // of the window's columns, mirrored to either side
	inner := sums[cols/2 : cols/2+g.Cols]
	for y := -half; y <= half; y++ {
		for c, v := range g.Row(mirrored(y, g.Rows)) {
			inner[c] += float64(v)
		}
	}
	for r := range g.Rows {
		if r > 0 {
			old, fresh := g.Row(mirrored(r-half-1, g.Rows)), g.Row(mirrored(r+half, g.Rows))
			for c, v := range fresh[:len(inner)] {
				inner[c] += float64(v) - float64(old[c])
			}
		}
		for i := range cols / 2 {
			sums[i] = inner[cols/2-i]
			sums[len(sums)-1-i] = inner[len(inner)-1-cols/2+i]
		}
		slideMean(out.Row(r), sums, cols, 1/float64(rows*cols))
	}
	return nil
}

// boxFits returns an error where BoxMean's grids and window don't fit each other.
func boxFits(out, g *Grid, rows, cols int) error {
	if g.Rows <= 0 || g.Cols <= 0 || len(g.V) != g.Rows*g.Cols {
		return fmt.Errorf("box mean: grid of %d × %d holds %d values", g.Rows, g.Cols, len(g.V))
	}
	if out.Rows != g.Rows || out.Cols != g.Cols || len(out.V) != len(g.V) {
		return fmt.Errorf("box mean: %d values for %d × %d on a grid of %d × %d", len(out.V), out.Rows, out.Cols, g.Rows, g.Cols)
	}
	if rows%2 == 0 || cols%2 == 0 || rows < 1 || cols < 1 || rows > g.Rows || cols > g.Cols {
		return fmt.Errorf("box mean: window of %d × %d on a grid of %d × %d", rows, cols, g.Rows, g.Cols)
	}
	return nil
}

// slideMean writes the sum of each n neighbours, times scale.
func slideMean(dst []float32, v []float64, n int, scale float64) {
	sum := 0.0
	for _, x := range v[:n-1] {
		sum += x
	}
	last := 0.0 // what leaves the window with the next step
	first, next := v[:len(dst)], v[n-1:]
	for c, x := range next[:len(dst)] {
		sum += x - last
		dst[c] = float32(sum * scale)
		last = first[c]
	}
}

// boxMean3 is BoxMean of 3 × 3 cells, the commonest window, in one pass.
func boxMean3(out, g *Grid) {
	const scale = 1.0 / 9
	n := g.Cols
	for r := range g.Rows {
		here := g.Row(r)
		above, below := g.Row(mirrored(r-1, g.Rows))[:len(here)], g.Row(mirrored(r+1, g.Rows))[:len(here)]
		column := func(c int) float64 { return float64(above[c]) + float64(here[c]) + float64(below[c]) }
		dst := out.Row(r)[:len(here)]
		mid, right := column(0), column(1)
		left := right
		for c := 2; c < len(here); c++ {
			dst[c-2] = float32((left + mid + right) * scale)
			left, mid = mid, right
			right = float64(above[c]) + float64(here[c]) + float64(below[c])
		}
		dst[n-2] = float32((left + mid + right) * scale)
		dst[n-1] = float32((mid + right + mid) * scale)
	}
}

// mirrored returns the row (or column) that stands for i, which may lie outside the n there are.
func mirrored(i, n int) int {
	if i < 0 {
		return -i
	}
	if i >= n {
		return 2*n - 2 - i
	}
	return i
}
