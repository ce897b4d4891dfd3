package detect

import (
	"fmt"
	"image"
	"math"

	"shadowgap/features"
)

// Where suspended targets are taken to hold, and how sure that is.
const (
	standsOutPx   = 12.0 // relief over which the chance that a hump is one rises by 1 - 1/e, pixels
	fieldAroundPx = 10   // pixels around a rock field that count as over it
	fieldStrength = 0.7  // how sure a rock field is one
)

// findHolds groups the suspended targets that lie beside a hump of the bottom or over a rock field: fish that hold there
// rather than pass by. The odds are those that at least one member is really suspended, scaled by how far the hump stands
// out. Marks are given the id of their hold.
func findHolds(marks []MarkRecord, panels []PanelRecord) []HoldRecord {
	var holds []HoldRecord
	for pi, p := range panels {
		for hi, h := range p.Humps {
			// fish hold on the flanks too: half the hump's own length to either side
			reach := (h.Rows[1] - h.Rows[0]) / 2
			in := func(b Box) bool {
				mid := b.Y + b.H/2
				return mid >= h.Rows[0]-reach && mid < h.Rows[1]+reach
			}
			strength := 1 - math.Exp(-h.ReliefPx/standsOutPx)
			holds = appendHold(holds, marks, pi, fmt.Sprintf("hold-p%d-h%d", pi, hi), in, strength)
		}
		for ri, r := range p.Regions {
			if r.Kind != rockFieldKind {
				continue
			}
			in := func(b Box) bool {
				x, y := b.X+b.W/2, b.Y+b.H/2
				return image.Pt(x, y).In(r.Box.Rect().Inset(-fieldAroundPx))
			}
			holds = appendHold(holds, marks, pi, fmt.Sprintf("hold-p%d-f%d", pi, ri), in, fieldStrength)
		}
	}
	return holds
}

// appendHold adds a hold of the suspended targets that in accepts and that no earlier hold has taken, if there are any.
func appendHold(holds []HoldRecord, marks []MarkRecord, panel int, id string, in func(Box) bool, strength float64) []HoldRecord {
	none := 1.0
	var members []string
	for i := range marks {
		m := &marks[i]
		if m.Panel != panel || m.Hold != nil || m.Class != SuspendedTarget || m.Highlight == nil || !in(*m.Highlight) {
			continue
		}
		members = append(members, m.Mark)
		none *= 1 - m.Odds[SuspendedTarget]
		m.Hold = &id
	}
	if len(members) == 0 {
		return holds
	}
	return append(holds, HoldRecord{ID: id, Marks: members, Odds: features.Round4((1 - none) * strength)})
}
