package detect

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
)

// candidate is a highlight with the shadow behind it, either of which may be missing, not yet measured.
type candidate struct {
	highlight *patch
	shadow    *patch
	thing     *thing  // what the finder says of it; nil for one that it didn't find
	wall      bool    // a long face with dark behind it, followed row by row
	line      *line   // the long thin echo that runs through it; nil where none does
	lineShare float64 // the part of that which lies in its box
	overlap   float64 // share of the rows of the shorter of the two that both fill
	evidence  float64 // how strongly the two belong together, 0 to 1
}

// span is the hull of what the candidate consists of.
func (c candidate) span() span {
	switch {
	case c.highlight == nil:
		return c.shadow.span
	case c.shadow == nil:
		return c.highlight.span
	}
	return c.highlight.union(c.shadow.span)
}

// bySpan orders candidates by row, then range.
func bySpan(a, b candidate) int {
	sa, sb := a.span(), b.span()
	if sa.r0 != sb.r0 {
		return sa.r0 - sb.r0
	}
	return sa.k0 - sb.k0
}

// What may be a pair, and what speaks against one as costs beside that of leaving a highlight alone.
const (
	missCost   = 1.0  // leaving a highlight without a shadow
	overlapMin = 0.34 // shared rows below which two patches can't be a pair

	leastReachPx = 24  // the longest gap of a pair, pixels: so much at any range,
	reachShare   = 0.6 // and so much of the range, which means a thing some way up to the boat
	underShare   = 0.6 // a shadow may begin under its highlight by so much of the highlight's length
	underPx      = 4   // and so many pixels
	touchingPx   = 3.0 // gaps up to so many pixels either way are none

	overlapCost = 0.45 // sharing no rows
	gapCost     = 0.12 // any gap
	longGapCost = 0.75 // one as long as can be, on top of that
	underCost   = 0.02 // a pixel that the shadow begins under its highlight
	ratioFree   = 0.25 // log of how much taller one may be than the other for nothing: a shadow is by the beam's width
	ratioCost   = 0.22 // as much as e times more
	smallCost   = 0.35 // a shadow of no area
	smallArea   = 30.0 // pixels over which that falls by e
	evenedOutPx = 2    // rows added to both heights, so that those of two or three rows compare
	aloneCols   = 10   // a shadow stays a candidate by itself from so many pixels of range,
	aloneRows   = 5    // so many rows
	aloneArea   = 90   // and so many pixels on
)

// pair gives every highlight at most one shadow and every shadow at most one highlight at the least total cost over the
// side. A shadow that no highlight takes stays a candidate of its own when it is long and broad, as raised structure
// without a clear bright face throws.
func pair(highlights, shadows []patch) ([]candidate, error) {
	cost := make([][]float64, len(highlights))
	miss := make([]float64, len(highlights))
	for i := range highlights {
		cost[i] = make([]float64, len(shadows))
		miss[i] = missCost
		for j := range shadows {
			cost[i][j] = pairCost(highlights[i], shadows[j])
		}
	}
	partner := make([]int, len(highlights))
	for i := range partner {
		partner[i] = -1
	}
	if len(highlights) > 0 && len(shadows) > 0 {
		var err error
		if partner, _, err = features.AssignOptional(cost, miss); err != nil {
			return nil, fmt.Errorf("pairing %d highlights with %d shadows: %w", len(highlights), len(shadows), err)
		}
	}
	var out []candidate
	taken := make([]bool, len(shadows))
	for i, j := range partner {
		c := candidate{highlight: &highlights[i]}
		if j >= 0 {
			taken[j] = true
			c.shadow = &shadows[j]
			c.overlap = sharedRows(highlights[i].span, shadows[j].span)
			c.evidence = math.Max(0, 1-cost[i][j]/missCost)
		}
		out = append(out, c)
	}
	for j := range shadows {
		if s := &shadows[j]; !taken[j] && s.cols() >= aloneCols && s.rows() >= aloneRows && s.area >= aloneArea {
			out = append(out, candidate{shadow: s})
		}
	}
	slices.SortStableFunc(out, bySpan)
	return out, nil
}

// pairCost is how badly a shadow fits as the one this highlight throws: +Inf when it can't be. The shadow must lie farther
// out and share rows. A gap costs with the height it would mean (a gap as long as the slant range puts the thing halfway
// up to the boat), since fish near the bottom are the common case and a nearer shadow the likelier partner.
func pairCost(h, s patch) float64 {
	overlap := sharedRows(h.span, s.span)
	if overlap < overlapMin || s.k1 <= h.k1+1 || s.k0 < h.k0-1 {
		return math.Inf(1)
	}
	gap, ok := rowGap(h, s)
	if !ok {
		return math.Inf(1)
	}
	reach := math.Max(leastReachPx, reachShare*float64(h.k1))
	if gap > reach || gap < -underShare*float64(h.cols())-underPx {
		return math.Inf(1)
	}
	c := overlapCost * (1 - overlap)
	if gap > touchingPx {
		c += gapCost + longGapCost*gap/reach
	} else if gap < -touchingPx {
		c += underCost * (-gap - touchingPx)
	}
	// a shadow is as tall along track as what throws it, a little taller for the beam's width
	ratio := math.Abs(math.Log(float64(s.rows()+evenedOutPx) / float64(h.rows()+evenedOutPx)))
	c += ratioCost * math.Max(0, ratio-ratioFree)
	c += smallCost * math.Exp(-float64(s.area)/smallArea)
	return c
}

// sharedRows is the overlap of two spans in rows over the shorter's rows.
func sharedRows(a, b span) float64 {
	n := min(a.r1, b.r1) - max(a.r0, b.r0)
	return math.Max(0, float64(n)) / float64(max(1, min(a.rows(), b.rows())))
}

// rowGap is the median over shared rows of the range from the highlight's far edge to the shadow's near edge.
func rowGap(h, s patch) (float64, bool) {
	far := edgePerRow(h, true)
	near := edgePerRow(s, false)
	var gaps []int
	for r := max(h.r0, s.r0); r < min(h.r1, s.r1); r++ {
		f, n := far[r-h.r0], near[r-s.r0]
		if f >= 0 && n >= 0 {
			gaps = append(gaps, n-f)
		}
	}
	if len(gaps) == 0 {
		return 0, false
	}
	slices.Sort(gaps)
	return float64(gaps[len(gaps)/2]), true
}

// edgePerRow returns, per row of a patch, the end of its farthest run or the start of its nearest; -1 where it has none.
func edgePerRow(p patch, far bool) []int {
	out := make([]int, p.rows())
	for i := range out {
		out[i] = -1
	}
	for _, run := range p.runs {
		i := run.Row - p.r0
		switch {
		case far && run.Col1 > out[i]:
			out[i] = run.Col1
		case !far && (out[i] < 0 || run.Col0 < out[i]):
			out[i] = run.Col0
		}
	}
	return out
}
