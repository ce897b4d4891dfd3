package detect

import (
	"math"

	"shadowgap/detect/frame"
	"shadowgap/features"
)

// The search for the first return.
const (
	fineHalf     = 10    // pixels on either side over which evidence for an edge is summed: wider bridges neighbouring returns
	levelRows    = 48    // rows over which the strengths of water and bottom are taken: gain and depth change little over so few
	levelReach   = 28    // range pixels on either side of the edge that they are taken from
	leastRise    = 1.25  // bottom over water strength from which the picture itself tells the edge; below it the map does
	priorWeight  = 6.0   // evidence that a pixel of speckle gives is about 1; this much is lost at the edge of the searched band
	priorLeast   = 0.3   // and of that so much where the map is not sure at all
	edgeBend     = 6     // pixels from one row to the next, at most
	edgeCost     = 0.8   // evidence that a pixel of bend costs
	darkest      = 0.004 // echo strength that water counts as at least
	betweenThem  = 0.45  // from water to bottom, where the evidence is for neither
	fullAt       = 0.35  // and how far from there it is whole, as a part of the way
	jitterRows   = 3     // rows either way of the median against jitter
	evenRows     = 2     // and of the mean after it
	pixelErrorPx = 0.5   // one standard deviation of an edge that all rows agree on
	unsurePx     = 3     // what an edge that the map is not sure of at all is off by, on top of that
	levelStep    = 3     // every so manieth row is looked at for the strengths of water and bottom
	pulsePx      = 2     // pixels next to the nadir that are not taken for water
)

// bottomEdge is where bottom begins on one side of a panel.
type bottomEdge struct {
	k          []float64 // slant pixel of the first return, per row; where it is not known, that of the nearest row where it is
	sd         []float64 // its one standard deviation in pixels, per row
	confidence []float64 // 0 to 1, per row; 0 where it is not known
	known      []bool    // per row: the picture shows it
	mean       float64   // mean confidence
}

// levels are the typical echo strengths of water column and bottom.
type levels struct{ water, bottom float64 }

// evidence of one sample for water (+1) against bottom (−1). It is clipped so that a fish in the water column or a shadow
// on the bottom, however strong, counts no more than a plain sample.
func (l levels) evidence(v float64) float64 {
	if l.bottom <= l.water {
		return 0
	}
	cut := l.water + betweenThem*(l.bottom-l.water)
	return max(-1, min(1, (cut-v)/(fullAt*(l.bottom-l.water))))
}

// findFirstReturn refines the first return that a panel's map shows of a side; nil when it shows none, or when columns of ground range
// leave no water column.
func findFirstReturn(s *swath, p *frame.Panel, opt Options) *bottomEdge {
	side := sideIndex(s.side)
	if opt.SlantCorrected || p.First[side] == nil {
		return nil
	}
	rough := make([]float64, len(p.First[side]))
	for r, x := range p.First[side] {
		rough[r] = s.k(r, x)
		if rough[r] < 1 || rough[r] >= float64(s.echo.Cols-1) {
			rough[r] = math.NaN()
		}
	}
	return refineFirstReturn(s, rough, p.Sure[side], p.CellPx)
}

// refineFirstReturn follows the boundary between water column and bottom at full resolution near a rough one (slant pixels per
// row, NaN where not known; sure 0..1), which is off by about cell pixels, by dynamic programming over two-region evidence. It
// returns nil when no row's is known.
func refineFirstReturn(s *swath, rough, sure []float64, cell float64) *bottomEdge {
	rows := s.echo.Rows
	e := &bottomEdge{k: make([]float64, rows), sd: make([]float64, rows), confidence: make([]float64, rows), known: make([]bool, rows)}
	seen := false
	for r, k := range rough {
		e.known[r] = !math.IsNaN(k)
		seen = seen || e.known[r]
	}
	if !seen {
		return nil
	}
	rough = carryOver(rough)
	half := int(math.Ceil(searchReach(cell)))
	base := make([]int, rows)
	scores, _ := features.NewGrid(rows, 2*half+1)
	window := make([]float64, 2*(half+fineHalf)+1)
	cum := make([]float64, len(window)+1)
	rise := make([]float64, rows)
	var lv levels
	for r := range rows {
		if r%(levelRows/4) == 0 {
			lv = s.levelsAt(rough, r, int(2*cell))
		}
		rise[r] = lv.bottom / max(lv.water, darkest)
		base[r] = int(math.Round(rough[r])) - half
		s.meansAround(window, r, base[r]-fineHalf, lv.water)
		for i, v := range window {
			cum[i+1] = cum[i]
			if rise[r] > leastRise {
				cum[i+1] += lv.evidence(v)
			}
		}
		dst := scores.Row(r)
		for i := range dst {
			j := i + fineHalf
			off := float64(i-half) / float64(half)
			dst[i] = float32((cum[j]-cum[j-fineHalf])-(cum[j+fineHalf]-cum[j])) - float32(priorWeight*off*off*(priorLeast+sure[r]))
			if k := base[r] + i; k < 1 || k >= s.echo.Cols-1 {
				dst[i] = -2 * fineHalf
			}
		}
	}
	path := features.BestPath(scores, base, edgeBend, edgeCost)
	for r, i := range path {
		// the return lies somewhere in the first bottom pixel: half a pixel in, on average
		e.k[r] = float64(base[r]+i) + 0.5
		if e.known[r] {
			e.confidence[r] = sure[r]
		}
		e.mean += e.confidence[r] / float64(rows)
	}
	e.smooth(rough, rise, cell)
	return e
}

// smooth takes single rows' jitter out of an edge and tells its error: the jitter itself, and where the picture does not tell the
// edge, the map's own.
func (e *bottomEdge) smooth(rough, rise []float64, cell float64) {
	rows := len(e.k)
	smooth := features.RunningMedian(e.k, jitterRows)
	for r := range e.k {
		var sum, n float64
		for rr := max(0, r-evenRows); rr <= min(rows-1, r+evenRows); rr++ {
			sum += smooth[rr]
			n++
		}
		dev := e.k[r] - sum/n
		e.k[r] = sum / n
		if rise[r] <= leastRise {
			e.k[r] = rough[r]
			e.sd[r] = cell
			continue
		}
		e.sd[r] = math.Sqrt(pixelErrorPx*pixelErrorPx+dev*dev/4) + unsurePx*(1-e.confidence[r])*(1-e.confidence[r])
	}
}

// levelsAt are the medians of what lies just inside and just beyond the rough edge over levelRows rows around r, guard pixels
// left out on either side.
func (s *swath) levelsAt(rough []float64, r, guard int) levels {
	water, _ := features.NewHistogram(0, 1, 512)
	bottom, _ := features.NewHistogram(0, 1, 512)
	for rr := max(0, r-levelRows/2); rr < min(s.echo.Rows, r+levelRows/2); rr += levelStep {
		row, ok := s.echo.Row(rr), s.valid[rr*s.echo.Cols:(rr+1)*s.echo.Cols]
		k := int(rough[rr])
		for c := max(pulsePx, k-guard-levelReach); c < min(len(row), k-guard); c++ {
			if ok[c] != 0 {
				water.Add(float64(row[c]))
			}
		}
		for c := max(0, k+guard); c < min(len(row), k+guard+levelReach); c++ {
			if ok[c] != 0 {
				bottom.Add(float64(row[c]))
			}
		}
	}
	w, errW := water.Quantile(0.5)
	b, errB := bottom.Quantile(0.5)
	if errW != nil {
		w = 0 // a column narrower than the guard: what little there is of it is dark
	}
	if errB != nil || b <= w {
		return levels{w, w}
	}
	return levels{w, b}
}

// meansAround fills window with the mean of three rows around r, column by column from k on: single pings are too speckled.
func (s *swath) meansAround(window []float64, r, k int, last float64) {
	rows, cols := s.echo.Rows, s.echo.Cols
	for i := range window {
		c := min(max(k+i, 0), cols-1)
		v, n := 0.0, 0.0
		for rr := max(0, r-1); rr <= min(rows-1, r+1); rr++ {
			if s.valid[rr*cols+c] != 0 {
				v += float64(s.echo.At(rr, c))
				n++
			}
		}
		if n > 0 {
			last = v / n
		}
		window[i] = last
	}
}
