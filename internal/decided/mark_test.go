package decided

import (
	"testing"

	"shadowgap/detect"
)

func TestSomethingLeavesLikeliestClutterOut(t *testing.T) {
	odds := func(bottom, clutter float64) detect.Odds {
		return detect.Odds{detect.BottomObject: bottom, detect.Clutter: clutter}
	}
	all := []detect.MarkRecord{
		{Mark: "stone", Class: detect.BottomObject, Odds: odds(0.7, 0.3)},
		{Mark: "called a stone, but nothing for all its odds say", Class: detect.BottomObject, Odds: odds(0.3, 0.7)},
		{Mark: "clutter", Class: detect.Clutter, Odds: odds(0.1, 0.9)},
		{Mark: "weak", Class: detect.BottomObject, Odds: odds(0.42, 0.58)},
	}
	got := Something(all)
	if len(got) != 2 || got[0].Mark != "stone" || got[1].Mark != "weak" {
		t.Errorf("%+v, want stone and weak", got)
	}
	if all[1].Mark != "called a stone, but nothing for all its odds say" {
		t.Error("the list given was changed")
	}
}
