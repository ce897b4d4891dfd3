package detect

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
)

// What is leveled, and how far what it is divided by is trusted.
const (
	darkestBottom = 0.004 // echo strength that the trend of bottom counts as at least
	glintCounts   = 3     // spreads that a glint counts as, at most
	leastSpread   = 0.02  // spread of plain bottom about 1, at least
	leastOfSpread = 0.25  // and of any part of a side beside the typical one
	leastPulse    = 3     // columns that the transmit pulse may fill, at least,
	pulsePart     = 12    // and as a part of the side
	pulseEnds     = 0.15  // part of the way from quiet water to the pulse's peak under which the pulse is over
	pulseRows     = 64    // rows that are looked at for it
	columnRows    = 256   // and for the medians of columns
	edgeWidth     = 96    // range pixels beyond the first return whose common profile is taken out
	waterGuard    = 5     // pixels before the first return that belong to neither side
)

// leveled is a side with gain and range trends taken out: plain bottom (and quiet water) has mean 1 and spread sigma
// everywhere, whatever the palette and the gain.
type leveled struct {
	q     *features.Grid // rows × range pixels
	sigma float64        // typical spread of plain bottom about 1
	edge  []int          // first bottom column per row; 0 where the water column isn't in view
	mask  []uint8        // per pixel: water, bottom or neither
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
	lv.mask = mask
	q, err := s.arena.Grid(rows, cols)
	if err != nil {
		return nil, fmt.Errorf("leveling the %s swath: %w", s.side, err)
	}
	trend, err := newTrend(rows, cols, cols, mask, regionBottom, s.echo.Row)
	if err != nil {
		return nil, fmt.Errorf("leveling the %s swath: bottom trend: %w", s.side, err)
	}
	even := trend.gain(1, darkestBottom)
	line := make([]float32, cols)
	for r := range rows {
		even.times(r, s.echo.Row(r), q.Row(r)) // what is no bottom is set right at the end
	}
	takeOutShared(q, mask, lv.edge)
	spread, err := newTrend(rows, cols, cols, mask, regionBottom, func(r int) []float32 {
		for k, v := range q.Row(r) {
			d := abs32(v-1) * toSigma
			if d > glintCounts {
				d = glintCounts
			}
			line[k] = d
		}
		return line
	})
	if err != nil {
		return nil, fmt.Errorf("leveling the %s swath: bottom spread: %w", s.side, err)
	}
	lv.sigma = math.Max(leastSpread, spread.typical())
	widen := spread.gain(lv.sigma, leastOfSpread*lv.sigma)
	for r := range rows {
		widen.spread(r, q.Row(r), mask[r*cols:(r+1)*cols], regionBottom)
	}
	if edge != nil {
		if err := s.levelWater(q, mask, lv.edge, trend, lv.sigma); err != nil {
			return nil, fmt.Errorf("leveling the %s swath: water column: %w", s.side, err)
		}
	}
	lv.q = q
	return lv, nil
}

// toSigma turns a mean absolute deviation into a standard deviation, as for a normal distribution: √(π/2).
const toSigma = 1.2533141

// madToSigma does so for a median absolute deviation.
const madToSigma = 1.4826

func abs32(v float32) float32 { return math.Float32frombits(math.Float32bits(v) &^ (1 << 31)) }

// What a pixel of a swath belongs to.
const (
	regionNone uint8 = iota
	regionWater
	regionBottom
)

// regions tells water, bottom and neither apart, pixel by pixel.
func (s *swath) regions(lv *leveled) []uint8 {
	rows, cols := s.echo.Rows, s.echo.Cols
	mask := s.arena.Mask(rows * cols)
	for r := range rows {
		ok, out := s.valid[r*cols:(r+1)*cols], mask[r*cols:(r+1)*cols]
		edge := lv.edge[r]
		dry := max(edge-waterGuard, 0)
		wet := min(lv.near, dry)
		clear(out[:wet])
		timesFlags(out[wet:dry], ok[wet:dry], regionWater)
		clear(out[dry:edge])
		timesFlags(out[edge:], ok[edge:], regionBottom)
	}
	return mask
}

// timesFlags writes a number times flags, which are 0 or 1, a word at a time.
func timesFlags(dst, flags []uint8, n uint8) {
	const word = 8
	for len(dst) >= word && len(flags) >= word {
		binary.LittleEndian.PutUint64(dst, binary.LittleEndian.Uint64(flags)*uint64(n))
		dst, flags = dst[word:], flags[word:]
	}
	for i := range dst {
		dst[i] = flags[i] * n
	}
}

// transmitWidth returns how many columns next to the nadir the transmit pulse fills: up to where the column means have
// fallen to the level of the quiet water beyond, at most a twelfth of the side.
func transmitWidth(s *swath) int {
	limit := max(leastPulse, s.echo.Cols/pulsePart)
	means := make([]float64, min(s.echo.Cols, 2*limit))
	step := max(1, s.echo.Rows/pulseRows)
	for r := 0; r < s.echo.Rows; r += step {
		for k, v := range s.echo.Row(r)[:len(means)] {
			means[k] += float64(v)
		}
	}
	low := slices.Min(means)
	top := slices.Max(means[:min(len(means), 4)])
	for k := range means[:min(len(means), limit)] {
		if means[k] <= low+pulseEnds*(top-low) {
			return k + 2
		}
	}
	return limit
}

// What counts as the spread of water at least: a part of the bottom's strength, and about two steps of an eight-bit display.
const (
	quietWater = 12
	leastNoise = 0.008
)

// levelWater scales the water column so that its own noise, or a twelfth of the bottom's strength where the water is
// quieter than that, spreads as plain bottom does.
func (s *swath) levelWater(q *features.Grid, mask []uint8, edge []int, bottom *trend, sigma float64) error {
	rows, cols := q.Rows, slices.Max(edge)
	if cols < resolutionFor(rows*cols).cols {
		return nil
	}
	water, err := newTrend(rows, cols, q.Cols, mask, regionWater, s.echo.Row)
	if err != nil {
		return err
	}
	level, spread, ground := make([]float32, cols), make([]float32, cols), make([]float32, cols)
	noise, err := newTrend(rows, cols, q.Cols, mask, regionWater, func(r int) []float32 {
		water.row(r, level)
		src := s.echo.Row(r)
		for k, v := range level {
			level[k] = abs32(src[k]-v) * toSigma
		}
		return level
	})
	if err != nil {
		return err
	}
	for r := range rows {
		n := edge[r]
		if n == 0 {
			continue
		}
		water.row(r, level[:n])
		noise.row(r, spread[:n])
		bottom.row(r, ground[:n])
		src, dst := s.echo.Row(r), q.Row(r)
		for k, m := range mask[r*q.Cols : r*q.Cols+n] {
			if m == regionWater {
				noise := spread[k]
				if ground := ground[k] / quietWater; ground > noise {
					noise = ground
				}
				if noise < leastNoise {
					noise = leastNoise
				}
				dst[k] = 1 + float32(sigma)*(src[k]-level[k])/noise
			}
		}
	}
	return nil
}

// takeOutShared divides q by the medians of what many pixels share: the same distance beyond the first return, the same
// range, the same row. The first holds the hard specular rim; the second, rings of the display; the third, gain jumps and
// interference between pings.
func takeOutShared(q *features.Grid, mask []uint8, edge []int) {
	takeOutRim(q, mask, edge)
	columns := make([]float32, q.Cols)
	// some columns at a time: they lie side by side in memory
	var several [16]medianCounter
	step := max(1, q.Rows/columnRows)
	for c0 := 0; c0 < q.Cols; c0 += len(several) {
		ms := several[:min(len(several), q.Cols-c0)]
		clear(ms)
		for r := 0; r < q.Rows; r += step {
			row, ok := q.Row(r)[c0:c0+len(ms)], mask[r*q.Cols+c0:][:len(ms)]
			for i, v := range row {
				if ok[i] == regionBottom {
					ms[i].add(v)
				}
			}
		}
		for i := range ms {
			columns[c0+i] = 1 / ms[i].median(q.Rows/step/3)
		}
	}
	var m medianCounter
	for r := range q.Rows {
		row, ok := q.Row(r)[:len(columns)], mask[r*q.Cols:(r+1)*q.Cols]
		m.reset()
		for c := r & 1; c < len(row); c += 2 { // half of a row tells its median
			if ok[c] == regionBottom {
				m.add(row[c] * columns[c])
			}
		}
		inv := 1 / m.median(q.Cols/8)
		for c, v := range columns {
			row[c] *= v * inv
		}
	}
}

// takeOutRim does so for the distances beyond the first return, up to edgeWidth.
func takeOutRim(q *features.Grid, mask []uint8, edge []int) {
	var rim [edgeWidth]medianCounter
	hasEdge := false
	for r := range q.Rows {
		if edge[r] <= 0 {
			continue
		}
		hasEdge = true
		a, z := r*q.Cols+min(edge[r], q.Cols), r*q.Cols+min(edge[r]+edgeWidth, q.Cols)
		for i, m := range mask[a:z] {
			if m == regionBottom {
				rim[i].add(q.V[a+i])
			}
		}
	}
	if !hasEdge {
		return
	}
	var inv [edgeWidth]float32
	for i := range rim {
		inv[i] = 1 / rim[i].median(q.Rows/4)
	}
	for r := range q.Rows {
		if edge[r] > 0 {
			row := q.Row(r)[min(edge[r], q.Cols):]
			row = row[:min(edgeWidth, len(row))]
			for i := range row {
				row[i] *= inv[i]
			}
		}
	}
}

// medianCounter is a running median of values about 1, exact to a hundredth.
type medianCounter struct {
	bins [400]int32
	n    int
}

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
