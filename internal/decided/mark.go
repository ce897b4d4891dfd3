// Package decided holds marks as they stand after a person's decisions: the class that was decided, the name and the note
// that were given, and the marks that a person drew, measured like found ones.
package decided

import (
	"iter"
	"slices"

	"shadowgap/detect"
)

// Verdict is what a person made of a mark.
type Verdict string

// The verdicts. A mark nobody decided on is Open.
const (
	Open     Verdict = ""
	Accepted Verdict = "accepted" // it is there
	Unsure   Verdict = "unsure"   // looked at, and left open
	Rejected Verdict = "rejected" // it is nothing
	Drawn    Verdict = "drawn"    // the detector missed it and a person drew it
)

// Mark is a mark as it stands after a person's decisions. Its Class is the decided one; its Odds stay the detector's.
type Mark struct {
	detect.MarkRecord
	Name    string  `json:"name,omitempty"` // given by a person
	Note    string  `json:"note,omitempty"`
	Verdict Verdict `json:"decision,omitempty"`
	Changed bool    `json:"class_changed,omitempty"` // a person set the class
}

// Marks yields marks in the order they are to be shown; it stops after the first error.
type Marks = iter.Seq2[*Mark, error]

// Plain returns the marks of a run on which nobody has decided anything.
func Plain(records []detect.MarkRecord) []Mark {
	out := make([]Mark, len(records))
	for i := range records {
		out[i].MarkRecord = records[i]
	}
	return out
}

// ByHand says whether a person settled that the mark is there and what it is: accepted, drawn, or given a class.
func (m *Mark) ByHand() bool {
	return m.Verdict == Accepted || m.Verdict == Drawn || m.Changed && m.Verdict != Rejected
}

// Nothing says whether the mark is in no list, count, picture or export unless somebody asks for what was left out: a person
// rejected it or called it clutter, or by its odds it is not worth telling (detect.Odds.Something) and no person said otherwise.
func (m *Mark) Nothing() bool {
	switch {
	case m.Verdict == Rejected || m.Class == detect.Clutter:
		return true
	case m.ByHand():
		return false
	}
	return !m.Odds.Something()
}

// Something returns the marks of a run, on which nobody has decided anything, that are worth telling by their odds.
func Something(records []detect.MarkRecord) []detect.MarkRecord {
	return slices.DeleteFunc(slices.Clone(records), func(r detect.MarkRecord) bool { return (&Mark{MarkRecord: r}).Nothing() })
}

// Clutter returns the marks of a run, on which nobody has decided anything, that Something leaves out.
func Clutter(records []detect.MarkRecord) []detect.MarkRecord {
	return slices.DeleteFunc(slices.Clone(records), func(r detect.MarkRecord) bool { return !(&Mark{MarkRecord: r}).Nothing() })
}

// Leaning returns the odds to weigh the mark by: the detector's where no person decided, all but sure of the class where one
// did, and half way to even odds where a person who looked could not tell.
func (m *Mark) Leaning() detect.Odds {
	sure := 0.97 // people err too
	if m.ByHand() {
		sure = max(sure, m.Odds[m.Class]) // who agrees with the detector makes nothing less sure
	}
	n := float64(len(detect.Classes))
	out := make(detect.Odds, len(detect.Classes))
	for _, c := range detect.Classes {
		switch {
		case m.Verdict == Drawn:
			out[c] = min(sure, max(m.Odds[c], (1-sure)/(n-1)))
		case m.ByHand() && c == m.Class:
			out[c] = sure
		case m.ByHand():
			out[c] = (1 - sure) / (n - 1)
		case m.Verdict == Unsure:
			out[c] = (m.Odds[c] + 1/n) / 2
		default:
			out[c] = m.Odds[c]
		}
	}
	return out
}
