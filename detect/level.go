package detect

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
)

const (
	trendRows   = 8  // rows averaged to one cell of the trend map
	trendCols   = 4  // range pixels averaged to one cell of the trend map
	trendWindow = 15 // cells, odd: the trend is a median over 120 rows × 60 range pixels
	edgeWidth   = 96 // range pixels beyond the first return whose common profile is taken out
	waterGuard  = 5  // pixels before the first return that belong to neither side
)

// leveled is a side with gain and range trends taken out: plain bottom (and quiet water) has mean 1 and spread sigma
// everywhere, whatever the palette and the gain.
type leveled struct {
	q     *features.Grid // rows × range pixels
	sigma float64        // typical spread of plain bottom about 1
	edge  []int          // first bottom column per row; 0 where the water column isn't in view
	tail  float64        // how much wider plain bottom spreads above than below once normalised: specks make it large
	near  int            // columns next to the nadir that hold the transmit pulse, not echoes
}

// level divides out the slow trend along range and track. The trend is a windowed median, so that highlights and shadows
// that fill less than half of a window don't pull it; what all rows share at the same distance beyond the first return, all
// rows at one range, and all ranges of one row is taken out after it.
func level(s *swath, edge *bottomEdge) (*leveled, error) {
	rows, cols := s.echo.Rows, s.echo.Cols
	lv := &leveled{edge: make([]int, rows)}
	if edge != nil {
		for r, k := range edge.k {
			lv.edge[r] = min(max(int(math.Round(k)), 0), cols)
		}
	}
	if s.hasZero {
		lv.near = transmitWidth(s)
	}
	mask := s.regions(lv)
	q, err := features.NewGrid(rows, cols)
	if err != nil {
		return nil, fmt.Errorf("leveling the %s swath: %w", s.side, err)
	}
	trend, err := s.trend(s.echo, mask, regionBottom, 0)
	if err != nil {
		return nil, fmt.Errorf("leveling the %s swath: bottom trend: %w", s.side, err)
	}
	floor := float32(0.004)
	for i, v := range s.echo.V {
		q.V[i] = 1
		if mask[i] == regionBottom {
			q.V[i] = v / max(trend.V[i], floor)
		}
	}
	takeOutShared(q, mask, lv.edge)
	spread, err := s.spread(q, mask, regionBottom)
	if err != nil {
		return nil, fmt.Errorf("leveling the %s swath: bottom spread: %w", s.side, err)
	}
	lv.sigma = typicalSpread(spread, mask, regionBottom)
	if lv.sigma < 0.02 {
		lv.sigma = 0.02
	}
	for i := range q.V {
		if mask[i] == regionBottom {
			q.V[i] = 1 + (q.V[i]-1)*float32(lv.sigma)/max(spread.V[i], 0.25*float32(lv.sigma))
		}
	}
	if edge != nil {
		if err := s.levelWater(q, mask, trend, lv.sigma); err != nil {
			return nil, fmt.Errorf("leveling the %s swath: water column: %w", s.side, err)
		}
	}
	lv.q = q
	return lv, nil
}

// What a pixel of a swath belongs to.
const (
	regionNone uint8 = iota
	regionWater
	regionBottom
)

// regions tells water, bottom and neither apart, pixel by pixel.
func (s *swath) regions(lv *leveled) []uint8 {
	rows, cols := s.echo.Rows, s.echo.Cols
	mask := make([]uint8, rows*cols)
	for r := range rows {
		ok, out := s.valid[r*cols:(r+1)*cols], mask[r*cols:(r+1)*cols]
		for k := range out {
			switch {
			case ok[k] == 0:
			case k >= lv.edge[r]:
				out[k] = regionBottom
			case k >= lv.near && k < lv.edge[r]-waterGuard:
				out[k] = regionWater
			}
		}
	}
	return mask
}

// transmitWidth returns how many columns next to the nadir the transmit pulse fills: up to where the column means have
// fallen to the level of the quiet water beyond, at most a twelfth of the side.
func transmitWidth(s *swath) int {
	limit := max(3, s.echo.Cols/12)
	means := make([]float64, min(s.echo.Cols, 2*limit))
	step := max(1, s.echo.Rows/64)
	for r := 0; r < s.echo.Rows; r += step {
		for k, v := range s.echo.Row(r)[:len(means)] {
			means[k] += float64(v)
		}
	}
	low := slices.Min(means)
	top := slices.Max(means[:min(len(means), 4)])
	for k := range means[:min(len(means), limit)] {
		if means[k] <= low+0.15*(top-low) {
			return k + 2
		}
	}
	return limit
}

// trend returns, for every pixel, the typical value of v over the pixels of one region around it.
func (s *swath) trend(v *features.Grid, mask []uint8, region uint8, least float64) (*features.Grid, error) {
	cells := meanCells(v, mask, region)
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
		cells.V[i] = float32(math.Max(least, f*f*top))
	}
	w := min(5, odd(cells.Rows), odd(cells.Cols))
	smooth, err := boxMean(cells, w, w)
	if err != nil {
		return nil, err
	}
	return stretch(smooth, v.Rows, v.Cols)
}

// spread returns, for every pixel, the typical absolute deviation of q from 1 over one region around it, scaled to a
// standard deviation as for a normal distribution (1.2533).
func (s *swath) spread(q *features.Grid, mask []uint8, region uint8) (*features.Grid, error) {
	dev, err := features.NewGrid(q.Rows, q.Cols)
	if err != nil {
		return nil, err
	}
	for i, v := range q.V {
		dev.V[i] = float32(math.Min(3, math.Abs(float64(v)-1)*1.2533))
	}
	return s.trend(dev, mask, region, 1e-3)
}

// levelWater scales the water column so that its own noise, or a twelfth of the bottom's strength where the water is
// quieter than that, spreads as plain bottom does.
func (s *swath) levelWater(q *features.Grid, mask []uint8, bottom *features.Grid, sigma float64) error {
	water, err := s.trend(s.echo, mask, regionWater, 0)
	if err != nil {
		return err
	}
	dev, err := features.NewGrid(q.Rows, q.Cols)
	if err != nil {
		return err
	}
	for i, v := range s.echo.V {
		dev.V[i] = float32(math.Abs(float64(v-water.V[i])) * 1.2533)
	}
	noise, err := s.trend(dev, mask, regionWater, 0)
	if err != nil {
		return err
	}
	for i, v := range s.echo.V {
		if mask[i] == regionWater {
			q.V[i] = 1 + float32(sigma)*(v-water.V[i])/max(noise.V[i], bottom.V[i]/12, 0.008)
		}
	}
	return nil
}

// meanCells averages v over cells of trendRows × trendCols, pixels of one region only; cells that hold fewer than a
// quarter of such pixels are NaN.
func meanCells(v *features.Grid, mask []uint8, region uint8) *features.Grid {
	out, _ := features.NewGrid((v.Rows+trendRows-1)/trendRows, (v.Cols+trendCols-1)/trendCols)
	sum, n := make([]float32, out.Cols), make([]int, out.Cols)
	for b := range out.Rows {
		clear(sum)
		clear(n)
		for r := b * trendRows; r < min(v.Rows, (b+1)*trendRows); r++ {
			m := mask[r*v.Cols : (r+1)*v.Cols]
			for k, x := range v.Row(r) {
				if m[k] == region {
					sum[k/trendCols] += x
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

// takeOutShared divides q by the medians of what many pixels share: the same distance beyond the first return, the same
// range, the same row. The first holds the hard specular rim; the second, rings of the display; the third, gain jumps and
// interference between pings.
func takeOutShared(q *features.Grid, mask []uint8, edge []int) {
	var rim [edgeWidth]*medianCounter
	for i := range rim {
		rim[i] = newMedianCounter()
	}
	hasEdge := false
	for r := range q.Rows {
		if edge[r] <= 0 {
			continue
		}
		hasEdge = true
		for i := 0; i < edgeWidth && edge[r]+i < q.Cols; i++ {
			if mask[r*q.Cols+edge[r]+i] == regionBottom {
				rim[i].add(q.At(r, edge[r]+i))
			}
		}
	}
	if hasEdge {
		var inv [edgeWidth]float32
		for i := range rim {
			inv[i] = 1 / rim[i].median(q.Rows/4)
		}
		for r := range q.Rows {
			if edge[r] > 0 {
				row := q.Row(r)[min(edge[r], q.Cols):]
				for i := 0; i < min(edgeWidth, len(row)); i++ {
					row[i] *= inv[i]
				}
			}
		}
	}
	columns := make([]float32, q.Cols)
	m := newMedianCounter()
	step := max(1, q.Rows/256)
	for c := range columns {
		m.reset()
		for r := 0; r < q.Rows; r += step {
			if mask[r*q.Cols+c] == regionBottom {
				m.add(q.At(r, c))
			}
		}
		columns[c] = 1 / m.median(q.Rows/step/3)
	}
	for r := range q.Rows {
		row, ok := q.Row(r), mask[r*q.Cols:(r+1)*q.Cols]
		m.reset()
		for c := range row {
			if ok[c] == regionBottom {
				row[c] *= columns[c]
				m.add(row[c])
			}
		}
		inv := 1 / m.median(q.Cols/4)
		for c := range row {
			if ok[c] == regionBottom {
				row[c] *= inv
			} else {
				row[c] = 1
			}
		}
	}
}

// medianCounter is a running median of values about 1, exact to a hundredth.
type medianCounter struct {
	bins [400]int32
	n    int
}

func newMedianCounter() *medianCounter { return &medianCounter{} }

func (m *medianCounter) reset() { *m = medianCounter{} }

func (m *medianCounter) add(v float32) {
	i := int(v * 100)
	m.bins[min(max(i, 0), len(m.bins)-1)]++
	m.n++
}

// median returns 1 when fewer than least values were added, so that a thin sample changes nothing.
func (m *medianCounter) median(least int) float32 {
	if m.n < max(least, 8) {
		return 1
	}
	sum := int32(0)
	for i, b := range m.bins {
		if 2*(sum+b) >= int32(m.n) {
			f := (float32(m.n)/2 - float32(sum)) / float32(b)
			return max(0.05, (float32(i)+f)/100)
		}
		sum += b
	}
	return 1
}

// typicalSpread is the median of a spread map over one region.
func typicalSpread(spread *features.Grid, mask []uint8, region uint8) float64 {
	h, err := features.NewHistogram(0, 3, 1500)
	if err != nil {
		return 0
	}
	for i := 0; i < len(mask); i += 7 {
		if mask[i] == region {
			h.Add(float64(spread.V[i]))
		}
	}
	q, err := h.Quantile(0.5)
	if err != nil {
		return 0
	}
	return q
}

// odd returns the largest odd number not over n, at least 1.
func odd(n int) int { return max(1, n-1+n%2) }
