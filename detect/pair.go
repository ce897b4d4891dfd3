package detect

import "math"

// candidate is a highlight with the shadow behind it, either of which may be missing, not yet measured.
type candidate struct {
	highlight *patch
	shadow    *patch
	thing     *thing  // what the finder says of it; nil for one that was not found by it
	overlap   float64 // share of the rows of the shorter of the two that both fill
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

// sharedRows is the overlap of two spans in rows over the shorter's rows.
func sharedRows(a, b span) float64 {
	n := min(a.r1, b.r1) - max(a.r0, b.r0)
	return math.Max(0, float64(n)) / float64(max(1, min(a.rows(), b.rows())))
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
