package survey

import (
	"cmp"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/track"
)

// HoldRef names a hold of one capture.
type HoldRef struct {
	Capture string `json:"capture"`
	Hold    string `json:"hold"`
}

// Hold is a place where suspended targets keep near a hump or rock field, with every capture that shows it.
type Hold struct {
	ID        string             `json:"id"`      // of its best look
	Holds     []HoldRef          `json:"holds"`   // best first
	Odds      float64            `json:"odds"`    // of its best look: looks at one school aren't independent
	Targets   int                `json:"targets"` // most in one capture: a fish seen twice counts once
	NearestPx float64            `json:"nearest_px"`
	ReliefPx  float64            `json:"relief_px"`
	ReliefM   *features.Measured `json:"relief_m"`
	Position  *detect.Position   `json:"position"`
	Where     Ground             `json:"where"` // what its best look keeps to
}

// Ground is what suspended targets keep to.
type Ground string

// The grounds of a hold.
const (
	OnHump      Ground = "hump"
	OnRockField Ground = "rock-field"
)

// maxHoldGateM is how far apart two holds may lie at most to be one place.
const maxHoldGateM = 100.0

// RankHolds joins the holds of all captures that lie together within their errors and ranks them by odds, number of
// targets, closeness to the hump and relief. NearestPx is the mean distance in rows from the targets to the hump's rows, 0
// over it. A hold without a position stands alone.
func RankHolds(captures []detect.CaptureRecord, marks []detect.MarkRecord) []Hold {
	byID := make(map[string]*detect.MarkRecord, len(marks))
	for i := range marks {
		byID[marks[i].Capture+"\x00"+marks[i].Mark] = &marks[i]
	}
	var all []Hold
	for _, c := range captures {
		for _, h := range c.Holds {
			all = append(all, oneHold(c, h, byID))
		}
	}
	slices.SortStableFunc(all, compareHolds)
	var out []Hold
	cells := map[[3]int32][]int{} // so that a million holds aren't all compared
	for _, h := range all {
		if k := findHold(out, cells, h); k >= 0 {
			out[k].Holds = append(out[k].Holds, h.Holds...)
			out[k].Targets = max(out[k].Targets, h.Targets)
			continue
		}
		if h.Position != nil {
			c := cellOf(track.EarthCentred(h.Position.Lat, h.Position.Lon), maxHoldGateM)
			cells[c] = append(cells[c], len(out))
		}
		out = append(out, h)
	}
	slices.SortStableFunc(out, compareHolds)
	return out
}

func compareHolds(a, b Hold) int {
	return cmp.Or(cmp.Compare(b.Odds, a.Odds), cmp.Compare(b.Targets, a.Targets), cmp.Compare(a.NearestPx, b.NearestPx),
		cmp.Compare(b.ReliefPx, a.ReliefPx), cmp.Compare(a.Holds[0].Capture, b.Holds[0].Capture), cmp.Compare(a.ID, b.ID))
}

// findHold returns the first listed hold that is the same place as h, -1 when there is none.
func findHold(listed []Hold, cells map[[3]int32][]int, h Hold) int {
	if h.Position == nil {
		return -1
	}
	found := -1
	c := cellOf(track.EarthCentred(h.Position.Lat, h.Position.Lon), maxHoldGateM)
	for n := range int32(27) {
		for _, k := range cells[[3]int32{c[0] + n%3 - 1, c[1] + n/3%3 - 1, c[2] + n/9 - 1}] {
			if sameHold(listed[k], h) && (found < 0 || k < found) {
				found = k
			}
		}
	}
	return found
}

// sameHold says whether a hold lies within the errors of one already listed, from another capture.
func sameHold(o, h Hold) bool {
	if o.Position == nil || h.Position == nil ||
		slices.ContainsFunc(o.Holds, func(r HoldRef) bool { return r.Capture == h.Holds[0].Capture }) {
		return false
	}
	pa, pb := track.EarthCentred(o.Position.Lat, o.Position.Lon), track.EarthCentred(h.Position.Lat, h.Position.Lon)
	d := sq(pa[0]-pb[0]) + sq(pa[1]-pb[1]) + sq(pa[2]-pb[2])
	return d <= sq(maxHoldGateM) && d <= chi95/2*(sq(o.Position.ErrorM)+sq(h.Position.ErrorM))
}

func oneHold(c detect.CaptureRecord, h detect.HoldRecord, byID map[string]*detect.MarkRecord) Hold {
	s := Hold{ID: h.ID, Holds: []HoldRef{{c.Capture, h.ID}}, Odds: h.Odds, Targets: len(h.Marks)}
	var placed []detect.Position
	distance, n, overHump, overField := 0.0, 0, 0, 0
	for _, id := range h.Marks {
		m := byID[c.Capture+"\x00"+id]
		if m == nil {
			continue
		}
		if m.Position != nil {
			placed = append(placed, *m.Position)
		}
		if m.Panel < 0 || m.Panel >= len(c.Panels) {
			continue
		}
		nearest, toField := math.Inf(1), math.Inf(1)
		for _, hump := range c.Panels[m.Panel].Humps {
			d := rowsApart(m.Rows, hump.Rows)
			if d < nearest {
				nearest = d
				if hump.ReliefPx > s.ReliefPx {
					s.ReliefPx, s.ReliefM = hump.ReliefPx, hump.ReliefM
				}
			}
		}
		for _, r := range c.Panels[m.Panel].Regions {
			toField = min(toField, rowsApart(m.Rows, [2]int{r.Box.Y, r.Box.Y + r.Box.H}))
		}
		if toField < nearest {
			overField++
		} else if !math.IsInf(nearest, 1) {
			overHump++
		}
		nearest = min(nearest, toField)
		if !math.IsInf(nearest, 1) {
			distance, n = distance+nearest, n+1
		}
	}
	if n > 0 {
		s.NearestPx = distance / float64(n)
	}
	switch {
	case overField > overHump:
		s.Where = OnRockField
	case overHump > 0:
		s.Where = OnHump
	}
	if len(placed) > 0 {
		// a school has a size; and marks of one capture share their errors
		p := Middle(placed)
		s.Position = &p
	}
	return s
}

// rowsApart returns the distance between two half-open row ranges, 0 where they touch or overlap.
func rowsApart(a, b [2]int) float64 { return float64(max(0, b[0]-a[1], a[0]-b[1])) }
