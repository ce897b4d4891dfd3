package detect

import (
	"math"
	"slices"

	"shadowgap/features"
)

const (
	coarseRows = 4 // rows averaged in the coarse search
	coarseCols = 2 // range pixels averaged in the coarse search
)

// bottomEdge is where bottom begins on one side of a panel.
type bottomEdge struct {
	k          []float64 // slant pixel of the first return, per row
	sd         []float64 // its one standard deviation in pixels, per row
	confidence []float64 // 0 to 1, per row
	mean       float64   // mean confidence
}

// levels are the typical echo strengths of water column and bottom.
type levels struct{ water, bottom float64 }

// evidence of one sample for water (+1) against bottom (−1). It is clipped so that a fish in the water column or a shadow
// on the bottom, however strong, counts no more than a plain sample.
func (l levels) evidence(v float64) float64 {
	cut := l.water + 0.45*(l.bottom-l.water)
	return max(-1, min(1, (cut-v)/(0.35*(l.bottom-l.water))))
}

// findFirstReturn traces the boundary between water column and bottom by two passes of dynamic programming: a coarse one
// over the whole side with cumulative two-region evidence, and a fine one, row by row, near the coarse path. It returns
// false when no such boundary is in view (a crop of bottom only, or water only). d is the side as shrink makes it.
func findFirstReturn(s *swath, d *features.Grid) (bottomEdge, bool) {
	near := 0
	if s.hasZero {
		near = min((transmitWidth(s)+coarseCols-1)/coarseCols, d.Cols/2)
	}
	lv, ok := initialLevels(d, near)
	if !ok {
		return bottomEdge{}, false
	}
	reach := max(6, d.Cols/8)
	var path []int
	for range 2 {
		path = bestPath(boundaryScores(d, lv, near, reach), nil, 3, 5)
		next, ok := refineLevels(d, path, near, reach)
		if !ok {
			return bottomEdge{}, false
		}
		lv = next
	}
	inView := 0
	for _, k := range path {
		if k >= 2 && k <= d.Cols-4 {
			inView++
		}
	}
	// without a nadir beside it a dark strip may as well be a change of bottom: water is darker than any of those
	least := 1.35
	if !s.hasZero {
		least = 2.2
	}
	if inView*10 < len(path)*6 || lv.bottom < least*lv.water+0.01 {
		return bottomEdge{}, false
	}
	e := fineBoundary(s, lv, path)
	return e, e.mean > 0.35
}

// shrink averages coarseRows × coarseCols cells of valid pixels.
func shrink(s *swath) *features.Grid {
	rows := averageRows(s.echo, s.valid, coarseRows, 1)
	out, _ := features.NewGrid(rows.Rows, max(1, rows.Cols/coarseCols))
	for r := 0; r < out.Rows; r++ {
		src, dst := rows.Row(r), out.Row(r)
		for c := range dst {
			dst[c] = (src[c*coarseCols] + src[min(c*coarseCols+1, len(src)-1)]) / 2
		}
	}
	return out
}

// initialLevels splits the side by the threshold that separates its column means best (Otsu's criterion), which holds as
// long as some of both water and bottom is in view. The near columns of transmit pulse are left out, and the farthest few,
// where the frame of the panel may show.
func initialLevels(d *features.Grid, near int) (levels, bool) {
	profile := make([]float64, d.Cols)
	for r := 0; r < d.Rows; r++ {
		for c, v := range d.Row(r) {
			profile[c] += float64(v) / float64(d.Rows)
		}
	}
	profile = profile[near:max(near+1, d.Cols-d.Cols/25)]
	// a strip of another panel at the far edge must not pass for bottom
	sorted := slices.Clone(profile)
	slices.Sort(sorted)
	most := 1.6 * sorted[len(sorted)*3/4]
	for c, v := range profile {
		profile[c] = math.Min(v, most)
	}
	top := slices.Max(profile)
	if top <= 0 {
		return levels{}, false
	}
	best, lv := 0.0, levels{}
	for cut := 0.05 * top; cut < top; cut += 0.02 * top {
		var n0, n1 int
		var s0, s1 float64
		for _, v := range profile {
			if v < cut {
				n0++
				s0 += v
			} else {
				n1++
				s1 += v
			}
		}
		if n0 == 0 || n1 == 0 {
			continue
		}
		m0, m1 := s0/float64(n0), s1/float64(n1)
		if b := float64(n0) * float64(n1) * (m1 - m0) * (m1 - m0); b > best {
			best, lv = b, levels{m0, m1}
		}
	}
	return lv, best > 0 && lv.bottom > lv.water
}

// boundaryScores holds, for every coarse cell, how well it serves as the first cell of bottom: water evidence summed from
// the nadir to it, bottom evidence summed over reach cells from it on. The near cells of transmit pulse tell nothing.
func boundaryScores(d *features.Grid, lv levels, near, reach int) *features.Grid {
	out, _ := features.NewGrid(d.Rows, d.Cols)
	cum := make([]float64, d.Cols+1)
	for r := 0; r < d.Rows; r++ {
		for c, v := range d.Row(r) {
			cum[c+1] = cum[c]
			if c >= near {
				cum[c+1] += lv.evidence(float64(v))
			}
		}
		dst := out.Row(r)
		for c := range dst {
			ahead := min(d.Cols, c+reach)
			dst[c] = float32(cum[c] - (cum[ahead] - cum[c]))
		}
	}
	return out
}

// refineLevels measures water and bottom on either side of a path, by medians. It returns false when either has too few
// samples or bottom isn't the stronger.
func refineLevels(d *features.Grid, path []int, near, reach int) (levels, bool) {
	water, err := features.NewHistogram(0, 1, 1024)
	if err != nil {
		return levels{}, false
	}
	bottom, _ := features.NewHistogram(0, 1, 1024)
	for r, k := range path {
		row := d.Row(r)
		for c := near + 1; c < k-1; c++ {
			water.Add(float64(row[c]))
		}
		for c := k + 1; c < min(len(row), k+reach); c++ {
			bottom.Add(float64(row[c]))
		}
	}
	w, errW := water.Quantile(0.5)
	b, errB := bottom.Quantile(0.5)
	if errB != nil || bottom.N < d.Rows {
		return levels{}, false
	}
	if errW != nil || water.N < d.Rows {
		return levels{}, false
	}
	return levels{w, b}, b > w
}

// fineBoundary follows the boundary at full resolution within a few pixels of the coarse path.
func fineBoundary(s *swath, lv levels, coarse []int) bottomEdge {
	const half = 10
	rows, cols := s.echo.Rows, s.echo.Cols
	centre := make([]float64, len(coarse))
	for i, k := range coarse {
		centre[i] = float64(k * coarseCols)
	}
	base := make([]int, rows)
	scores, _ := features.NewGrid(rows, 2*half+1)
	cum := make([]float64, 4*half+2)
	window := make([]float64, 4*half+1)
	for r := 0; r < rows; r++ {
		base[r] = int(interpolate(centre, (float64(r)+0.5)/coarseRows-0.5)) - half
		last := lv.water
		// three rows share each estimate: single pings are too speckled
		for i := range window {
			k := min(max(base[r]-half+i, 0), cols-1)
			v, n := 0.0, 0.0
			for rr := max(0, r-1); rr <= min(rows-1, r+1); rr++ {
				if s.valid[rr*cols+k] != 0 {
					v += float64(s.echo.At(rr, k))
					n++
				}
			}
			if n > 0 {
				last = v / n
			}
			window[i] = last
		}
		for i, v := range window {
			cum[i+1] = cum[i] + lv.evidence(v)
		}
		dst := scores.Row(r)
		for i := range dst {
			j := i + half
			dst[i] = float32((cum[j] - cum[j-half]) - (cum[j+half] - cum[j]))
			if k := base[r] + i; k < 1 || k >= cols-1 {
				dst[i] = -2 * half
			}
		}
	}
	path := bestPath(scores, base, 4, 0.8)
	e := bottomEdge{k: make([]float64, rows), sd: make([]float64, rows), confidence: make([]float64, rows)}
	for r, i := range path {
		// the return lies somewhere in the first bottom pixel: half a pixel in, on average
		e.k[r] = float64(base[r]+i) + 0.5
		// full evidence on both sides sums to 2·half
		e.confidence[r] = math.Max(0, math.Min(1, float64(scores.At(r, i))/(1.6*half)))
		e.mean += e.confidence[r] / float64(rows)
	}
	smooth := runningMedian(e.k, 3)
	for r := range e.k {
		var sum, n float64
		for rr := max(0, r-2); rr <= min(rows-1, r+2); rr++ {
			sum += smooth[rr]
			n++
		}
		dev := e.k[r] - sum/n
		e.k[r] = sum / n
		e.sd[r] = math.Sqrt(0.5*0.5+dev*dev/4) + 3*(1-e.confidence[r])*(1-e.confidence[r])
	}
	return e
}
