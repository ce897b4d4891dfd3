package places

import (
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/internal/decided"
)

func TestCompare(t *testing.T) {
	everywhere := func(detect.Position) bool { return true }
	west := func(p detect.Position) bool { return p.Lon < -30+1000.0/111320 }
	day := func(looked func(detect.Position) bool, marks ...decided.Mark) Day {
		caps := map[string]bool{}
		var list []detect.CaptureRecord
		for _, m := range marks {
			if !caps[m.Capture] {
				caps[m.Capture] = true
				list = append(list, capture(m.Capture))
			}
		}
		return Day{Find(list, marks, Options{}), looked}
	}
	rock := func(id string, east, p float64) decided.Mark {
		return look(id+".png", id, detect.BottomObject, p, east)
	}
	fish := func(id string, east float64) decided.Mark {
		return look(id+".png", id, detect.SuspendedTarget, 0.9, east)
	}
	together := func(marks ...decided.Mark) []decided.Mark { // on one capture, so that they are two things
		for i := range marks {
			marks[i].Capture = "both.png"
		}
		return marks
	}
	for _, tt := range []struct {
		name      string
		then, now Day
		want      []Change
	}{
		{"still there within its errors", day(everywhere, rock("a", 100, 0.9)), day(everywhere, rock("b", 104, 0.9)), []Change{StillThere}},
		{"too far apart for one thing", day(everywhere, rock("a", 100, 0.9)), day(everywhere, rock("b", 120, 0.9)), []Change{New, Gone}},
		{"gone only where the later day looked", day(everywhere, rock("a", 100, 0.9), rock("b", 2000, 0.9)), day(west),
			[]Change{Gone, NotAgain}},
		{"new only where the earlier day looked", day(west), day(everywhere, rock("a", 100, 0.9), rock("b", 2000, 0.9)),
			[]Change{New, NotBefore}},
		{"where a day looked is not known", day(nil, rock("a", 100, 0.9)), day(nil, rock("b", 500, 0.9)), []Change{NotAgain, NotBefore}},
		{"doubtful now, and still there", day(everywhere, rock("a", 100, 0.9)), day(everywhere, rock("b", 101, 0.4)), []Change{StillThere}},
		{"doubtful on both days", day(everywhere, rock("a", 100, 0.45)), day(everywhere, rock("b", 101, 0.45)), nil},
		{"a pair each", day(everywhere, together(rock("a", 100, 0.9), rock("b", 103, 0.9))...),
			day(everywhere, together(rock("c", 101, 0.9), rock("d", 104, 0.9))...),
			[]Change{StillThere, StillThere}},
		{"targets come back a boat's length off", day(everywhere, fish("a", 100)), day(everywhere, fish("b", 115)), []Change{TargetsAgain}},
		{"targets elsewhere", day(everywhere, fish("a", 100)), day(everywhere, fish("b", 300)), []Change{TargetsNew, TargetsGone}},
		{"a fish is no stone", day(everywhere, fish("a", 100)), day(everywhere, rock("b", 100, 0.9)), []Change{New, TargetsGone}},
		{"nothing placed", day(everywhere, rock("a", 0, 0.9)), day(everywhere, rock("b", 0, 0.9)), nil},
	} {
		var got []Change
		for _, c := range Compare(tt.then, tt.now, CompareOptions{}) {
			got = append(got, c.Change)
			if c.Sentence == "" || len(c.Then)+len(c.Now) == 0 {
				t.Errorf("%s: %+v says nothing", tt.name, c)
			}
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
	again := Compare(day(everywhere, together(fish("a", 100), fish("b", 103))...), day(everywhere, fish("c", 108)), CompareOptions{})
	if want := "2 targets hanging then, 1 now in 7 m of water"; len(again) != 1 || again[0].Sentence != want || len(again[0].Then) != 2 {
		t.Errorf("%+v, want one spot: %s", again, want)
	}
}
