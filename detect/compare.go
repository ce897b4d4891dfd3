package detect

import (
	"math"
	"slices"
)

// How far from a candidate others lie close by: so many of its sizes, which count as no less than so many
// pixels, and no farther than so many pixels in all.
const (
	closeSizes  = 3
	leastSizePx = 4
	mostClosePx = 90
)

// compare sets what a candidate is beside the others of its side: how many of them lie within three of its sizes (12 pixels
// at least), since rock fields and rubble are crowded and a fish or a lone log is not; how far it stands out of them; and how sure the
// finder is of the others, near it and anywhere: where it wavers all over a bottom, each of its finds is worth less.
func compare(ms []measured) {
	masses := make([]float64, len(ms))
	for i := range ms {
		masses[i] = ms[i].mass()
	}
	slices.Sort(masses)
	for i := range ms {
		ms[i].standing = math.Log((1 + ms[i].mass()) / (1 + masses[len(masses)/2]))
	}
	for i := range ms {
		m := &ms[i]
		a := m.span()
		reach := min(mostClosePx, closeSizes*max(leastSizePx, a.rows(), a.cols()))
		near, hottest := 0.0, 0.0
		for j := range ms {
			if i == j {
				continue
			}
			b := ms[j].span()
			beside := max(b.r0-a.r1, a.r0-b.r1, b.k0-a.k1, a.k0-b.k1) < reach
			if beside {
				m.crowd++
			}
			if t := ms[j].thing; t != nil {
				hottest = max(hottest, t.heat)
				if beside {
					near += t.heat
				}
			}
		}
		m.hottest, m.company = hottest, math.Log1p(near)
	}
}
