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

// Where a shadow's rows end at an echo within it, or are not quite dark, the finder's box goes on to its end; a box that ends about where
// the rows do changes nothing.
func TestHeightTakesTheFindersEnd(t *testing.T) {
	for _, class := range []Class{BottomObject, RaisedStructure} {
		of := func(end float64, box int) *features.Measured {
			lv, c := drawnPair(t, 100, 108, 108, end, 0)
			if box > 0 {
				c.thing = &thing{shadow: span{30, 50, 108, box}}
			}
			l := lie{measure(lv, c), &sideView{leveled: lv}, features.Measured{Value: 50, SD: 0.5}, Odds{class: 1}}
			got := l.height(class)
			if got == nil {
				t.Fatalf("%s: no height", class)
			}
			return got
		}
		whole := of(140, 0)
		for _, tt := range []struct {
			name string
			end  float64
			box  int
			want float64 // of the whole shadow's height
			sd   float64 // at least, of the same
		}{
			{"half of it in the rows", 124, 140, 1, 0.1},
			{"the same end", 140, 141, 1, 0},
			{"a little farther", 140, 150, 1, 0.1},
			{"nothing farther out", 140, 125, 1, 0.1},
		} {
			got := of(tt.end, tt.box)
			if math.Abs(got.Value/whole.Value-tt.want) > 0.05 || got.SD < tt.sd*whole.Value {
				t.Errorf("%s, %s: %.1f ± %.1f, want %.1f", class, tt.name, got.Value, got.SD, tt.want*whole.Value)
			}
		}
	}
}

// What makes a height doubtful makes its error larger.
func TestHeightErrorKnowsItsDoubts(t *testing.T) {
	of := func(class Class, change func(l *lie)) float64 {
		lv, c := drawnPair(t, 100, 108, 108, 140, 0)
		l := lie{measure(lv, c), &sideView{leveled: lv}, features.Measured{Value: 50, SD: 0.5}, Odds{class: 1}}
		change(&l)
		return l.height(class).SD
	}
	for _, tt := range []struct {
		name   string
		change func(l *lie)
	}{
		{"its profile ends elsewhere", func(l *lie) { l.dark.to -= 12 }},
		{"the finder sees it end elsewhere", func(l *lie) { l.thing = &thing{shadow: span{30, 50, 108, 128}} }},
		{"likely clutter", func(l *lie) { l.odds[Clutter] = 0.5 }},
		{"lost in the bottom's texture", func(l *lie) { l.side.leveled.sigma = 3 }},
		{"a shadow twice as tall", func(l *lie) { s := *l.shadow; s.r1 += s.rows(); l.shadow = &s }},
		{"as bright as the bottom", func(l *lie) { l.depth = 0.9 }},
	} {
		for _, class := range []Class{BottomObject, SuspendedTarget, RaisedStructure} {
			if plain, got := of(class, func(*lie) {}), of(class, tt.change); got < 1.1*plain {
				t.Errorf("%s, %s: ± %.2f, and ± %.2f without", class, tt.name, got, plain)
			}
		}
	}
}

// The underside of what hangs is told from the rows of its shadow and from their mean together: a box that holds the far part alone leaves
// the rows at its near side.
func TestHangingStartsWhereAllRowsDo(t *testing.T) {
	lv, c := drawnPair(t, 100, 108, 124, 160, 0)
	l := lie{measured: measure(lv, c), side: &sideView{leveled: lv}, altitude: features.Measured{Value: 50, SD: 0.5}}
	whole := l.hanging()
	want := 50 * (1 - l.middle().Value/124)
	if math.Abs(whole.Value-want) > 0.3 {
		t.Errorf("hangs at %.2f ± %.2f, drawn at %.2f", whole.Value, whole.SD, want)
	}
	l.dark.from += 10
	if half := l.hanging(); !(half.Value > whole.Value+1) || half.SD < whole.SD+1 {
		t.Errorf("rows and profile apart: %.2f ± %.2f, together %.2f ± %.2f", half.Value, half.SD, whole.Value, whole.SD)
	}
}
