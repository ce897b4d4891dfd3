package eval

import (
	"shadowgap/detect"
	"shadowgap/models"
)

// Samples pairs what the detector found in a capture, clutter included, with the capture's label and returns what a
// classifier can learn from it: the evidence of every matched mark with its label's class, and of every other mark as
// clutter. Other marks inside a labelled rock field are left out, since nobody labels every stone. group names the capture.
// It returns an error when the matching fails.
func Samples(group string, label CaptureLabel, marks []detect.MarkRecord, gate Gate) ([]models.Sample, error) {
	counts := make([]bool, len(label.Marks))
	for i := range counts {
		counts[i] = true
	}
	found := make([]*detect.MarkRecord, len(marks))
	for i := range marks {
		found[i] = &marks[i]
	}
	m, err := matchOptimal(gate, label.Marks, counts, found, label.Regions)
	if err != nil {
		return nil, err
	}
	var out []models.Sample
	for i, l := range m.labelOf {
		s := models.Sample{Evidence: marks[i].Evidence, Class: string(detect.Clutter), Group: group}
		switch {
		case l >= 0:
			s.Class = string(label.Marks[l].Class)
		case m.fate[i] == FateInRegion:
			continue
		}
		out = append(out, s)
	}
	return out, nil
}
