package places

import (
	"math"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/survey"
)

// RankHolds is survey.RankHolds as decisions leave it: a mark that a person took out of the suspended targets, or that is
// nothing, is in no hold, one that a person accepted is there, and a hold nothing is left of is gone.
func RankHolds(captures []detect.CaptureRecord, marks []decided.Mark) []survey.Hold {
	byKey := make(map[string]*decided.Mark, len(marks))
	records := make([]detect.MarkRecord, len(marks))
	for i := range marks {
		byKey[keyOf(marks[i].Capture, marks[i].Mark)] = &marks[i]
		records[i] = marks[i].MarkRecord
	}
	kept := make([]detect.CaptureRecord, len(captures))
	for i, c := range captures {
		c.Holds = held(c.Capture, c.Holds, byKey)
		kept[i] = c
	}
	return survey.RankHolds(kept, records)
}

// Held are the holds of one capture as decisions leave them; marks are those of the capture.
func Held(capture string, holds []detect.HoldRecord, marks []decided.Mark) []detect.HoldRecord {
	byKey := make(map[string]*decided.Mark, len(marks))
	for i := range marks {
		byKey[keyOf(marks[i].Capture, marks[i].Mark)] = &marks[i]
	}
	return held(capture, holds, byKey)
}

func held(capture string, holds []detect.HoldRecord, byKey map[string]*decided.Mark) []detect.HoldRecord {
	out := []detect.HoldRecord{}
	for _, h := range holds {
		if h, ok := heldStill(capture, h, byKey); ok {
			out = append(out, h)
		}
	}
	return out
}

// heldStill takes out of a hold what decisions took out of it. The odds of a hold are those that one member at least is
// suspended, times how well the ground holds fish; the second factor stays.
func heldStill(capture string, h detect.HoldRecord, byKey map[string]*decided.Mark) (detect.HoldRecord, bool) {
	out := detect.HoldRecord{ID: h.ID}
	before, after := 1.0, 1.0
	for _, id := range h.Marks {
		m := byKey[keyOf(capture, id)]
		if m == nil { // left out already
			continue
		}
		before *= 1 - m.Odds[detect.SuspendedTarget]
		if m.Nothing() || m.Class != detect.SuspendedTarget {
			continue
		}
		after *= 1 - m.Leaning()[detect.SuspendedTarget]
		out.Marks = append(out.Marks, id)
	}
	if len(out.Marks) == 0 {
		return out, false
	}
	out.Odds = h.Odds
	if before < 1 {
		out.Odds = math.Min(1, features.Round4(h.Odds*(1-after)/(1-before)))
	}
	return out, true
}
