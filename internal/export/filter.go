package export

import (
	"slices"

	"shadowgap/detect"
)

// Filter picks marks. The zero value lets every mark through.
type Filter struct {
	Classes  []detect.Class                  // nil = all
	MinOdds  float64                         // of the mark's own class, 0 to 1
	Accepted func(m *detect.MarkRecord) bool // whether a reviewer accepted the mark; nil = don't ask
}

// Match says whether the filter lets a mark through.
func (f Filter) Match(m *detect.MarkRecord) bool {
	if len(f.Classes) > 0 && !slices.Contains(f.Classes, m.Class) {
		return false
	}
	return m.Odds[m.Class] >= f.MinOdds && (f.Accepted == nil || f.Accepted(m))
}

// Apply yields the marks that match, in order, and any error of marks.
func (f Filter) Apply(marks Marks) Marks {
	return func(yield func(*detect.MarkRecord, error) bool) {
		for m, err := range marks {
			if err != nil {
				yield(nil, err)
				return
			}
			if f.Match(m) && !yield(m, nil) {
				return
			}
		}
	}
}
