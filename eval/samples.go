package eval

import (
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/models/fit"
)

// Samples pairs what the detector found in a capture, clutter included, with the capture's label and returns what a
// classifier can learn from it: the evidence of every matched mark with its label's class, and of every other mark as
// clutter. Of the marks on one label the surest is matched: it is the one that will be told, and were it the nearest, trees would learn
// that what tells a thing best is clutter. Left out are other marks inside a labelled rock field, since nobody labels every stone, marks on
// labels that are not sure, and those that the detector leaves out beside a matched one. group names the capture.
func Samples(group string, label CaptureLabel, marks []detect.MarkRecord, gate Gate) []fit.Sample {
	return samples(group, label, marks, gate, true)
}

// MarkedSamples is Samples for a capture that nobody looked through to the end: marks without a label are left out too.
func MarkedSamples(group string, label CaptureLabel, marks []detect.MarkRecord, gate Gate) []fit.Sample {
	return samples(group, label, marks, gate, false)
}

func samples(group string, label CaptureLabel, marks []detect.MarkRecord, gate Gate, whole bool) []fit.Sample {
	counts := make([]bool, len(label.Marks))
	for i := range counts {
		counts[i] = true
	}
	found := make([]*detect.MarkRecord, len(marks))
	for i := range marks {
		found[i] = &marks[i]
	}
	m := matchByScore(gate, label.Marks, counts, found, label.Regions, func(m *detect.MarkRecord) float64 {
		chance := chanceReal(m)
		if slices.ContainsFunc(label.Marks, func(l MarkLabel) bool { return gate.pair(&l, m) == 0 }) {
			chance++ // the very mark that a person decided on
		}
		return chance
	})
	var out []fit.Sample
	for i, l := range m.labelOf {
		s := fit.Sample{Evidence: marks[i].Evidence, Class: string(detect.Clutter), Group: group}
		switch {
		case l >= 0 && !label.Marks[l].isSure(), l < 0 && onUnsure(gate, label.Marks, &marks[i]), l < 0 && label.further(&marks[i]):
			continue
		case l >= 0:
			s.Class = string(label.Marks[l].Class)
		case m.repeated(marks, i):
			continue
		case !whole || m.fate[i] == fateInRegion:
			continue
		}
		out = append(out, s)
	}
	return out
}

// further tells whether a mark lies in a further panel, whose things aren't labelled.
func (l *CaptureLabel) further(m *detect.MarkRecord) bool {
	middle := markMiddle(m)
	return slices.ContainsFunc(l.Panels, func(p PanelLabel) bool { return middle.In(p.Box.Rect()) })
}

// repeated tells whether mark i is one that the detector leaves out beside the find of some label.
func (m *matching) repeated(marks []detect.MarkRecord, i int) bool {
	lit := marks[i].Highlight
	return lit != nil && slices.ContainsFunc(m.markOf, func(j int) bool {
		return j >= 0 && marks[j].Highlight != nil && detect.Repeats(*lit, *marks[j].Highlight)
	})
}

// onUnsure tells whether a mark may be the thing of a label that is not sure, or a part of it.
func onUnsure(gate Gate, labels []MarkLabel, m *detect.MarkRecord) bool {
	return slices.ContainsFunc(labels, func(l MarkLabel) bool { return !l.isSure() && !math.IsInf(gate.pair(&l, m), 1) })
}

// Labelled finds the labels of the run's captures: the index into l.Captures by the run's path of the capture. Labels of captures
// that the run lacks are left out. It returns an error that names every faulty label.
func (r *Run) Labelled(l Labels) (map[string]int, error) {
	if err := l.Check(nil); err != nil {
		return nil, err
	}
	sizes := r.sizes()
	at := map[string]int{}
	held := Labels{Schema: l.Schema}
	for i, c := range rebased(l, sizes).Captures {
		if _, ok := sizes[c.Capture]; ok {
			at[c.Capture] = i
			held.Captures = append(held.Captures, c)
		}
	}
	return at, held.Check(sizes)
}
