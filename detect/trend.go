package detect

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
)

// resolution is how finely a trend is known.
type resolution struct {
	rows, cols int // picture rows and range pixels of one cell; cols is a multiple of 4
	step       int // every so manieth row of a cell is averaged: the running median takes care of the rest
	window     int // cells each way, odd, that the running median is taken over
	smooth     int // cells each way, odd, that the mean after it is taken over
}

// resolutionFor suits a trend to the number of pixels it is taken from: a median over some 120 rows × 60 range pixels, of finer cells
// where there are few enough of them for that to cost little.
func resolutionFor(pixels int) resolution {
	const many = 500_000
	if pixels > many {
		return resolution{rows: 16, cols: 8, step: 2, window: 7, smooth: 3}
	}
	return resolution{rows: 8, cols: 4, step: 1, window: 15, smooth: 5}
}

// trend is the slow part of a value over a side: known at cells, read off in between.
type trend struct {
	res   resolution
	cells *features.Grid
	line  []float32 // cells of one picture row, kept between calls
	parts []float32 // how far between the centres of two cells the pixels between them lie
}

// newTrend takes the typical value over the pixels of one region: cell means, their running median, then a light smoothing. The
// first cols columns of mask, whose rows are stride long, take part. value returns as many columns of one row of the side, good
// until its next call; rows come in order.
func newTrend(rows, cols, stride int, mask []uint8, region uint8, value func(r int) []float32) (*trend, error) {
	res := resolutionFor(rows * cols)
	cells := res.meanCells(rows, cols, stride, mask, region, value)
	fillGaps(cells)
	top := 1e-6
	for _, x := range cells.V {
		top = max(top, float64(x))
	}
	// square-root steps keep dark displays from being quantised away in eight bits
	packed := make([]uint8, len(cells.V))
	for i, x := range cells.V {
		packed[i] = uint8(math.Round(255 * math.Sqrt(max(0, float64(x))/top)))
	}
	med, err := features.WindowMedian(packed, cells.Rows, cells.Cols, res.window)
	if err != nil {
		return nil, err
	}
	for i, p := range med {
		f := float64(p) / 255
		cells.V[i] = float32(f * f * top)
	}
	w := min(res.smooth, odd(cells.Rows), odd(cells.Cols))
	smooth, err := boxMean(cells, w, w, nil)
	if err != nil {
		return nil, err
	}
	t := &trend{res: res, cells: smooth, line: make([]float32, smooth.Cols), parts: make([]float32, res.cols)}
	for i := range t.parts {
		t.parts[i] = (float32(i) + 0.5) / float32(res.cols)
	}
	return t, nil
}

// row fills dst with the trend along row r of the side, by bilinear interpolation between cell centres.
func (t *trend) row(r int, dst []float32) {
	t.along(r)
	n := t.res.cols
	for k := range min(n/2, len(dst)) {
		dst[k] = t.line[0]
	}
	k := n / 2
	for c := 0; c+1 < len(t.line) && k+n <= len(dst); c++ {
		v, d := t.line[c], t.line[c+1]-t.line[c]
		for i := 0; i < n; i += 4 {
			to, part := dst[k+i:k+i+4:k+i+4], t.parts[i:i+4:i+4]
			to[0], to[1], to[2], to[3] = v+d*part[0], v+d*part[1], v+d*part[2], v+d*part[3]
		}
		k += n
	}
	for ; k < len(dst); k++ {
		dst[k] = t.line[len(t.line)-1]
	}
}

// times writes src times the trend along row r of the side.
func (t *trend) times(r int, src, dst []float32) {
	t.along(r)
	n := t.res.cols
	dst = dst[:len(src)]
	for k := range min(n/2, len(dst)) {
		dst[k] = src[k] * t.line[0]
	}
	k := n / 2
	for c := 0; c+1 < len(t.line) && k+n <= len(dst); c++ {
		v, d := t.line[c], t.line[c+1]-t.line[c]
		for i := 0; i < n; i += 4 {
			to, from, part := dst[k+i:k+i+4:k+i+4], src[k+i:k+i+4:k+i+4], t.parts[i:i+4:i+4]
			to[0], to[1] = from[0]*(v+d*part[0]), from[1]*(v+d*part[1])
			to[2], to[3] = from[2]*(v+d*part[2]), from[3]*(v+d*part[3])
		}
		k += n
	}
	for ; k < len(dst); k++ {
		dst[k] = src[k] * t.line[len(t.line)-1]
	}
}

// spread multiplies by the trend along row r what v, a row of the side, departs from 1 by; what belongs to another region becomes 1.
func (t *trend) spread(r int, v []float32, in []uint8, region uint8) {
	const four, ones = 4, 0x01010101
	t.along(r)
	n, last := t.res.cols, len(t.line)-1
	k := min(n/2, len(v))
	spreadEvenly(v[:k], in, region, t.line[0])
	whole := uint32(region) * ones
	for c := 0; c < last && k+n <= len(v); c++ {
		at, d := t.line[c], t.line[c+1]-t.line[c]
		for i := 0; i < n; i += four {
			to, m, part := v[k+i:k+i+four:k+i+four], in[k+i:k+i+four:k+i+four], t.parts[i:i+four:i+four]
			if binary.LittleEndian.Uint32(m) == whole {
				to[0], to[1] = 1+(to[0]-1)*(at+d*part[0]), 1+(to[1]-1)*(at+d*part[1])
				to[2], to[3] = 1+(to[2]-1)*(at+d*part[2]), 1+(to[3]-1)*(at+d*part[3])
				continue
			}
			for j := range to {
				spreadEvenly(to[j:j+1], m[j:], region, at+d*part[j])
			}
		}
		k += n
	}
	spreadEvenly(v[k:], in[k:], region, t.line[last])
}

// spreadEvenly is spread by the same everywhere.
func spreadEvenly(v []float32, in []uint8, region uint8, by float32) {
	in = in[:len(v)]
	for i, x := range v {
		v[i] = 1
		if in[i] == region {
			v[i] = 1 + (x-1)*by
		}
	}
}

// along makes t.line the cells along row r.
func (t *trend) along(r int) {
	p := (float64(r)+0.5)/float64(t.res.rows) - 0.5
	a := min(max(int(math.Floor(p)), 0), t.cells.Rows-1)
	z := min(a+1, t.cells.Rows-1)
	f := float32(math.Min(1, math.Max(0, p-float64(a))))
	upper, lower := t.cells.Row(a)[:len(t.line)], t.cells.Row(z)[:len(t.line)]
	for c := range t.line {
		t.line[c] = upper[c] + f*(lower[c]-upper[c])
	}
}

// typical is the median over the cells, or an even choice of a few hundred of them.
func (t *trend) typical() float64 {
	const enough = 500
	step := max(1, len(t.cells.V)/enough)
	v := make([]float32, 0, 2*enough)
	for i := 0; i < len(t.cells.V); i += step {
		v = append(v, t.cells.V[i])
	}
	slices.Sort(v)
	return float64(v[len(v)/2])
}

// gain is the trend of what a value is to be multiplied by to be brought to the given level where the trend holds, values under
// least counting as least. In between cells it is interpolated itself, which spares dividing by every pixel.
func (t *trend) gain(level, least float64) *trend {
	g := &trend{res: t.res, line: make([]float32, len(t.line)), parts: t.parts}
	g.cells = &features.Grid{Rows: t.cells.Rows, Cols: t.cells.Cols, V: make([]float32, len(t.cells.V))}
	for i, v := range t.cells.V {
		g.cells.V[i] = float32(level / max(float64(v), least))
	}
	return g
}

// meanCells averages a value over cells, pixels of one region only; cells of which less than a quarter is such pixels are NaN.
func (res resolution) meanCells(rows, cols, stride int, mask []uint8, region uint8, value func(r int) []float32) *features.Grid {
	out, _ := features.NewGrid((rows+res.rows-1)/res.rows, (cols+res.cols-1)/res.cols)
	n := make([]int32, out.Cols)
	for b := range out.Rows {
		clear(n)
		sum := out.Row(b)
		for r := b * res.rows; r < min(rows, (b+1)*res.rows); r += res.step {
			res.addCells(sum, n, value(r)[:cols], mask[r*stride:r*stride+cols], region)
		}
		least := int32(res.rows * res.cols / res.step / 4)
		for c := range sum {
			if n[c] >= least {
				sum[c] /= float32(n[c])
			} else {
				sum[c] = float32(math.NaN())
			}
		}
	}
	return out
}

// addCells adds the pixels of one region in a row to the sums of its cells and to how many they are. Cells that lie in the region as
// a whole, as nearly all do, are told by a word of the mask.
func (res resolution) addCells(sum []float32, n []int32, line []float32, in []uint8, region uint8) {
	const ones = 0x0101010101010101
	whole := uint64(region) * ones
	n = n[:len(sum)]
	for c := range sum {
		k, end := c*res.cols, min((c+1)*res.cols, len(line))
		switch v, m := line[k:end:end], in[k:end:end]; {
		case len(v) == 8 && len(m) == 8 && binary.LittleEndian.Uint64(m) == whole:
			sum[c] = sum[c] + ((v[0] + v[1]) + (v[2] + v[3])) + ((v[4] + v[5]) + (v[6] + v[7]))
			n[c] += 8
		case len(v) == 4 && len(m) == 4 && binary.LittleEndian.Uint32(m) == uint32(whole):
			sum[c] += (v[0] + v[1]) + (v[2] + v[3])
			n[c] += 4
		default:
			addPart(&sum[c], &n[c], v, m, region)
		}
	}
}

// addPart is addCells for a cell that other regions share.
func addPart(sum *float32, n *int32, v []float32, in []uint8, region uint8) {
	const four, ones = 4, 0x01010101
	for len(v) >= four && binary.LittleEndian.Uint32(in) == uint32(region)*ones {
		*sum += (v[0] + v[1]) + (v[2] + v[3])
		*n += four
		v, in = v[four:], in[four:]
	}
	for k, x := range v {
		if in[k] == region {
			*sum += x
			*n++
		}
	}
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

// boxMean is features.BoxMean into a grid taken from arena.
func boxMean(g *features.Grid, winRows, winCols int, arena *features.Arena) (*features.Grid, error) {
	out, err := arena.Grid(g.Rows, g.Cols)
	if err != nil {
		return nil, fmt.Errorf("box mean: %w", err)
	}
	return out, features.BoxMean(out, g, winRows, winCols)
}
