package export

import (
	"slices"

	"shadowgap/detect"
	"shadowgap/internal/decided"
)

// Filter picks marks. The zero value lets every mark through.
type Filter struct {
	Classes  []detect.Class // nil = all
	MinOdds  float64        // of the mark's own class, 0 to 1; what a person settled passes
	Accepted bool           // only marks that a person accepted, drew or gave a class
}

// match says whether the filter lets a mark through.
func (f Filter) match(m *decided.Mark) bool {
	if len(f.Classes) > 0 && !slices.Contains(f.Classes, m.Class) {
		return false
	}
	return m.ByHand() || !f.Accepted && m.Odds[m.Class] >= f.MinOdds
}

// Apply yields the marks that match, in order, and any error of marks.
func (f Filter) Apply(marks Marks) Marks {
	return func(yield func(*decided.Mark, error) bool) {
		for m, err := range marks {
			if err != nil {
				yield(nil, err)
				return
			}
			if f.match(m) && !yield(m, nil) {
				return
			}
		}
	}
}
