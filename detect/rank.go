package detect

import (
	"math"
	"slices"
)

// furtherMark is how much less each further mark of a capture adds to its interest: marks of one bottom are right or wrong together, and
// the tenth hardly makes a capture more worth a look. With 1, every capture of a rocky bottom would be as interesting as can be.
const furtherMark = 0.6

// rank orders marks and gives the capture its interest: the chance that what it holds deserves a second look, with suspended targets
// near humps counting most.
func rank(res *Result) {
	worth := func(m MarkRecord) float64 {
		w := 0.85*m.Odds[SuspendedTarget] + 0.6*m.Odds[RaisedStructure] + 0.45*m.Odds[BottomObject]
		if m.OnHump {
			w += 0.12 * m.Odds[SuspendedTarget]
		}
		return w
	}
	slices.SortStableFunc(res.Marks, func(a, b MarkRecord) int {
		wa, wb := worth(a), worth(b)
		switch {
		case wa > wb:
			return -1
		case wa < wb:
			return 1
		}
		return 0
	})
	nothing, share := 1.0, 0.6
	for _, m := range res.Marks {
		res.Counts[m.Class]++
		nothing *= 1 - share*worth(m)
		share *= furtherMark
	}
	for _, h := range res.Holds {
		nothing *= 1 - 0.5*h.Odds
	}
	for _, p := range res.Panels {
		if len(p.Humps) > 0 {
			nothing *= 0.92
		}
	}
	res.Interest = math.Round((1-nothing)*1e4) / 1e4
}
