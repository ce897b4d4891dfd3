package eval

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/features"
)

// Gate says when a mark and a label may be the same thing.
type Gate struct {
	MinIoU      float64 // overlap of the boxes, intersection over union
	MinCentrePx float64 // or centres at most this far apart,
	CentreShare float64 // or this share of the label box's diagonal, whichever is more; both 0 = by overlap alone
}

// DefaultGate returns an overlap of a fifth, or centres within half the diagonal or 4 pixels: a person's box and a threshold's box
// of the same small bright thing rarely agree better.
func DefaultGate() Gate { return Gate{MinIoU: 0.2, MinCentrePx: 4, CentreShare: 0.5} }

// IoU is the area two boxes share over the area they cover together, 0 to 1.
func IoU(a, b detect.Box) float64 {
	x := min(a.X+a.W, b.X+b.W) - max(a.X, b.X)
	y := min(a.Y+a.H, b.Y+b.H) - max(a.Y, b.Y)
	if x <= 0 || y <= 0 {
		return 0
	}
	both := float64(x) * float64(y)
	return both / (float64(a.W)*float64(a.H) + float64(b.W)*float64(b.H) - both)
}

// centreDistance is the distance between the centres of two boxes in pixels.
func centreDistance(a, b detect.Box) float64 {
	dx := float64(a.X-b.X) + float64(a.W-b.W)/2
	dy := float64(a.Y-b.Y) + float64(a.H-b.H)/2
	return math.Hypot(dx, dy)
}

// distance is 0 for equal boxes and below 1 where they overlap enough, then 1 to 2 where only the centres are close enough,
// and +Inf where the gate keeps mark and label apart.
func (g Gate) distance(label, mark detect.Box) float64 {
	if iou := IoU(label, mark); iou >= g.MinIoU && iou > 0 {
		return 1 - iou
	}
	reach := math.Max(g.MinCentrePx, g.CentreShare*math.Hypot(float64(label.W), float64(label.H)))
	if d := centreDistance(label, mark); reach > 0 && d <= reach {
		return 1 + d/reach
	}
	return math.Inf(1)
}

// pair returns the distance of a label and a mark by the part both have.
func (g Gate) pair(l *MarkLabel, m *detect.MarkRecord) float64 {
	if a, b, ok := InCommon(l.Highlight, l.Shadow, m.Highlight, m.Shadow); ok {
		return g.distance(a, b)
	}
	return math.Inf(1)
}

// InCommon returns the boxes, in pixels, that two things are compared by, from each one's highlight and shadow, nil where it has none:
// those of the highlights, else those of the shadows. ok is false where they have neither in common.
func InCommon(litA, darkA, litB, darkB *detect.Box) (a, b detect.Box, ok bool) {
	switch {
	case litA != nil && litB != nil:
		return *litA, *litB, true
	case darkA != nil && darkB != nil:
		return *darkA, *darkB, true
	}
	return a, b, false
}

// box returns what a label is told by: its highlight, or its shadow where there is none.
func (l *MarkLabel) box() detect.Box {
	if l.Highlight != nil {
		return *l.Highlight
	}
	return *l.Shadow
}

// fate says what became of a mark.
type fate int

// The fates of a mark.
const (
	fateFalse    fate = iota // nothing is there
	fateFound                // it is one of the labels that count
	fateDontCare             // it is a label too small, too faint or too unsure to count
	fateInRegion             // nothing is labelled there, but it lies in a labelled region such as a rock field
)

// matching is the marks of one capture laid against its labels.
type matching struct {
	markOf  []int  // per label, index of its mark or -1
	labelOf []int  // per mark, index of its label or -1
	fate    []fate // per mark
}

// matchOptimal pairs as many counted labels with marks as the gate allows, one-to-one, and among those ways takes the one of
// least total distance. Marks left over are then laid against the labels that don't count, in the same way.
func matchOptimal(g Gate, labels []MarkLabel, counts []bool, marks []*detect.MarkRecord, regions []detect.Region) (matching, error) {
	m := newMatching(len(labels), len(marks))
	for _, counted := range []bool{true, false} {
		var ls, ms []int
		for i := range labels {
			if counts[i] == counted {
				ls = append(ls, i)
			}
		}
		for j := range marks {
			if m.labelOf[j] < 0 {
				ms = append(ms, j)
			}
		}
		cost, miss := make([][]float64, len(ls)), make([]float64, len(ls))
		for a, i := range ls {
			cost[a] = make([]float64, len(ms))
			miss[a] = 3 * float64(len(ls)+1) // dearer than any chain of worse pairs
			for b, j := range ms {
				cost[a][b] = g.pair(&labels[i], marks[j])
			}
		}
		got, _, err := features.AssignOptional(cost, miss)
		if err != nil {
			return matching{}, fmt.Errorf("matching marks with labels: %w", err)
		}
		for a, b := range got {
			if b >= 0 {
				m.join(ls[a], ms[b], counted)
			}
		}
	}
	m.regionFates(marks, regions)
	return m, nil
}

// matchByScore pairs as a threshold sweep must: the best scored mark takes the nearest free label, then the next, so what a
// mark gets never depends on marks scored below it. The order of marks of equal score is their order in the run.
func matchByScore(
	g Gate, labels []MarkLabel, counts []bool, marks []*detect.MarkRecord, regions []detect.Region, score func(*detect.MarkRecord) float64,
) matching {
	m := newMatching(len(labels), len(marks))
	order := make([]int, len(marks))
	for j := range order {
		order[j] = j
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(score(marks[b]), score(marks[a])) })
	for _, j := range order {
		best, at := math.Inf(1), -1
		for i := range labels {
			if m.markOf[i] >= 0 {
				continue
			}
			d := g.pair(&labels[i], marks[j])
			if !counts[i] {
				d += 2 // a label that counts comes first
			}
			if d < best {
				best, at = d, i
			}
		}
		if at >= 0 {
			m.join(at, j, counts[at])
		}
	}
	m.regionFates(marks, regions)
	return m
}

func newMatching(labels, marks int) matching {
	m := matching{make([]int, labels), make([]int, marks), make([]fate, marks)}
	for i := range m.markOf {
		m.markOf[i] = -1
	}
	for j := range m.labelOf {
		m.labelOf[j] = -1
	}
	return m
}

func (m *matching) join(label, mark int, counted bool) {
	m.markOf[label], m.labelOf[mark] = mark, label
	m.fate[mark] = fateDontCare
	if counted {
		m.fate[mark] = fateFound
	}
}

// NothingIn tells of a kind of labelled region that it holds no things: a mark there is as false as on plain bottom. In the others
// (rock fields, shadows of things out of view) there may be things that nobody labelled.
func NothingIn(kind string) bool {
	switch kind {
	case "ripples", "cloud", "scour", "pits", "clutter", "vegetation", "weed":
		return true
	}
	return false
}

func (m *matching) regionFates(marks []*detect.MarkRecord, regions []detect.Region) {
	for j, mark := range marks {
		if m.fate[j] != fateFalse {
			continue
		}
		centre := markMiddle(mark)
		for _, r := range regions {
			if !NothingIn(r.Kind) && centre.In(r.Box.Rect()) {
				m.fate[j] = fateInRegion
			}
		}
	}
}
