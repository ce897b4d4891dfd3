package detect

import (
	"math"
	"testing"

	"shadowgap/features"
)

// A bar that lies aslant is as high as one that lies along the track: both its edges move together, row by row.
func TestAslantIsNoHigher(t *testing.T) {
	for _, class := range []Class{BottomObject, RaisedStructure} {
		var z [2]features.Measured
		for i, lean := range []float64{0, 2} {
			lv, c := drawnPair(t, 100, 108, 108, 130, lean)
			l := lie{measure(lv, c), &sideView{leveled: lv}, features.Measured{Value: 50, SD: 0.5}, Odds{class: 1}}
			got := l.height(class)
			if got == nil {
				t.Fatalf("%s leaning %g: no height", class, lean)
			}
			z[i] = *got
		}
		// From the nearest row's start to the farthest row's end it would be half as high again, and more.
		if math.Abs(z[1].Value-z[0].Value) > 0.3*z[0].Value {
			t.Errorf("%s: %.1f ± %.1f aslant, %.1f ± %.1f along the track", class, z[1].Value, z[1].SD, z[0].Value, z[0].SD)
		}
	}
}

// Of what hangs, only a shadow that stands out of the texture tells where it hangs; what lies on the bottom touches its own.
func TestFaintShadowTellsNoHeightOfWhatHangs(t *testing.T) {
	lv, c := drawnPair(t, 100, 108, 124, 134, 0)
	l := lie{measured: measure(lv, c), side: &sideView{leveled: lv}}
	if !l.told(SuspendedTarget) {
		t.Error("a black shadow tells nothing")
	}
	l.depth, lv.sigma = 0.9, 0.5
	if l.told(SuspendedTarget) {
		t.Error("a shadow as bright as the bottom's own dark spots tells a height")
	}
	if !l.told(BottomObject) {
		t.Error("what lies on the bottom lost its height")
	}
}

// A shadow that begins well before the box it was found in is followed there for lengths; the evidence stays as the trees know it.
func TestShadowIsFollowedToItsStart(t *testing.T) {
	lv, c := drawnPair(t, 100, 108, 124, 160, 0)
	s := rect(30, 50, 140, 160)
	s.mean = 0.1
	c.shadow = &s
	m := measure(lv, c)
	if math.Abs(m.shadowStart.Value-124) > m.shadowStart.SD {
		t.Errorf("followed to %.1f ± %.1f, drawn from 124", m.shadowStart.Value, m.shadowStart.SD)
	}
	if m.shadowNear.Value != 140 {
		t.Errorf("the evidence's edge moved to %.1f", m.shadowNear.Value)
	}
}
