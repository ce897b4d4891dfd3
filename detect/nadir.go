package detect

import (
	"context"
	"encoding/binary"
	"image"
	"math"
	"slices"

	"shadowgap/detect/frame"
	"shadowgap/features"
	"shadowgap/models/axis"
)

// The search for the bright centre band.
const (
	nadirBlockRows = 16   // rows averaged before the search: the band is straight over so few pings
	averagedRows   = 3    // of those every so manieth
	nadirStep      = 2    // columns from one place that is tried to the next
	nadirBend      = 4    // columns from one block to the next, at most
	bendCost       = 0.02 // contrast that a column of bend costs
	medianBlocks   = 2    // blocks either way that medians of the path are taken over
	// clearBand is the contrast of a band, 0 to 1, from which its own centre is better than the rough path. Taken over from
	// the search without a map; how much hangs on it was not measured.
	clearBand = 0.3
	farCost   = 0.15 // contrast that a place at the end of the reach costs beside one on the rough path
	beyond    = -0.5 // what a place beyond the reach is worth: less than any within it
)

// A block's row around a place that may be the band.
const (
	leastFlank  = 8    // columns of a flank, at least,
	flankPart   = 50   // and as a part of the panel's width
	bandGuard   = 2    // columns between band and flank
	faintest    = 0.02 // echo strength under which a contrast tells little
	centreReach = 16   // columns on either side that a band's centre is sought in
	bottomPart  = 0.7  // quantile of the panel that is bottom, when water and shadow fill less than the rest
	leastToMean = 2    // columns that a mean is taken of, at least
)

// nadirLine is the transducer's path through a panel.
type nadirLine struct {
	x     []float64 // panel column (pixel edges) of its centre, per row
	score float64   // mean evidence of a band per row block: 0 none, 1 a clear band between dark flanks
}

// searchReach is how far from a line of the map, whose cells are so many columns wide, its place at full resolution is sought.
func searchReach(cellPx float64) float64 { return max(4, 1.6*cellPx) }

// findNadir refines the nadir that a panel's map shows; nil when it shows none.
func (d *Detector) findNadir(p *frame.Panel, valid []uint8, opt Options) (*nadirLine, error) {
	if p.Nadir == nil {
		return nil, nil
	}
	line := refineNadir(p.Echo, valid, p.Nadir, searchReach(p.CellPx))
	if opt.NadirX != 0 || !clearOfEnds(line.x, p.Echo.Cols) {
		return &line, nil
	}
	if d.axis == nil {
		var err error
		if d.axis, err = axis.New(); err != nil {
			return nil, err
		}
	}
	off, sure, err := d.axis.Off(beside(p.Echo, valid, line.x, axis.Reach), searchReach(p.CellPx))
	if err != nil {
		return nil, err
	}
	if sure >= surelyOff {
		for r := range line.x {
			line.x[r] = min(max(line.x[r]+off, 0), float64(p.Echo.Cols))
		}
	}
	return &line, nil
}

const (
	// surelyOff is the least part of the odds that a place must have beside all others for the path to be moved there: of paths off by more
	// than 3 columns in the worlds of the fit it leaves fewest.
	surelyOff = 0.5
	// leastBeside is the columns of its panel that a path must have on either side: nearer to the panel's end that end looks like an axis.
	leastBeside = 20
)

// clearOfEnds tells whether a path lies clear of its panel's ends.
func clearOfEnds(path []float64, cols int) bool {
	return slices.Min(path) >= leastBeside && slices.Max(path) <= float64(cols-leastBeside)
}

// besideStep is the rows from one that is looked at to the next: neighbours are alike.
const besideStep = 2

// beside is what lies beside a path (panel columns, pixel edges, per row), so many columns to either side.
func beside(echo *features.Grid, valid []uint8, path []float64, reach int) *axis.Beside {
	n := 2*reach + 1
	sum, squares := make([]float64, n), make([]float64, n)
	seen, drawn := make([]float64, n), make([]float64, n)
	rows := 0.0
	for r := 0; r < echo.Rows; r += besideStep {
		row, ok := echo.Row(r), valid[r*echo.Cols:(r+1)*echo.Cols]
		if !slices.Contains(ok, 1) {
			continue // a row that was lost
		}
		rows++
		for i := range n {
			p := path[r] - 0.5 + float64(i-reach)
			k := int(math.Floor(p))
			if k < 0 || k+1 >= len(row) {
				continue
			}
			if ok[k] == 0 || ok[k+1] == 0 {
				drawn[i]++
				continue
			}
			f := p - float64(k)
			v := float64(row[k])*(1-f) + float64(row[k+1])*f
			sum[i] += v
			squares[i] += v * v
			seen[i]++
		}
	}
	b := &axis.Beside{Strength: make([]float32, n), Spread: make([]float32, n), Drawn: make([]float32, n), Inside: make([]float32, n)}
	for i := range n {
		if inside := seen[i] + drawn[i]; inside > 0 {
			b.Inside[i], b.Drawn[i] = float32(inside/rows), float32(drawn[i]/inside)
		}
		if seen[i] > 0 {
			mean := sum[i] / seen[i]
			b.Strength[i], b.Spread[i] = float32(mean), float32(math.Sqrt(max(0, squares[i]/seen[i]-mean*mean)))
		}
	}
	return b
}

// Beside is what lies beside a path.
type Beside = axis.Beside

// BesideReach is how many columns to either side of a path are looked at where its axis is sought.
const BesideReach = axis.Reach

// Path is the nadir of a panel before its axis is sought, and what lies beside it; for the fit of the network that seeks it.
type Path struct {
	X      func(y float64) (x float64, ok bool) // in pixels of the capture (edges); ok is false outside the panel
	CellPx float64                              // panel columns a cell of the map covers: how rough the path is
	Beside *Beside
}

// Paths are the nadirs of a capture's panels with what lies beside them, so many columns to either side; panels that were photographed
// askew, and paths that are near their panel's end, are left out. Errors are as for Run.
func (d *Detector) Paths(ctx context.Context, img image.Image, opt Options, reach int) ([]Path, error) {
	if err := d.load(opt.Model); err != nil {
		return nil, err
	}
	panels, _, err := d.findPanels(ctx, img, opt)
	if err != nil {
		return nil, err
	}
	var out []Path
	for i := range panels {
		p := &panels[i]
		if p.Nadir == nil || p.Upright != nil || p.Copy {
			continue
		}
		valid, _ := dropBadRows(p.Echo, p.Valid)
		line := refineNadir(p.Echo, valid, p.Nadir, searchReach(p.CellPx))
		if !clearOfEnds(line.x, p.Echo.Cols) {
			continue
		}
		out = append(out, Path{
			X: func(y float64) (float64, bool) {
				r := int(math.Floor(y)) - p.Box.Min.Y
				if r < 0 || r >= len(line.x) {
					return 0, false
				}
				return line.x[r] + float64(p.Box.Min.X), true
			},
			CellPx: p.CellPx,
			Beside: beside(p.Echo, valid, line.x, reach),
		})
	}
	return out, nil
}

// refineNadir follows the bright centre band at full resolution near a rough path (panel columns, per row) that is off by at most
// about reach pixels: the path of greatest band contrast and flank darkness that bends by at most 4 pixels a block. Where no band
// stands clear near it, the rough path itself, smoothed, is the answer: not every display draws one.
func refineNadir(echo *features.Grid, valid []uint8, rough []float64, reach float64) nadirLine {
	d := averageRows(echo, valid, nadirBlockRows, averagedRows)
	scores, _ := features.NewGrid(d.Rows, (d.Cols+nadirStep-1)/nadirStep)
	level := typicalLevel(d)
	near := make([]float64, d.Rows) // the rough path, a block of rows at a time
	for b := range near {
		near[b] = rough[min(b*nadirBlockRows+nadirBlockRows/2, len(rough)-1)]
	}
	near = features.RunningMedian(near, medianBlocks)
	if level > 0 {
		for b := range near {
			bandScores(d.Row(b), scores.Row(b), level, near[b], reach)
		}
	}
	path := features.BestPath(scores, nil, nadirBend/nadirStep, bendCost*nadirStep)
	line := nadirLine{x: make([]float64, echo.Rows)}
	centre := make([]float64, d.Rows)
	for b, i := range path {
		s := float64(scores.At(b, i))
		line.score += max(0, s) / float64(d.Rows)
		centre[b] = near[b]
		if s > clearBand {
			if c := bandCentre(d.Row(b), i*nadirStep); math.Abs(c-near[b]) <= 2*reach {
				centre[b] = c
			}
		}
	}
	centre = features.RunningMedian(centre, medianBlocks)
	for r := range line.x {
		p := (float64(r)+0.5)/nadirBlockRows - 0.5
		line.x[r] = interpolate(centre, p)
	}
	return line
}

// bandScores writes how well a bright band between dark flanks stands at every nadirStep-th column of a block of rows, within reach
// of a rough column.
func bandScores(row, out []float32, level, near, reach float64) {
	flank := max(leastFlank, len(row)/flankPart)
	sum := make([]float64, len(row)+1)
	for c, v := range row {
		sum[c+1] = sum[c] + float64(v)
	}
	mean := func(a, z int) float64 {
		a, z = max(a, 0), min(z, len(row))
		if z-a < leastToMean {
			return math.NaN()
		}
		return (sum[z] - sum[a]) / float64(z-a)
	}
	for i := range out {
		c := i * nadirStep
		off := math.Abs(float64(c)+0.5-near) / reach
		if off > 1 {
			out[i] = beyond
			continue
		}
		best := 0.0
		for _, half := range [...]int{1, 3, 7, 12} {
			// at the picture's edge half of the band is all there is
			band := mean(c-half, c+half+1)
			left, right := mean(c-half-bandGuard-flank, c-half-bandGuard), mean(c+half+1+bandGuard, c+half+1+bandGuard+flank)
			beside := nanMax(left, right)
			contrast := (band - beside) / (band + beside + faintest)
			if contrast <= best*best {
				continue // however dark its flanks, it is no better
			}
			// surface clutter may fill the water next to the band: the darkest of three strips shows the water
			for _, off := range [...]int{bandGuard + flank, bandGuard + 3*flank} {
				left = nanMin(left, mean(c-half-off-flank, c-half-off))
				right = nanMin(right, mean(c+half+1+off, c+half+1+off+flank))
			}
			if darkness := 1 - nanMax(left, right)/level; contrast > 0 && darkness > 0 {
				best = max(best, math.Sqrt(contrast*darkness))
			}
		}
		out[i] = float32(best - farCost*off*off)
	}
}

// straightNadir is a path that stays at one column.
func straightNadir(x float64, rows int) nadirLine {
	line := nadirLine{x: make([]float64, rows)}
	for r := range line.x {
		line.x[r] = x
	}
	return line
}

// nanMax and nanMin ignore a NaN beside a number.
func nanMax(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

func nanMin(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

// bandCentre refines the band's middle to sub-pixel: the centroid of what rises over half the peak near column c. A band that
// the picture's edge cuts is taken to be cut at its middle, as displays of one side do.
func bandCentre(row []float32, c int) float64 {
	lo, hi := max(0, c-centreReach), min(len(row), c+centreReach+1)
	peak, floor, at := float32(0), float32(math.Inf(1)), c
	for i, v := range row[lo:hi] {
		floor = min(floor, v)
		if v > peak {
			peak, at = v, lo+i
		}
	}
	cut := floor + (peak-floor)/2
	if row[c] <= cut {
		c = at // the path runs beside the band
	}
	a, z := c, c
	for a > lo && row[a-1] > cut {
		a--
	}
	for z+1 < hi && row[z+1] > cut {
		z++
	}
	switch {
	case a == 0:
		return 0
	case z == len(row)-1:
		return float64(len(row))
	}
	var w, m float64
	for i := a; i <= z; i++ {
		if v := float64(row[i] - cut); v > 0 {
			w += v
			m += v * (float64(i) + 0.5)
		}
	}
	if w == 0 {
		return float64(c) + 0.5
	}
	return m / w
}

// averageRows returns the mean of each n rows, column by column, over valid pixels of every step-th row; the last block may be
// shorter. Where a block has no valid pixel the value is that of the block before it, or else of its left neighbour.
func averageRows(g *features.Grid, valid []uint8, n, step int) *features.Grid {
	const word, allValid = 8, 0x0101010101010101
	out, _ := features.NewGrid((g.Rows+n-1)/n, g.Cols)
	missing := make([]uint16, g.Cols)
	for b := 0; b < out.Rows; b++ {
		clear(missing)
		dst := out.Row(b)
		rows := uint16(0)
		for r := b * n; r < min(g.Rows, (b+1)*n); r += step {
			rows++
			src, ok := g.Row(r), valid[r*g.Cols:(r+1)*g.Cols]
			for c := 0; c < len(src); c += word {
				if c+word <= len(src) && binary.LittleEndian.Uint64(ok[c:]) == allValid {
					s, d := src[c:c+word:c+word], dst[c:c+word:c+word]
					for i := range s {
						d[i] += s[i]
					}
					continue
				}
				for i := c; i < min(c+word, len(src)); i++ {
					if ok[i] != 0 {
						dst[i] += src[i]
					} else {
						missing[i]++
					}
				}
			}
		}
		last, whole := float32(0), 1/float32(rows)
		for c := range dst {
			switch {
			case missing[c] == 0:
				last = dst[c] * whole
			case missing[c] < rows:
				last = dst[c] / float32(rows-missing[c])
			case b > 0:
				last = out.At(b-1, c)
			}
			dst[c] = last
		}
	}
	return out
}

// typicalLevel is the 70 % quantile of a grid of values in 0..1: the bottom, when water and shadow fill less than that.
func typicalLevel(g *features.Grid) float64 {
	h, err := features.NewHistogram(0, 1, 512)
	if err != nil {
		return 0
	}
	for _, v := range g.V {
		h.Add(float64(v))
	}
	q, err := h.Quantile(bottomPart)
	if err != nil {
		return 0
	}
	return q
}

// interpolate reads v at fractional index p, holding the ends.
func interpolate(v []float64, p float64) float64 {
	if p <= 0 {
		return v[0]
	}
	if p >= float64(len(v)-1) {
		return v[len(v)-1]
	}
	i := int(p)
	f := p - float64(i)
	return v[i]*(1-f) + v[i+1]*f
}
