package places

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/units"
)

var noon = time.Date(2025, 6, 1, 12, 0, 0, 0, time.UTC)

func m(v float64) *features.Measured { return &features.Measured{Value: v, SD: 0.1} }

// look is a mark eastM metres from a point at sea, 0 for one without a position, with odds p of its class.
func look(capture, id string, class detect.Class, p, eastM float64) decided.Mark {
	odds := detect.Odds{}
	for _, c := range detect.Classes {
		odds[c] = (1 - p) / 3
	}
	odds[class] = p
	r := detect.MarkRecord{
		Capture: capture, Mark: id, Side: detect.Port, Class: class, Odds: odds, Rows: [2]int{10, 20},
		Highlight: &detect.Box{Y: 10, H: 10, W: 5}, Contrast: 5,
		AltitudeM: m(7), GroundM: m(6), LengthM: m(0.6),
	}
	if class == detect.SuspendedTarget {
		r.OffBottomM = m(1.2)
	} else {
		r.HeightM = m(1.5)
	}
	if eastM != 0 {
		when := noon
		r.Position, r.Time = &detect.Position{Lat: 0.01, Lon: -30 + eastM/111320, ErrorM: 2}, &when
	}
	return decided.Mark{MarkRecord: r}
}

func capture(name string) detect.CaptureRecord {
	return detect.CaptureRecord{Capture: name, Panels: []detect.PanelRecord{{}}}
}

func TestFindMergesAndRanks(t *testing.T) {
	hump := capture("hump.png")
	hump.Panels[0].Humps = []detect.Hump{{Rows: [2]int{0, 40}, ReliefPx: 30}}
	hump.Holds = []detect.HoldRecord{{ID: "h", Marks: []string{"f1", "f2"}, Odds: 0.9}}
	marks := []decided.Mark{
		look("hump.png", "f1", detect.SuspendedTarget, 0.95, 100), look("hump.png", "f2", detect.SuspendedTarget, 0.9, 104),
		look("a.png", "r1", detect.RaisedStructure, 0.95, 500), look("b.png", "r2", detect.RaisedStructure, 0.9, 501),
		look("a.png", "o1", detect.BottomObject, 0.9, 900),
		look("a.png", "doubtful", detect.SuspendedTarget, 0.4, 1300),
		look("c.png", "u1", detect.SuspendedTarget, 0.8, 0), look("c.png", "u2", detect.BottomObject, 0.8, 0),
		look("a.png", "noise", detect.Clutter, 0.9, 1700),
	}
	caps := []detect.CaptureRecord{hump, capture("a.png"), capture("b.png"), capture("c.png")}
	a := Find(caps, marks, Options{})
	var got []string
	for _, p := range a.Places {
		got = append(got, fmt.Sprintf("%d %s %d", p.Rank, p.Kind, len(p.Sightings)))
	}
	want := []string{"1 hold-on-hump 2", "2 targets 2", "3 structure 1", "4 on-bottom 1", "5 targets 1"}
	if !slices.Equal(got, want) {
		t.Errorf("places %q, want %q", got, want)
	}
	if s := a.Sighting(a.Places[2].Sightings[0]); s == nil || len(s.Members) != 2 || s.Members[0].Mark != "r1" || s.Open != 2 ||
		s.Place != a.Places[2].ID {
		t.Errorf("the structure seen twice is %+v", s)
	}
	if top := a.Top(10); len(top) != 4 {
		t.Errorf("%d places at better than even odds, want 4", len(top))
	}
	if n := len(Find(caps, marks, Options{Clutter: true}).Sightings); n != len(a.Sightings)+1 {
		t.Errorf("asking for clutter gives %d things, want %d", n, len(a.Sightings)+1)
	}
	for range 20 {
		rand.Shuffle(len(marks), func(i, j int) { marks[i], marks[j] = marks[j], marks[i] })
		rand.Shuffle(len(caps), func(i, j int) { caps[i], caps[j] = caps[j], caps[i] })
		if again := Find(caps, marks, Options{}); !reflect.DeepEqual(a, again) {
			t.Fatal("the places depend on the order of marks or captures")
		}
	}
}

func TestSentences(t *testing.T) {
	hump := capture("hump.png")
	hump.Panels[0].Humps = []detect.Hump{{Rows: [2]int{0, 40}, ReliefPx: 30}}
	rocks := capture("hump.png")
	rocks.Panels[0].Regions = []detect.Region{{Kind: "rock-field", Box: detect.Box{Y: 0, H: 40, W: 50}}}
	two := []decided.Mark{look("hump.png", "f1", detect.SuspendedTarget, 0.95, 100),
		look("hump.png", "f2", detect.SuspendedTarget, 0.9, 104)}
	held := func(c detect.CaptureRecord) detect.CaptureRecord {
		c.Holds = []detect.HoldRecord{{ID: "h", Marks: []string{"f1", "f2"}, Odds: 0.9}}
		return c
	}
	company := []decided.Mark{look("hump.png", "r1", detect.RaisedStructure, 0.95, 100),
		look("hump.png", "o1", detect.BottomObject, 0.9, 103)}
	for _, tt := range []struct {
		name    string
		capture detect.CaptureRecord
		marks   []decided.Mark
		u       units.Lengths
		want    string
	}{
		{"hold on a hump", held(hump), two, units.Metres,
			"2 targets hanging near a hump of the bottom, 1.2 m off the bottom, in 7 m of water"},
		{"hold over rocks", held(rocks), two, units.Metres, "2 targets hanging over a rock field, 1.2 m off the bottom, in 7 m of water"},
		{"no hump, no word of one", held(capture("hump.png")), two, units.Metres, "2 targets hanging 1.2 m off the bottom in 7 m of water"},
		{"one of a hold", held(hump), two[:1], units.Metres,
			"About 0.6 m long, hanging 1.2 m off the bottom near a hump of the bottom in 7 m of water, 6 m to port"},
		{"feet", capture("hump.png"), two, units.Feet, "2 targets hanging 3.9 ft off the bottom in 23 ft of water"},
		{"company", capture("hump.png"), company, units.Metres,
			"About 1.5 m high and 0.6 m long, standing up from the bottom in 7 m of water, 6 m to port; with a thing on the bottom"},
	} {
		a := Find([]detect.CaptureRecord{tt.capture}, tt.marks, Options{Units: tt.u})
		if got := a.Places[0].Sentence; got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestDecisionsRulePlacesAndHolds(t *testing.T) {
	hump := capture("hump.png")
	hump.Panels[0].Humps = []detect.Hump{{Rows: [2]int{0, 40}, ReliefPx: 30}}
	hump.Holds = []detect.HoldRecord{{ID: "h", Marks: []string{"f1", "f2"}, Odds: 0.72}}
	marks := func(change func(f1, f2 *decided.Mark)) []decided.Mark {
		ms := []decided.Mark{look("hump.png", "f1", detect.SuspendedTarget, 0.6, 100),
			look("hump.png", "f2", detect.SuspendedTarget, 0.5, 104)}
		change(&ms[0], &ms[1])
		return ms
	}
	odds := func(change func(f1, f2 *decided.Mark)) (float64, int) {
		h := RankHolds([]detect.CaptureRecord{hump}, marks(change))
		if len(h) == 0 {
			return 0, 0
		}
		return h[0].Odds, h[0].Targets
	}
	open, n := odds(func(_, _ *decided.Mark) {})
	if open != 0.72 || n != 2 {
		t.Errorf("nothing decided: odds %v, %d targets", open, n)
	}
	if p, n := odds(func(f1, _ *decided.Mark) { f1.Verdict = decided.Accepted }); p <= open || n != 2 {
		t.Errorf("one accepted: odds %v, %d targets", p, n)
	}
	if p, n := odds(func(f1, _ *decided.Mark) { f1.Verdict = decided.Rejected }); p >= open || p == 0 || n != 1 {
		t.Errorf("one rejected: odds %v, %d targets", p, n)
	}
	if _, n := odds(func(f1, f2 *decided.Mark) {
		f1.Class, f1.Changed, f2.Class, f2.Changed = detect.BottomObject, true, detect.Clutter, true
	}); n != 0 {
		t.Error("a hold of which nothing is left is still told")
	}
	settled := Find([]detect.CaptureRecord{hump}, marks(func(f1, f2 *decided.Mark) {
		f1.Verdict, f1.Name, f1.Note = decided.Accepted, "The big one", "seen twice"
		f2.Verdict = decided.Rejected
	}), Options{})
	if len(settled.Sightings) != 1 || settled.Sightings[0].Doubt != 0 || settled.Sightings[0].Open != 0 ||
		settled.Places[0].Name != "The big one" ||
		settled.Places[0].Note != "seen twice" || !strings.Contains(settled.Sightings[0].Why[0], "accepted by a person") {
		t.Errorf("%+v\n%+v", settled.Sightings, settled.Places)
	}
}

func TestMergedTargetsCountOnce(t *testing.T) {
	var marks []decided.Mark
	for pass, name := range []string{"a.png", "b.png"} {
		for k := range 3 {
			l := look(name, fmt.Sprint(k), detect.SuspendedTarget, 0.95, 100+4*float64(k)+float64(pass))
			when := noon.Add(time.Duration(pass) * time.Hour) // fish seen an hour apart are never one
			l.Time = &when
			marks = append(marks, l)
		}
	}
	a := Find([]detect.CaptureRecord{capture("a.png"), capture("b.png")}, marks, Options{})
	if len(a.Sightings) != 6 || len(a.Places) != 1 || a.Places[0].Targets != 3 {
		t.Errorf("%d things, %d places, %d targets: want 6, 1 and 3", len(a.Sightings), len(a.Places), a.Places[0].Targets)
	}
}

// A picture that is there twice, byte for byte, shows its things once, and what a person says of one of them holds for both.
func TestCopiesShowTheirThingsOnce(t *testing.T) {
	copied := func(name, sum, id string, class detect.Class, x int) decided.Mark {
		k := look(name, id, class, 0.9, 0)
		k.SHA256, k.Box = sum, detect.Box{X: x, Y: 10, W: 9, H: 9}
		return k
	}
	marks := []decided.Mark{
		copied("a.png", "1", "fish", detect.SuspendedTarget, 50), copied("a.png", "1", "stone", detect.BottomObject, 90),
		copied("b.png", "1", "fish", detect.SuspendedTarget, 50), copied("b.png", "1", "stone", detect.BottomObject, 90),
		copied("c.png", "2", "other", detect.BottomObject, 50),
	}
	marks[2].Verdict = decided.Accepted
	caps := []detect.CaptureRecord{capture("a.png"), capture("b.png"), capture("c.png")}
	a := Find(caps, marks, Options{})
	if len(a.Sightings) != 3 || len(a.Places) != 2 {
		t.Fatalf("%d things at %d places, want 3 at 2", len(a.Sightings), len(a.Places))
	}
	fish := a.Sightings[0]
	if len(fish.Members) != 2 || fish.Decision != decided.Accepted || fish.Odds[detect.SuspendedTarget] < 0.97 || fish.Looks != 1 ||
		fish.Open != 0 {
		t.Errorf("%+v", fish)
	}
	// Rejecting one takes all away; one that is placed places all.
	marks[2].Verdict = decided.Rejected
	when := noon
	marks[3].Position, marks[3].Time = &detect.Position{Lat: 1, Lon: 2, ErrorM: 3}, &when
	b := Find(caps, marks, Options{})
	if len(b.Sightings) != 2 {
		t.Errorf("%d things once a copy's fish is rejected, want 2", len(b.Sightings))
	}
	for _, s := range b.Sightings {
		if s.Members[0].Capture != "c.png" && (s.Position == nil || s.Time == nil || len(s.Members) != 2) {
			t.Errorf("the stone lost its place: %+v", s)
		}
	}
	if p := a.Places[0]; p.Targets != 1 || len(p.Captures) != 2 {
		t.Errorf("%d targets on %v", p.Targets, p.Captures)
	}
}

// A place has one number wherever places are listed: those that are gone to rank before a likelier-looking hold that may be nothing.
func TestWhatIsGoneToRanksFirst(t *testing.T) {
	hump := capture("hump.png")
	hump.Panels[0].Humps = []detect.Hump{{Rows: [2]int{0, 40}, ReliefPx: 30}}
	var marks []decided.Mark
	for i := range 8 {
		marks = append(marks, look("hump.png", fmt.Sprintf("f%d", i), detect.SuspendedTarget, 0.45, 100+3*float64(i)))
	}
	hump.Holds = []detect.HoldRecord{{ID: "h", Odds: 0.45}}
	for _, m := range marks {
		hump.Holds[0].Marks = append(hump.Holds[0].Marks, m.Mark)
	}
	marks = append(marks, look("a.png", "o1", detect.BottomObject, 0.55, 900), look("a.png", "o2", detect.BottomObject, 0.6, 1300))
	atlas := Find([]detect.CaptureRecord{hump, capture("a.png")}, marks, Options{})
	if len(atlas.Places) != 3 || atlas.Places[2].Kind != HoldOnHump {
		t.Fatalf("places %+v, want the hold last of three", atlas.Places)
	}
	for i, p := range atlas.Top(10) {
		if p.Rank != i+1 {
			t.Errorf("place %d of those to go to is ranked %d", i+1, p.Rank)
		}
	}
}

// What hangs over the deepest water of several is not told in the water over the best of them.
func TestTargetsAreToldInTheWaterTheyHangIn(t *testing.T) {
	shallow, deep := look("a.png", "f1", detect.SuspendedTarget, 0.95, 100), look("a.png", "f2", detect.SuspendedTarget, 0.9, 104)
	shallow.AltitudeM, deep.AltitudeM, deep.OffBottomM = m(1), m(4), m(2.5)
	atlas := Find([]detect.CaptureRecord{capture("a.png")}, []decided.Mark{shallow, deep}, Options{})
	if len(atlas.Places) != 1 || !strings.Contains(atlas.Places[0].Sentence, "in 4 m of water") {
		t.Errorf("places %+v, want one that is told in 4 m of water", atlas.Places)
	}
}
