package detect

import (
	"cmp"
	"math"
	"slices"

	"shadowgap/features"
)

// Where the numbers of the evidence stop. They keep logarithms and ratios finite and those of things of a few pixels even; the trees
// are fitted with them. On 24 rendered captures with 80 marks, half or double of each changed no mark's class. No odds of clutter moved
// at all by leastExcess, leastStrength, leastLengthPx and leastGapSDPx, up to 0.06 by addedPx, and up to 0.07 with farthestStart doubled;
// at half of it, which is inside the water column, 3 marks were lost.
const (
	leastExcess   = 0.05 // leveled strength over or under plain bottom of a patch that others are taken as parts of, at least
	leastStrength = 0.1  // leveled strength of a highlight, at least
	farthestStart = 1.5  // slant range of a highlight's start over that of the first return, at most
	leastLengthPx = 1    // length of a shadow, and slant range of its start, at least
	leastGapSDPx  = 0.5  // error of a gap, at least: half a pixel, the picture's own grain
	addedPx       = 2    // added to sizes in ratios, so that one pixel more or less of a thing of few doesn't rule them
)

// evidence is what was measured of a candidate, by the names of the model file; what can't be known is left out.
type evidence map[string]float64

// evidenceOf puts what was measured into the numbers the classifier knows.
func evidenceOf(s *swath, lv *leveled, tail float64, m measured) evidence {
	e := evidence{
		"crowd":    math.Log1p(float64(m.crowd)),
		"cut":      flag(m.cut),
		"crop":     flag(!s.hasZero),
		"beyond":   m.behind,
		"before":   m.before,
		"overlap":  m.overlap,
		"standing": m.standing,
		"mass":     math.Log1p(m.mass()),
		"tail":     tail,
		"wet":      flag(m.highlight != nil && m.highlight.wet),
	}
	if t := m.thing; t != nil {
		e["finds-bottom"], e["finds-suspended"], e["finds-raised"] = t.logit[0], t.logit[1], t.logit[2]
		e["finds-shadow"] = t.shade
		e["finds-most"], e["finds-near"], e["finds-closer"] = m.hottest, m.company, t.near
	}
	if m.highlight != nil {
		e.ofHighlight(s, lv, m)
	}
	if m.shadow != nil {
		e.ofShadow(s, lv, m)
	}
	if m.gap != nil {
		e.ofGap(s, m)
	}
	if m.line != nil {
		e.ofLine(m)
	}
	return e
}

// ofHighlight adds what a highlight shows.
func (e evidence) ofHighlight(s *swath, lv *leveled, m measured) {
	h := m.highlight
	e["highlight-range"] = math.Log(float64(h.cols()))
	e["highlight-rows"] = math.Log(float64(h.rows()))
	e["highlight-area"] = math.Log(float64(h.area))
	e["highlight-peak"] = math.Log1p(h.peak)
	e["highlight-even"], e["highlight-top"] = m.even, m.top
	e["row-from-edge"] = math.Log1p(float64(min(h.r0, s.echo.Rows-h.r1)))
	e["highlight-fine"] = math.Log1p(h.fine)
	e["highlight-wide"] = math.Log1p(h.wide)
	e["highlight-ring"] = m.ring
	e["highlight-edge"] = (h.mean - m.ring) / math.Max(leastExcess, h.mean-1)
	e["highlight-strength"] = math.Log(math.Max(leastStrength, h.mean))
	e["highlight-spreads"] = (h.mean - 1) / lv.sigma
	e["highlight-fill"] = m.shape.Fill
	e["highlight-elongation"] = math.Log(math.Max(1, m.shape.Elongation))
	if edge := firstReturnBeside(lv, m); edge > 0 && s.hasZero {
		e["water-share"] = 1 - math.Min(farthestStart, float64(h.k0)/edge)
	}
}

// ofShadow adds what a shadow shows.
func (e evidence) ofShadow(s *swath, lv *leveled, m measured) {
	sh := m.shadow
	e["shadow-length"] = math.Log(math.Max(leastLengthPx, m.shadowFar.Value-m.shadowNear.Value))
	e["shadow-rows"] = math.Log(float64(sh.rows()))
	e["shadow-depth"] = m.depth
	e["shadow-fine"] = math.Log1p(sh.fine)
	e["shadow-wide"] = math.Log1p(sh.wide)
	e["shadow-ring"] = m.shadowRing
	e["shadow-edge"] = (m.shadowRing - m.depth) / math.Max(leastExcess, 1-m.depth)
	e["shadow-peak"] = math.Log1p(sh.peak)
	e["shadow-area"] = math.Log(float64(sh.area))
	if firstReturnBeside(lv, m) > 0 && s.hasZero && m.shadowFar.Value > 0 {
		e["height-share"] = math.Max(0, 1-m.far.Value/m.shadowFar.Value)
	}
}

// ofGap adds what highlight and shadow show together.
func (e evidence) ofGap(s *swath, m measured) {
	e["gap"] = m.gap.Value
	e["gap-errors"] = m.gap.Value / math.Max(leastGapSDPx, m.gap.SD)
	e["gap-sizes"] = m.gap.Value / float64(m.highlight.cols()+addedPx)
	e["between"] = m.between
	e["pair"] = m.evidence
	e["row-ratio"] = math.Log(float64(m.shadow.rows()+addedPx) / float64(m.highlight.rows()+addedPx))
	if s.hasZero && m.far.Value > 0 {
		e["underside-share"] = m.gap.Value / math.Max(leastLengthPx, m.far.Value+m.gap.Value)
	}
}

// firstReturnBeside is the column at which bottom begins at a candidate's middle row; 0 where the water column isn't in view.
func firstReturnBeside(lv *leveled, m measured) float64 {
	hull := m.span()
	mid := (hull.r0 + hull.r1) / 2
	return float64(lv.edge[min(max(mid, 0), len(lv.edge)-1)])
}

// classify gives every mark of a side, compared with the others, its odds. tail is that of the side's segments.
func (d *Detector) classify(s *swath, lv *leveled, tail float64, ms []measured) []measured {
	numbers := make([]map[string]float64, len(ms))
	for i := range ms {
		numbers[i] = evidenceOf(s, lv, tail, ms[i])
	}
	out := slices.Clone(ms)
	for i, odds := range d.judge.Odds(numbers) {
		m := &out[i]
		m.numbers, m.odds = numbers[i], make(Odds, len(odds))
		for c, p := range odds {
			m.odds[Class(d.model.Classes[c])] = features.Round4(p)
		}
		m.settleByGap()
		if m.wall { // the judge has learned of none: they are told by their faces alone
			m.odds = wallOdds()
		}
	}
	return out
}

// likely are the marks that are told.
func likely(ms []measured) []measured {
	var out []measured
	for _, m := range ms {
		if m.odds.Something() {
			out = append(out, m)
		}
	}
	return out
}

// How much of a mark's highlight may be a surer one's. Of 200 developing scenes' told marks that share more, 17 are second marks on the
// same thing or none at all, and one is a thing of its own.
const (
	mostShared  = 0.2 // intersection over union
	mostCovered = 0.6 // of the surer one's highlight, covered by the other's
)

// oneEach leaves out the told marks that a surer one has told already: two boxes of one thing, or a wide one round it. What lies inside a
// surer one's box stays, since that of a wall lying aslant holds much else.
func oneEach(ms []measured) []measured {
	order := make([]int, 0, len(ms))
	for i := range ms {
		if ms[i].highlight != nil && ms[i].odds.Something() {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(ms[a].odds[Clutter], ms[b].odds[Clutter]) })
	again := make([]bool, len(ms))
	for n, i := range order {
		again[i] = slices.ContainsFunc(order[:n], func(j int) bool {
			return !again[j] && repeats(ms[i].highlight.span, ms[j].highlight.span)
		})
	}
	var out []measured
	for i, m := range ms {
		if !again[i] {
			out = append(out, m)
		}
	}
	return out
}

func repeats(a, surer span) bool {
	return a.overlap(surer) > mostShared || surer.shareIn(a) > mostCovered
}

// Repeats tells whether a mark with the highlight a is left out where there is a surer one, which has told of its thing already.
func Repeats(a, surer Box) bool {
	of := func(b Box) span { return span{r0: b.Y, r1: b.Y + b.H, k0: b.X, k1: b.X + b.W} }
	return repeats(of(a), of(surer))
}

// The gap decides between hanging and lying where it is this many of its own errors and pixels wide and the odds are no clearer than
// undecided. What looks bulky is called hanging only by odds clearer than doubtful: of 1482 bottom objects and suspended targets told in
// 790 rendered captures, that puts 14 bottom objects right and no suspended target wrong; without this limit it would be 16 and 3.
const (
	clearGapErrors = 4.0
	clearGapPx     = 6.0
	undecided      = 1.6 // odds of lying over odds of hanging
	doubtful       = 3.0 // odds of hanging over odds of lying
)

// settleByGap lets geometry have the last word between an object on the bottom and a suspended target where the odds hardly prefer
// either: a shadow that starts well behind its return is thrown by something over the bottom, unless that is bulky; one that touches it
// by what lies there.
func (m *measured) settleByGap() {
	lies, hangs, bulky := m.odds[BottomObject], m.odds[SuspendedTarget], m.bulky()
	falls := hangs > lies && (m.touches() && hangs <= undecided*lies || bulky && hangs <= doubtful*lies)
	rises := lies > hangs && m.clearGap() && !bulky && lies <= undecided*hangs
	if falls || rises {
		m.odds[BottomObject], m.odds[SuspendedTarget] = hangs, lies
	}
}

// bulky tells whether the finder takes a candidate for lying on the bottom and its shadow is no shorter than its gap. The two are to each
// other about as a hanging thing's thickness and its clearance, so that it would be thicker than it is high up; a stone, a crate or a
// trunk shows such a gap too, where its near rim is bright and its back is drawn as bright as the bottom.
func (m *measured) bulky() bool {
	return m.gap != nil && m.thing != nil && m.thing.logit[0] > m.thing.logit[1] &&
		m.shadowFar.Value-m.shadowNear.Value >= m.gap.Value
}

// clearGap tells whether the shadow starts well behind the return.
func (m *measured) clearGap() bool {
	return m.gap != nil && m.gap.Value >= clearGapErrors*m.gap.SD+clearGapPx
}

// touches tells whether the shadow begins where a return on the bottom ends, within the gap's error.
func (m *measured) touches() bool {
	return m.gap != nil && m.highlight != nil && !m.highlight.wet && m.gap.Value <= zeroGapErrors*m.gap.SD
}

// likeliest returns the class with the greatest odds; ties go to the class listed first.
func (o Odds) likeliest() Class {
	best := Classes[0]
	for _, c := range Classes {
		if o[c] > o[best] {
			best = c
		}
	}
	return best
}

// likeliestReal is likeliest among the classes of real things.
func (o Odds) likeliestReal() Class {
	best := Classes[0]
	for _, c := range Classes {
		if c != Clutter && o[c] > o[best] {
			best = c
		}
	}
	return best
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
