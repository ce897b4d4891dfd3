package detect

import (
	"cmp"
	"slices"

	"shadowgap/features"
)

// furtherMark is how much less each further mark of a capture adds to its interest: marks of one bottom are right or wrong together, and
// the tenth hardly makes a capture more worth a look. With 1, every capture of a rocky bottom would be as interesting as can be.
const furtherMark = 0.6

// What a mark that is surely of a class is worth beside others, and what else makes a capture worth a look.
const (
	suspendedWorth = 0.85
	raisedWorth    = 0.6
	bottomWorth    = 0.45
	onHumpWorth    = 0.12 // what a suspended target near a hump is worth on top
	firstMark      = 0.6  // how much the first mark's worth adds to the interest
	holdWorth      = 0.5
	humpWorth      = 0.08
)

// worth is what a look at the mark is worth.
func (m MarkRecord) worth() float64 {
	w := suspendedWorth*m.Odds[SuspendedTarget] + raisedWorth*m.Odds[RaisedStructure] + bottomWorth*m.Odds[BottomObject]
	if m.OnHump {
		w += onHumpWorth * m.Odds[SuspendedTarget]
	}
	return w
}

// sortByWorth orders marks, those worth most first.
func sortByWorth(marks []MarkRecord) {
	slices.SortStableFunc(marks, func(a, b MarkRecord) int { return cmp.Compare(b.worth(), a.worth()) })
}

// rank orders marks and gives the capture its interest: the chance that what it holds deserves a second look, with suspended targets
// near humps counting most.
func rank(res *Result) {
	sortByWorth(res.Marks)
	nothing, share := 1.0, firstMark
	for _, m := range res.Marks {
		res.Counts[m.Class]++
		nothing *= 1 - share*m.worth()
		share *= furtherMark
	}
	for _, h := range res.Holds {
		nothing *= 1 - holdWorth*h.Odds
	}
	for _, p := range res.Panels {
		if len(p.Humps) > 0 {
			nothing *= 1 - humpWorth
		}
	}
	res.Interest = features.Round4(1 - nothing)
}
