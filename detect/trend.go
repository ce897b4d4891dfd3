package detect

import (
	"math"
	"slices"

	"shadowgap/features"
)

const (
	trendRows   = 8  // rows averaged to one cell of the trend map
	trendCols   = 4  // range pixels averaged to one cell of the trend map
	trendWindow = 15 // cells, odd: the trend is a median over 120 rows × 60 range pixels
)

// trend is the slow part of a value over a side: known at cells of trendRows × trendCols, read off in between.
type trend struct {
	cells *features.Grid
	line  []float32 // cells of one picture row, kept between calls
}

// newTrend takes the typical value over the pixels of one region: cell means, their running median over trendWindow cells
// each way, then a light smoothing. The first cols columns of mask, whose rows are stride long, take part. value fills dst
// with as many columns of one row of the side; rows come in order.
func newTrend(rows, cols, stride int, mask []uint8, region uint8, value func(r int, dst []float32)) (*trend, error) {
	cells := meanCells(rows, cols, stride, mask, region, value)
	fillGaps(cells)
	top := 1e-6
	for _, x := range cells.V {
		top = math.Max(top, float64(x))
	}
	// square-root steps keep dark displays from being quantised away in eight bits
	packed := make([]uint8, len(cells.V))
	for i, x := range cells.V {
		packed[i] = uint8(math.Round(255 * math.Sqrt(math.Max(0, float64(x))/top)))
	}
	med, err := windowMedian(packed, cells.Rows, cells.Cols, trendWindow)
	if err != nil {
		return nil, err
	}
	for i, p := range med {
		f := float64(p) / 255
		cells.V[i] = float32(f * f * top)
	}
	w := min(5, odd(cells.Rows), odd(cells.Cols))
	smooth, err := boxMean(cells, w, w)
	if err != nil {
		return nil, err
	}
	return &trend{cells: smooth, line: make([]float32, smooth.Cols)}, nil
}

// row fills dst with the trend along row r of the side, by bilinear interpolation between cell centres.
func (t *trend) row(r int, dst []float32) {
	p := (float64(r)+0.5)/trendRows - 0.5
	a := min(max(int(math.Floor(p)), 0), t.cells.Rows-1)
	z := min(a+1, t.cells.Rows-1)
	f := float32(math.Min(1, math.Max(0, p-float64(a))))
	upper, lower := t.cells.Row(a), t.cells.Row(z)
	for c := range t.line {
		t.line[c] = upper[c] + f*(lower[c]-upper[c])
	}
	// between the centres of two cells lie trendCols pixels, at odd eighths of the way
	const half = trendCols / 2
	for k := range min(half, len(dst)) {
		dst[k] = t.line[0]
	}
	k := half
	for c := 0; c+1 < len(t.line) && k+trendCols <= len(dst); c++ {
		v, d := t.line[c], (t.line[c+1]-t.line[c])/(2*trendCols)
		for i := range dst[k : k+trendCols] {
			dst[k+i] = v + d*float32(2*i+1)
		}
		k += trendCols
	}
	for ; k < len(dst); k++ {
		dst[k] = t.line[len(t.line)-1]
	}
}

// typical is the median over the cells.
func (t *trend) typical() float64 {
	v := slices.Clone(t.cells.V)
	slices.Sort(v)
	return float64(v[len(v)/2])
}

// meanCells averages a value over cells of trendRows × trendCols, pixels of one region only; cells that hold fewer than a
// quarter of such pixels are NaN.
func meanCells(rows, cols, stride int, mask []uint8, region uint8, value func(r int, dst []float32)) *features.Grid {
	out, _ := features.NewGrid((rows+trendRows-1)/trendRows, (cols+trendCols-1)/trendCols)
	sum, n, line := make([]float32, out.Cols), make([]int, out.Cols), make([]float32, cols)
	for b := range out.Rows {
		clear(sum)
		clear(n)
		for r := b * trendRows; r < min(rows, (b+1)*trendRows); r++ {
			value(r, line)
			for k, m := range mask[r*stride : r*stride+cols] {
				if m == region {
					sum[k/trendCols] += line[k]
					n[k/trendCols]++
				}
			}
		}
		dst := out.Row(b)
		for c := range dst {
			dst[c] = float32(math.NaN())
			if n[c]*4 >= trendRows*trendCols {
				dst[c] = sum[c] / float32(n[c])
			}
		}
	}
	return out
}

// fillGaps replaces NaN cells by the nearest known cell of their row, or else of the rows above and below.
func fillGaps(g *features.Grid) {
	known := make([]bool, g.Rows)
	for r := range g.Rows {
		row := g.Row(r)
		last := float32(math.NaN())
		for c := range row {
			if row[c] == row[c] {
				last = row[c]
				known[r] = true
			} else {
				row[c] = last
			}
		}
		for c := len(row) - 1; c >= 0; c-- {
			if row[c] == row[c] {
				last = row[c]
			} else {
				row[c] = last
			}
		}
	}
	for r := range g.Rows {
		if known[r] {
			continue
		}
		from := -1
		for d := 1; d < g.Rows && from < 0; d++ {
			if r-d >= 0 && known[r-d] {
				from = r - d
			} else if r+d < g.Rows && known[r+d] {
				from = r + d
			}
		}
		if from >= 0 {
			copy(g.Row(r), g.Row(from))
		} else {
			clear(g.Row(r))
		}
	}
}

// odd returns the largest odd number not over n, at least 1.
func odd(n int) int { return max(1, n-1+n%2) }
