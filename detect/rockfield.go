package detect

import "slices"

// What is a rock field, and what stands out of one.
const (
	rockFieldKind    = "rock-field"
	fieldStones      = 8   // paired returns that crowd together
	fieldReachPx     = 12  // pixels between two of them, at most, besides twice the larger one's size,
	farthestStonesPx = 40  // and of large ones
	offBottomErrors  = 3.0 // a gap of so many of its errors hangs over the field
	largerThanField  = 1.5 // how many times the field's median area a mark must have to stand out
	brighterThanIt   = 1.2 // or its median peak
	// Stones from which a field is told as a whole; of fewer each stays a mark that is likelier a thing than nothing. Without that 4 of
	// 123 sure things on real pictures of half A are lost, by a finder and a judge that had not seen them, and 8 of 599 on developing scenes.
	manyStones = 20
)

// rockField is an area of many stones, with the median size and strength of the highlights in it.
type rockField struct {
	span
	area, peak float64
	stones     int // paired returns that make it one
}

func (f rockField) holds(a span) bool {
	return a.r0 >= f.r0 && a.r1 <= f.r1 && a.k0 >= f.k0 && a.k1 <= f.k1
}

// newRockField takes the medians over all highlights that lie in the area, whether or not they made it one.
func newRockField(area span, stones int, ms []measured) rockField {
	f := rockField{span: area, stones: stones}
	var areas, peaks []float64
	for _, m := range ms {
		if m.highlight != nil && f.holds(m.highlight.span) {
			areas = append(areas, float64(m.highlight.area))
			peaks = append(peaks, m.highlight.peak)
		}
	}
	slices.Sort(areas)
	slices.Sort(peaks)
	f.area, f.peak = areas[len(areas)/2], peaks[len(peaks)/2]
	return f
}

// rockFields are the areas where many paired returns crowd together: single-linkage clusters of eight or more that lie
// within twice their typical size of each other.
func rockFields(ms []measured) []rockField {
	var members []span
	for _, m := range ms {
		if m.highlight != nil && m.shadow != nil && !m.highlight.wet {
			members = append(members, m.highlight.span)
		}
	}
	var fields []rockField
	seen := make([]bool, len(members))
	for i := range members {
		if seen[i] {
			continue
		}
		cluster := []int{i}
		seen[i] = true
		hull := members[i]
		for at := 0; at < len(cluster); at++ {
			a := members[cluster[at]]
			reach := min(farthestStonesPx, fieldReachPx+2*max(a.rows(), a.cols()))
			for j, b := range members {
				if !seen[j] && max(b.r0-a.r1, a.r0-b.r1, b.k0-a.k1, a.k0-b.k1) < reach {
					seen[j] = true
					cluster = append(cluster, j)
					hull = hull.union(b)
				}
			}
		}
		if len(cluster) >= fieldStones {
			fields = append(fields, newRockField(hull, len(cluster), ms))
		}
	}
	return fields
}

// lostInField tells whether a mark is one of the many of a rock field, neither much larger nor much stronger than they are, or one of a
// few that is likelier nothing.
func (s *sideView) lostInField(m measured) bool {
	if m.highlight == nil || m.gap != nil && m.gap.Value > offBottomErrors*m.gap.SD {
		return false
	}
	for _, f := range s.fields {
		if f.holds(m.highlight.span) {
			if f.stones < manyStones && m.odds[Clutter] < weakOdds {
				return false
			}
			return float64(m.highlight.area) < largerThanField*f.area && m.highlight.peak < brighterThanIt*f.peak
		}
	}
	return false
}
