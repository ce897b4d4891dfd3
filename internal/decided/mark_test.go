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
		{Mark: "told, but likelier nothing", Class: detect.BottomObject, Odds: odds(0.4, 0.6)},
		{Mark: "clutter", Class: detect.Clutter, Odds: odds(0.1, 0.9)},
		{Mark: "even", Class: detect.BottomObject, Odds: odds(0.5, 0.5)},
	}
	got := Something(all)
	if len(got) != 2 || got[0].Mark != "stone" || got[1].Mark != "even" {
		t.Errorf("%+v, want stone and even", got)
	}
	if all[1].Mark != "told, but likelier nothing" {
		t.Error("the list given was changed")
	}
}
