package detect

import "shadowgap/features"

// How a shadow's profile along range is taken and followed.
const (
	middlePart   = 0.7 // of the rows that highlight and shadow share: towards its flanks a shadow begins later and ends sooner
	mostRows     = 16  // that are averaged: of more, so many spread evenly
	speckCounts  = 2.0 // leveled strength that a pixel counts as at most
	stretchReach = 1.5 // lengths of the shadow that its ends may lie outside of where it was found,
	stretchPx    = 7   // and so many pixels
	stretchSlack = 3.0 // see features.LowRun: about six pixels of plain bottom in a row
)

// stretch is where a shadow begins and ends, in slant pixels.
type stretch struct{ from, to float64 }

// stretchOf is the stretch over which the strength, averaged over the middle rows, is nearer a shadow's own than plain bottom's. It
// takes all rows at once, where edges are found row by row, and hangs little on the box that the shadow was found in; far is the
// highlight's far edge, which the shadow doesn't begin before.
func stretchOf(lv *leveled, h, s patch, depth, far float64) stretch {
	profile, k0 := profileOf(lv, h, s, int(far))
	mid := min(max((s.k0+s.k1)/2-k0, 0), len(profile))
	cut := (depth + 1) / 2
	to := features.LowRun(profile[mid:], cut, stretchSlack)
	back := make([]float64, mid)
	for i := range back {
		back[i] = profile[mid-1-i]
	}
	from := features.LowRun(back, cut, stretchSlack)
	return stretch{float64(k0 + mid - from), float64(k0 + mid + to)}
}

// profileOf is the mean strength over the middle rows that a highlight and its shadow share, column by column from k0 on.
func profileOf(lv *leveled, h, s patch, far int) (profile []float64, k0 int) {
	r0, r1 := max(h.r0, s.r0), min(h.r1, s.r1)
	if r1 <= r0 {
		r0, r1 = s.r0, s.r1
	}
	n := max(1, int(middlePart*float64(r1-r0)+0.5))
	r0 += (r1 - r0 - n) / 2
	reach := int(stretchReach*float64(s.cols())) + stretchPx
	k0 = min(max(0, far, s.k0-reach), lv.q.Cols)
	k1 := max(k0, min(lv.q.Cols, s.k1+reach))
	profile = make([]float64, k1-k0)
	taken := min(n, mostRows)
	for i := range taken {
		for j, v := range lv.q.Row(r0 + i*n/taken)[k0:k1] {
			profile[j] += float64(min(v, speckCounts))
		}
	}
	for j := range profile {
		profile[j] /= float64(taken)
	}
	return profile, k0
}
