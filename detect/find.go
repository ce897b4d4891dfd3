package detect

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
	"shadowgap/models/finder"
)

// What is taken for a thing in the finder's answer.
const (
	leastHeat = 0.06 // odds at a thing's middle from which it is a candidate: the judge decides, and what is no candidate it never sees
	sameThing = 0.35 // overlap of two highlights, intersection over union, from which they are one thing
	insideOf  = 0.6  // part of a weaker thing's box inside a stronger's from which it is a splinter of that
	// odds from which what lies inside a stronger thing's box is one of its own all the same: the box of a wall lying aslant holds much that
	// is no part of it. On developing scenes none of 480 splinters is as sure; in half A's harbour 66 of 68 as sure as that are labelled
	ownOdds    = 0.4
	seenShadow = 0.4  // odds of a visible shadow from which it is told
	darker     = 0.15 // leveled strength by which a pair's shadow is under the finder's from which it is the right one of the two
	mostThings = 400  // of one side; a capture that has more shows gravel
)

// thing is what the finder says of one place, in pixels of the side.
type thing struct {
	logit     [finder.Kinds]float64
	shade     float64 // logit that it throws a visible shadow
	near      float64 // how much surer of it the finder's closer look is than both together, in natural units: only that sees what is small
	heat      float64 // odds of the likeliest class
	highlight span
	shadow    span // empty where none is seen
}

// find asks the finder's network for the things of a side.
func find(s *swath, lv *leveled, f *finder.Finder) ([]thing, error) {
	view := newFinderView(s, lv, s.arena)
	answer, err := f.Find(view.Planes, view.Rows, view.Cols)
	if err != nil {
		return nil, fmt.Errorf("the %s swath: %w", s.side, err)
	}
	return things(answer, view, s.echo.Rows, s.echo.Cols), nil
}

// things reads the finder's answer for a side of rows × cols pixels: local maxima of the heat, strongest first, one a thing.
func things(answer []float32, v *FinderView, rows, cols int) []thing {
	high, wide := v.Rows/2, v.Cols/2
	plane := func(c int) []float32 { return answer[c*high*wide : (c+1)*high*wide] }
	heat := make([]float32, high*wide)
	copy(heat, plane(0))
	for c := 1; c < finder.Kinds; c++ {
		for i, l := range plane(c) {
			heat[i] = max(heat[i], l)
		}
	}
	least := float32(math.Log(leastHeat / (1 - leastHeat)))
	var found []thing
	for y := range high {
		for x := range wide {
			i := y*wide + x
			if heat[i] < least || !isPeak(heat, high, wide, y, x) {
				continue
			}
			if t, ok := thingAt(plane, i, float64(2*y+1), float64(2*x+1), v.Scale, rows, cols); ok {
				found = append(found, t)
			}
		}
	}
	slices.SortStableFunc(found, func(a, b thing) int {
		switch {
		case a.heat > b.heat:
			return -1
		case a.heat < b.heat:
			return 1
		}
		return 0
	})
	var out []thing
	for _, t := range found {
		if len(out) == mostThings {
			break
		}
		if !slices.ContainsFunc(out, func(o thing) bool {
			splinter := t.highlight.shareIn(o.highlight) > insideOf && t.heat < ownOdds
			return splinter || o.highlight.overlap(t.highlight) > sameThing
		}) {
			out = append(out, t)
		}
	}
	return out
}

// isPeak tells whether no neighbour is hotter, ties going to the first.
func isPeak(heat []float32, high, wide, y, x int) bool {
	here := heat[y*wide+x]
	for yy := max(0, y-1); yy <= min(high-1, y+1); yy++ {
		for xx := max(0, x-1); xx <= min(wide-1, x+1); xx++ {
			v := heat[yy*wide+xx]
			if v > here || v == here && (yy < y || yy == y && xx < x) {
				return false
			}
		}
	}
	return true
}

// thingAt reads the boxes at a place, clipped to the side; ok is false when nothing of its highlight lies in it.
func thingAt(plane func(int) []float32, i int, cy, cx, scale float64, rows, cols int) (thing, bool) {
	t := thing{shade: float64(plane(finder.SeenShadow)[i]), near: float64(plane(finder.Closer)[i])}
	top := math.Inf(-1)
	for c := range t.logit {
		t.logit[c] = float64(plane(c)[i])
		top = max(top, t.logit[c])
	}
	t.heat = sigmoid(top)
	at := func(c int, centre float64) int {
		return int(math.Round((centre + finder.Distance(plane(c)[i])) * scale))
	}
	box := func(c int) span {
		return span{at(c, cy), at(c+1, cy), at(c+2, cx), at(c+3, cx)}.intersect(span{0, rows, 0, cols})
	}
	t.highlight = box(finder.HighlightBox)
	if sigmoid(t.shade) > seenShadow {
		t.shadow = box(finder.ShadowBox)
	}
	return t, t.highlight.rows() > 0 && t.highlight.cols() > 0
}

func sigmoid(v float64) float64 { return 1 / (1 + math.Exp(-v)) }

// intersect is what two spans share; it has no rows or no columns when they share nothing.
func (a span) intersect(b span) span {
	return span{max(a.r0, b.r0), min(a.r1, b.r1), max(a.k0, b.k0), min(a.k1, b.k1)}
}

// size is the number of pixels of a span, 0 for an empty one.
func (a span) size() float64 { return float64(max(0, a.rows())) * float64(max(0, a.cols())) }

// overlap is what two spans share over what they cover together, 0 where neither covers anything.
func (a span) overlap(b span) float64 {
	both := a.intersect(b).size()
	if both == 0 {
		return 0
	}
	return both / (a.size() + b.size() - both)
}

// shareIn is the part of a span that lies in another, 0 of an empty one.
func (a span) shareIn(b span) float64 {
	both := a.intersect(b).size()
	if both == 0 {
		return 0
	}
	return both / a.size()
}

// candidates are the finder's things and, of what stands out by its strength alone, the pairs that it has not found: it knows textures,
// a threshold knows what no texture does. A thing of the finder's without a shadow, or with one
// that is none, takes that of the pair it lies on.
func (seg *segments) candidates(lv *leveled, found []thing, pairs []candidate) []candidate {
	out := seg.candidatesOf(lv, found)
	byFinder := len(out)
	for _, p := range pairs {
		same := slices.IndexFunc(out[:byFinder], func(c candidate) bool { return isSame(c, p) })
		if same < 0 {
			out = append(out, p)
		} else if c := &out[same]; c.takesShadowOf(p) {
			c.shadow, c.evidence = p.shadow, p.evidence
		}
	}
	for i := range out {
		if c := &out[i]; c.highlight != nil && c.shadow != nil {
			c.overlap = sharedRows(c.highlight.span, c.shadow.span)
		}
	}
	slices.SortStableFunc(out, bySpan)
	return out
}

// candidatesOf gathers the pixels of the finder's things; those of which none stand out are left out.
func (seg *segments) candidatesOf(lv *leveled, found []thing) []candidate {
	var out []candidate
	for i := range found {
		t := &found[i]
		c := candidate{thing: t}
		if h, ok := seg.patchIn(lv, t.highlight, true); ok {
			c.highlight = &h
		}
		if t.shadow.rows() > 0 && t.shadow.cols() > 0 {
			if s, ok := seg.patchIn(lv, t.shadow, false); ok {
				c.shadow = &s
			}
		}
		if c.highlight != nil || c.shadow != nil {
			out = append(out, c)
		}
	}
	return out
}

// takesShadowOf tells whether the shadow of a pair on the same place is better than what the finder has given a candidate.
func (c *candidate) takesShadowOf(p candidate) bool {
	if c.highlight == nil || p.highlight == nil || p.shadow == nil {
		return false
	}
	return c.shadow == nil || p.shadow.mean < c.shadow.mean-darker
}

// isSame tells whether a pair found by strength is what the finder found already: its highlight (else its shadow) lies on the same place.
func isSame(c, p candidate) bool {
	of := func(c candidate) span {
		if c.highlight != nil {
			return c.highlight.span
		}
		return c.shadow.span
	}
	a, b := of(c), of(p)
	if (c.highlight == nil) != (p.highlight == nil) {
		return false
	}
	return a.overlap(b) > sameThing || max(a.shareIn(b), b.shareIn(a)) > insideOf
}

// How the pixels of one of the finder's boxes are gathered.
const (
	outstanding = 3 // a pixel belongs to a thing from one part in so many of the way from plain bottom to the thing's extreme
	boxSlackPx  = 2 // pixels that a box's sides may be off by in range
	longerBy    = 3 // a shadow may go on beyond its box by one part in so many of the box's length
)

// patchIn gathers the pixels of a box that are brighter (or darker) than a third of the way from plain bottom to the box's own
// extreme, by the finest mean, and what goes on from them in range beyond the box: its sides are good to a cell or two, and a
// shadow's far end to a part of its length. ok is false when too few are.
func (seg *segments) patchIn(lv *leveled, box span, bright bool) (patch, bool) {
	fine := seg.fields[0].mean
	cut := 1 + (extremeIn(fine, box, bright)-1)/outstanding
	reach := boxSlackPx
	if !bright {
		reach += box.cols() / longerBy
	}
	from, to := max(0, box.k0-boxSlackPx), min(fine.Cols, box.k1+reach)
	p := patch{span: box}
	sum, wet := 0.0, 0
	for r := box.r0; r < box.r1; r++ {
		p.runs = appendRuns(p.runs, r, fine.Row(r)[:to], from, box, cut, bright)
	}
	for _, run := range p.runs {
		p.k0, p.k1 = min(p.k0, run.Col0), max(p.k1, run.Col1)
		p.area += run.Col1 - run.Col0
		for c := run.Col0; c < run.Col1; c++ {
			sum += float64(lv.q.At(run.Row, c))
			if lv.mask[run.Row*lv.q.Cols+c] == regionWater {
				wet++
			}
		}
	}
	if p.area < leastArea/2 {
		return patch{}, false
	}
	p.mean = sum / float64(p.area)
	p.wet = wet*2 > p.area
	p.peak, p.fine, p.wide = seg.peaksOf(p.runs, bright)
	return p, true
}

// extremeIn is the greatest (or least) strength in a box, plain bottom's where nothing is beyond it.
func extremeIn(mean *features.Grid, box span, bright bool) float32 {
	extreme := float32(1)
	for r := box.r0; r < box.r1; r++ {
		for _, v := range mean.Row(r)[box.k0:box.k1] {
			if bright {
				extreme = max(extreme, v)
			} else {
				extreme = min(extreme, v)
			}
		}
	}
	return extreme
}

// appendRuns appends the runs of row r, from a column on, that lie beyond cut and reach into a box.
func appendRuns(runs []features.PixelRun, r int, row []float32, from int, box span, cut float32, bright bool) []features.PixelRun {
	inside := func(v float32) bool { return bright && v > cut || !bright && v < cut }
	for k := from; k < len(row); k++ {
		if !inside(row[k]) {
			continue
		}
		end := k
		for end < len(row) && inside(row[end]) {
			end++
		}
		if k < box.k1 && end > box.k0 {
			runs = append(runs, features.PixelRun{Row: r, Col0: k, Col1: end})
		}
		k = end
	}
	return runs
}
