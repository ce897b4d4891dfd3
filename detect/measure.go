package detect

import (
	"math"
	"slices"

	"shadowgap/features"
)

// measured is a candidate with its edges found to sub-pixel and its evidence as numbers. Ranges are slant pixels from the
// nadir (from the near edge of a crop that doesn't show it).
type measured struct {
	candidate
	near, far             features.Measured  // the highlight's edges (the shadow's near edge where there is no highlight)
	shadowNear, shadowFar *features.Measured // nil without a shadow
	shadowStart           *features.Measured // shadowNear followed farther than its box is off by, for lengths; nil without a shadow
	shadowRunsOut         bool               // the shadow reaches the far edge of the side
	shadowTip             *features.Measured // its farthest end: what throws it is highest there; nil without a shadow
	shadowTop             *features.Measured // where it begins nearest: just behind that highest point; nil without a shadow
	dark                  stretch            // where the shadow begins and ends by all of its rows at once; zero without both
	gap                   *features.Measured // nil without both
	between               float64            // leveled strength between highlight and shadow: 1 is plain bottom
	depth                 float64            // mean leveled strength inside the shadow
	behind                float64            // leveled strength just behind the shadow; above 1 hints at a pit
	before                float64            // leveled strength just before the highlight; below 1 hints at a pit
	cut                   bool               // touches the picture's edge, so sizes are at least what is given
	shape                 features.Shape     // of the highlight; zero without one
	even, top             float64            // see evenness; zero without a highlight
	ring, shadowRing      float64            // leveled strength beside highlight and shadow along track, and before or behind
	crowd                 int                // other candidates within three sizes
	company               float64            // log1p of the finder's odds of those, added up
	hottest               float64            // the finder's odds of its surest other candidate of the side
	numbers               map[string]float64 // what the judge weighs, by name
	odds                  Odds               // what it says
	standing              float64            // natural log of its mass over the median of the side's candidates
}

// mass is how much more echo a candidate returns, and how much less its shadow lets back, than plain bottom would.
func (m *measured) mass() float64 {
	sum := 0.0
	if h := m.highlight; h != nil {
		sum += float64(h.area) * math.Max(0, h.mean-1)
	}
	if s := m.shadow; s != nil {
		sum += float64(s.area) * math.Max(0, 1-s.mean)
	}
	return sum
}

// shadowLength is how long the candidate's shadow is, in slant pixels. Where it is faint, its edges may be followed past each other; its
// own columns say more then.
func (m *measured) shadowLength() features.Measured {
	length := features.ShadowLength(*m.shadowNear, *m.shadowFar)
	if length.Value > 0 {
		return length
	}
	cols := float64(m.shadow.cols())
	return features.Measured{Value: cols, SD: math.Max(length.SD, cols/2)}
}

// measureAll measures the candidates of a side, each by itself and beside the others.
func measureAll(s *swath, lv *leveled, cs []candidate) []measured {
	ms := make([]measured, len(cs))
	for i, c := range cs {
		ms[i] = measure(lv, c)
		if c.highlight != nil {
			ms[i].even, ms[i].top = evenness(s, *c.highlight)
		}
	}
	compare(ms)
	return ms
}

// measure finds the sub-pixel edges of a candidate where the leveled strength crosses half-way between the levels on
// either side, row by row, and takes medians over its rows; the spread over rows gives the error.
func measure(lv *leveled, c candidate) measured {
	m := measured{candidate: c, between: 1, depth: 1, behind: 1, before: 1, ring: 1, shadowRing: 1}
	hull := c.span()
	m.cut = hull.r0 == 0 || hull.r1 == lv.q.Rows || hull.k1 == lv.q.Cols || hull.k0 == 0 && lv.near == 0
	if c.highlight != nil {
		h := c.highlight
		m.shape = shapeOf(*h)
		cut := highlightCut(*h)
		m.far = edgeOf(lv, *h, true, cut, false, outwardPx)
		m.near = edgeOf(lv, *h, false, cut, false, outwardPx)
		m.before = meanOf(lv, span{h.r0, h.r1, h.k0 - beforeGuard - max(leastAround, h.cols()/2), h.k0 - beforeGuard})
		m.ring = (besideRows(lv, h.span) + meanOf(lv, span{h.r0, h.r1, h.k0 - besidePx, h.k0 - besideGuard})) / 3
	}
	if c.shadow != nil {
		s := c.shadow
		m.depth = math.Max(0, s.mean)
		cut := (m.depth + 1) / 2
		near, far := edgeOf(lv, *s, false, cut, true, outwardPx), edgeOf(lv, *s, true, cut, true, outwardPx)
		m.shadowRunsOut = s.k1 >= lv.q.Cols-1
		tip, top := tipOf(lv, *s, cut, true), tipOf(lv, *s, cut, false)
		start := edgeOf(lv, *s, false, cut, true, outwardPx+s.cols())
		m.shadowStart = &start
		m.shadowNear, m.shadowFar, m.shadowTip, m.shadowTop = &near, &far, &tip, &top
		m.shadowRing = (besideRows(lv, s.span) + meanOf(lv, span{s.r0, s.r1, s.k1 + besideGuard, s.k1 + besidePx})) / 3
		m.behind = meanOf(lv, span{s.r0, s.r1, s.k1 + besideGuard, s.k1 + besideGuard + max(leastAround, s.cols()/3)})
		if c.highlight == nil {
			m.near, m.far = near, near
		}
	}
	if c.highlight != nil && c.shadow != nil && !c.wall { // a wall's dark begins where its face ends
		m.gap, m.between = gapOf(lv, m)
		m.dark = stretchOf(lv, *m.highlight, *m.shadow, m.depth, m.far.Value)
	}
	return m
}

// How edges are followed and what lies around them is measured.
const (
	endsAt      = 3    // a highlight ends at one part in so many of the way from plain bottom to its mean
	leastBright = 1.2  // leveled strength that a highlight's mean counts as at least
	insidePx    = 3    // pixels within its edge that a patch is taken up
	outwardPx   = 7    // and followed outwards
	besidePx    = 5    // pixels around a patch that are compared with it,
	besideGuard = 1    // but for the next to it
	leastAround = 3    // pixels before a highlight or behind a shadow that are compared, at least
	beforeGuard = 2    // pixels next before a highlight that are left out
	unknownGap  = 0.5  // strength of what fills a gap too short to hold a whole pixel
	oneColourBy = 0.02 // echo strength within which two pixels are drawn alike: a fiftieth of the scale
)

// highlightCut is the strength at which a highlight ends: a third of the way from plain bottom to its mean, since the mean
// of a speckled patch lies well under its peaks.
func highlightCut(h patch) float64 { return 1 + (math.Max(leastBright, h.mean)-1)/endsAt }

// edgeOf is the median over a patch's rows of where the strength, averaged over three rows, crosses cut near the patch's
// own edge, with the error of that median and of the pixel grid.
func edgeOf(lv *leveled, p patch, far bool, cut float64, dark bool, reach int) features.Measured {
	return medianWithError(crossings(lv, p, far, cut, dark, reach))
}

// crossings are the columns where the strength crosses cut near the patch's own edge, of each of its rows that has one.
func crossings(lv *leveled, p patch, far bool, cut float64, dark bool, reach int) []float64 {
	var at []float64
	for i, k := range edgePerRow(p, far) {
		if k >= 0 {
			at = append(at, crossing(lv, p.r0+i, k, cut, far, dark, reach))
		}
	}
	return at
}

// crossing walks outwards from inside the patch (3 pixels within its edge at column k) to where the strength crosses cut, reach pixels at
// most; where it doesn't cross it by then, the edge is k itself.
func crossing(lv *leveled, r, k int, cut float64, far, dark bool, reach int) float64 {
	step := 1
	start := k - insidePx
	if !far {
		step, start = -1, k+insidePx-1
	}
	inside := func(c int) (float64, bool) {
		v := rowStrength(lv, r, c)
		return v, (v < cut) == dark
	}
	start = min(max(start, 0), lv.q.Cols-1)
	prev, in := inside(start)
	for n := 0; n < insidePx && !in; n++ {
		start = min(max(start-step, 0), lv.q.Cols-1)
		prev, in = inside(start)
	}
	if !in {
		return float64(k)
	}
	for c, n := start+step, 0; c >= 0 && c < lv.q.Cols && n < reach; c, n = c+step, n+1 {
		v, in := inside(c)
		if !in {
			f := 0.5
			if v != prev {
				f = (cut - prev) / (v - prev)
			}
			// pixel centres lie half a pixel in
			return float64(c-step) + float64(step)*f + 0.5
		}
		prev = v
	}
	return float64(k)
}

// rowStrength is the leveled strength at a column, averaged over three rows.
func rowStrength(lv *leveled, r, c int) float64 {
	sum, n := 0.0, 0.0
	for rr := max(0, r-1); rr <= min(lv.q.Rows-1, r+1); rr++ {
		sum += float64(lv.q.At(rr, c))
		n++
	}
	return sum / n
}

// gapOf measures the gap row by row, since both edges of a slanting thing move together, and what fills it.
func gapOf(lv *leveled, m measured) (*features.Measured, float64) {
	h, s := *m.highlight, *m.shadow
	far, near := edgePerRow(h, true), edgePerRow(s, false)
	high, low := highlightCut(h), (m.depth+1)/2
	var gaps []float64
	sum, n := 0.0, 0
	for r := max(h.r0, s.r0); r < min(h.r1, s.r1); r++ {
		f, e := far[r-h.r0], near[r-s.r0]
		if f < 0 || e < 0 {
			continue
		}
		a, z := crossing(lv, r, f, high, true, false, outwardPx), crossing(lv, r, e, low, false, true, outwardPx)
		gaps = append(gaps, z-a)
		for c := int(math.Ceil(a)) + 1; c < int(z)-1; c++ {
			sum += float64(lv.q.At(r, min(max(c, 0), lv.q.Cols-1)))
			n++
		}
	}
	g := features.Gap(m.far, *m.shadowNear)
	if len(gaps) > 0 {
		g = medianWithError(gaps)
	}
	if n == 0 {
		return &g, unknownGap
	}
	return &g, sum / float64(n)
}

// edgePx is one standard deviation of where any edge is drawn: the display's own smoothing, the three-row average and the
// half-way rule leave it even where all rows agree. Measured on rendered captures.
const edgePx = 1.0

// tipPart is the part of a shadow's rows that end before its tip: the very farthest ends are those that speckle carries on.
const tipPart = 0.9

// tipOf is how far a shadow reaches where it reaches farthest, or where it begins nearest. A rounded thing's shadow narrows to its end, so
// that most of its rows end sooner and tell of the thing's flanks; and the echo of its highest point comes back before those of the flanks.
func tipOf(lv *leveled, p patch, cut float64, far bool) features.Measured {
	at := crossings(lv, p, far, cut, true, outwardPx)
	if len(at) == 0 {
		return features.Measured{SD: edgePx}
	}
	slices.Sort(at)
	if !far {
		slices.Reverse(at)
	}
	n := len(at) - 1
	tip := at[int(math.Round(tipPart*float64(n)))]
	// as far from it as the ends just before and behind it
	spread := math.Abs(at[n]-at[int(math.Round((2*tipPart-1)*float64(n)))]) / 2
	return features.Measured{Value: tip, SD: math.Hypot(edgePx, spread)}
}

// medianWithError returns the median with its standard error (1.2533 spread / √n, spread from the median absolute
// deviation) and the edge error in quadrature.
func medianWithError(v []float64) features.Measured {
	if len(v) == 0 {
		return features.Measured{SD: edgePx}
	}
	v = slices.Clone(v)
	slices.Sort(v)
	med := (v[(len(v)-1)/2] + v[len(v)/2]) / 2
	dev := make([]float64, len(v))
	for i, x := range v {
		dev[i] = math.Abs(x - med)
	}
	slices.Sort(dev)
	// neighbouring rows share speckle and smoothing: about one in three is independent
	independent := math.Max(1, float64(len(v))/3)
	return features.Measured{Value: med, SD: math.Hypot(edgePx, 1.2533*madToSigma*dev[len(dev)/2]/math.Sqrt(independent))}
}

// besideRows is the sum of the mean strengths on either side of a span along track.
func besideRows(lv *leveled, a span) float64 {
	return meanOf(lv, span{a.r0 - besidePx, a.r0 - besideGuard, a.k0, a.k1}) +
		meanOf(lv, span{a.r1 + besideGuard, a.r1 + besidePx, a.k0, a.k1})
}

// meanOf is the mean leveled strength of a span clipped to the picture, 1 where nothing of it is left.
func meanOf(lv *leveled, a span) float64 {
	sum, n := 0.0, 0
	for r := max(0, a.r0); r < min(lv.q.Rows, a.r1); r++ {
		for _, v := range lv.q.Row(r)[min(max(0, a.k0), lv.q.Cols):min(max(a.k0, a.k1, 0), lv.q.Cols)] {
			sum += float64(v)
			n++
		}
	}
	if n == 0 {
		return 1
	}
	return sum / float64(n)
}

// evenness returns which share of a highlight's pixels is drawn within a fiftieth of its strongest, and how strong that is.
// Echoes are speckled; writing and symbols are drawn in one colour.
func evenness(s *swath, p patch) (share, top float64) {
	for _, run := range p.runs {
		for _, v := range s.echo.Row(run.Row)[run.Col0:run.Col1] {
			top = math.Max(top, float64(v))
		}
	}
	n := 0
	for _, run := range p.runs {
		for _, v := range s.echo.Row(run.Row)[run.Col0:run.Col1] {
			if float64(v) >= top-oneColourBy {
				n++
			}
		}
	}
	return float64(n) / float64(max(1, p.area)), top
}

func shapeOf(p patch) features.Shape {
	c := features.Component{Row0: p.r0, Row1: p.r1, Col0: p.k0, Col1: p.k1, Runs: p.runs}
	for _, run := range p.runs {
		n := float64(run.Col1 - run.Col0)
		c.Area += run.Col1 - run.Col0
		c.CentroidRow += n * float64(run.Row)
		c.CentroidCol += n * (float64(run.Col0+run.Col1) - 1) / 2
	}
	if c.Area > 0 {
		c.CentroidRow /= float64(c.Area)
		c.CentroidCol /= float64(c.Area)
	}
	shape, err := features.ShapeOf(c, 1, 1)
	if err != nil {
		return features.Shape{Fill: 1, Elongation: 1}
	}
	return shape
}
