package decided

import (
	"math"
	"testing"

	"shadowgap/detect"
)

func TestSomethingLeavesLikeliestClutterOut(t *testing.T) {
	odds := func(bottom, clutter float64) detect.Odds {
		return detect.Odds{detect.BottomObject: bottom, detect.Clutter: clutter}
	}
	all := []detect.MarkRecord{
		{Mark: "stone", Class: detect.BottomObject, Odds: odds(0.7, 0.3)},
		{Mark: "called a stone, but nothing for all its odds say", Class: detect.BottomObject, Odds: odds(0.42, 0.58)},
		{Mark: "clutter", Class: detect.Clutter, Odds: odds(0.1, 0.9)},
		{Mark: "weak", Class: detect.BottomObject, Odds: odds(0.46, 0.54)},
	}
	got := Something(all)
	if len(got) != 2 || got[0].Mark != "stone" || got[1].Mark != "weak" {
		t.Errorf("%+v, want stone and weak", got)
	}
	if all[1].Mark != "called a stone, but nothing for all its odds say" {
		t.Error("the list given was changed")
	}
}

// Who accepts what the detector is surer of than any person makes it no less sure; who accepts what it doubts makes it nearly sure.
func TestAcceptingMakesNothingLessSure(t *testing.T) {
	for _, tc := range []struct{ own, want float64 }{{0.999, 0.999}, {0.6, 0.97}} {
		m := Mark{MarkRecord: detect.MarkRecord{Class: detect.BottomObject,
			Odds: detect.Odds{detect.BottomObject: tc.own, detect.Clutter: 1 - tc.own}}, Verdict: Accepted}
		got, sum := m.Leaning(), 0.0
		for _, p := range got {
			sum += p
		}
		if got[detect.BottomObject] != tc.want || math.Abs(sum-1) > 1e-9 {
			t.Errorf("odds of %g accepted: %v, want %g", tc.own, got, tc.want)
		}
	}
}
