package detect

import (
	"math"
	"slices"
)

// How near two highlights must lie to be one thing.
const (
	joinReachPx  = 8    // pixels between them, at most
	joinLeastPx  = 2.0  // and, of things of any size, at least
	joinShare    = 0.15 // in between, a part of the larger one's size
	splinterPart = 0.3  // the same for a splinter beside something twice its size
)

// group joins highlight fragments that belong to one thing: a log or a frame is a chain of glints. Two fragments join when
// the space between their boxes is small beside the larger of them; a shadow between them keeps them apart, for what lies
// behind a shadow is another thing.
func group(highlights, shadows []patch) []patch {
	parent := make([]int, len(highlights))
	for i := range parent {
		parent[i] = i
	}
	find := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	order := make([]int, len(highlights))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return highlights[a].r0 - highlights[b].r0 })
	for a, i := range order {
		for _, j := range order[a+1:] {
			hi, hj := highlights[i], highlights[j]
			if hj.r0 > hi.r1+joinReachPx {
				break
			}
			if hi.wet != hj.wet {
				continue
			}
			space := max(hj.r0-hi.r1, hi.r0-hj.r1, hj.k0-hi.k1, hi.k0-hj.k1)
			size, other := max(hi.rows(), hi.cols()), max(hj.rows(), hj.cols())
			share := joinShare
			if 2*min(size, other) <= max(size, other) {
				share = splinterPart
			}
			if float64(space) > math.Min(joinReachPx, math.Max(joinLeastPx, share*float64(max(size, other)))) {
				continue
			}
			if shadowBetween(hi.span, hj.span, shadows) {
				continue
			}
			parent[find(i)] = find(j)
		}
	}
	joined := make(map[int]*patch)
	var roots []int
	for _, i := range order {
		r := find(i)
		g, ok := joined[r]
		if !ok {
			c := highlights[i]
			c.runs = slices.Clone(c.runs)
			joined[r] = &c
			roots = append(roots, r)
			continue
		}
		h := highlights[i]
		g.mean = (g.mean*float64(g.area) + h.mean*float64(h.area)) / float64(g.area+h.area)
		g.span, g.area, g.peak = g.union(h.span), g.area+h.area, math.Max(g.peak, h.peak)
		g.fine, g.wide = math.Max(g.fine, h.fine), math.Max(g.wide, h.wide)
		g.runs = append(g.runs, h.runs...)
	}
	out := make([]patch, 0, len(roots))
	for _, r := range roots {
		g := joined[r]
		slices.SortFunc(g.runs, byRaster)
		out = append(out, *g)
	}
	return out
}

// shadowBetween tells whether a shadow fills most of the range between two highlights that share rows.
func shadowBetween(a, b span, shadows []patch) bool {
	if a.k0 > b.k0 {
		a, b = b, a
	}
	between := span{max(a.r0, b.r0), min(a.r1, b.r1), a.k1, b.k0}
	if between.rows() <= 0 || between.cols() <= 0 {
		return false
	}
	dark := 0
	for _, s := range shadows {
		if s.k0 >= between.k1 || s.k1 <= between.k0 {
			continue
		}
		for _, run := range s.runs {
			if run.Row >= between.r0 && run.Row < between.r1 {
				dark += max(0, min(run.Col1, between.k1)-max(run.Col0, between.k0))
			}
		}
	}
	return dark*2 > between.rows()*between.cols()
}
