package review

import (
	"testing"

	"shadowgap/detect"
	"shadowgap/internal/decided"
)

func TestRuleKeepsDecisionsThroughAnotherTriage(t *testing.T) {
	c := detect.CaptureRecord{Capture: "a.png", SHA256: "s1", Width: 800, Height: 600}
	mark := func(id string, x, y int) detect.MarkRecord {
		b := detect.Box{X: x, Y: y, W: 10, H: 8}
		return detect.MarkRecord{Capture: "a.png", SHA256: "s1", Mark: id, Side: detect.Port, Class: detect.BottomObject, Box: b,
			Highlight: &b, Rows: [2]int{y, y + 8},
			Odds: detect.Odds{detect.BottomObject: 0.9, detect.Clutter: 0.1}}
	}
	old := mark("c0-p0-p0104-0205", 200, 100)
	set := decision(Change, old)
	set.Class = detect.RaisedStructure
	withSeen := func(d Decision, m detect.MarkRecord) Decision {
		d.Seen = &m
		return d
	}
	other := old
	other.SHA256 = "s0"
	tests := []struct {
		name     string
		decision Decision
		found    []detect.MarkRecord
		want     map[string]detect.Class // by id
	}{
		{"the same mark", set, []detect.MarkRecord{old}, map[string]detect.Class{old.Mark: detect.RaisedStructure}},
		{"a little elsewhere", withSeen(set, old), []detect.MarkRecord{mark("c0-p0-p0105-0207", 202, 101)},
			map[string]detect.Class{"c0-p0-p0105-0207": detect.RaisedStructure}},
		{"a little elsewhere, known by its id only", set, []detect.MarkRecord{mark("c0-p0-p0105-0207", 202, 101)},
			map[string]detect.Class{"c0-p0-p0105-0207": detect.RaisedStructure}},
		{"the nearer of two", withSeen(set, old),
			[]detect.MarkRecord{mark("c0-p0-p0107-0209", 204, 103), mark("c0-p0-p0104-0206", 201, 100)},
			map[string]detect.Class{"c0-p0-p0107-0209": detect.BottomObject, "c0-p0-p0104-0206": detect.RaisedStructure}},
		{"no longer found", withSeen(set, old), []detect.MarkRecord{mark("c0-p0-p0304-0405", 400, 300)},
			map[string]detect.Class{"c0-p0-p0304-0405": detect.BottomObject, old.Mark: detect.RaisedStructure}},
		{"rejected and no longer found", withSeen(decision(Reject, old), old), nil, map[string]detect.Class{}},
		{"another picture under the same name", withSeen(set, other), nil, map[string]detect.Class{}},
		{"known by its id, of another picture", set, []detect.MarkRecord{mark("c1-p0-p0104-0205", 200, 100)},
			map[string]detect.Class{"c1-p0-p0104-0205": detect.BottomObject}},
	}
	for _, tt := range tests {
		got := Fold([]Decision{tt.decision}).Rule(c, tt.found, nil)
		if len(got) != len(tt.want) {
			t.Errorf("%s: %d marks, want %d", tt.name, len(got), len(tt.want))
		}
		for _, m := range got {
			if m.Class != tt.want[m.Mark] {
				t.Errorf("%s: %s is %s, want %s", tt.name, m.Mark, m.Class, tt.want[m.Mark])
			}
		}
	}
}

func TestRuleMeasuresWhatWasDrawn(t *testing.T) {
	rangeM := 30.0
	c := detect.CaptureRecord{Capture: "a.png", Width: 800, Height: 400, Panels: []detect.PanelRecord{{
		Box: detect.Box{X: 0, Y: 0, W: 800, H: 400}, RangeM: &rangeM, Nadir: []detect.RowX{{0, 399.5}, {399, 399.5}},
		AltitudePx: []detect.RowAltitude{{0, 100, 1}, {399, 100, 1}}, AltitudeM: []detect.RowAltitude{{0, 7.5, 0.075}, {399, 7.5, 0.075}},
		Humps: []detect.Hump{{Rows: [2]int{150, 250}}},
	}}}
	// At slant 200 px the echo ends and the shadow starts 40 px behind: an underside of 100 (1 - 200/240) px = 1.25 m.
	d := Decision{
		ID: newID(), At: testTime, Action: Missed, Capture: "a.png", Class: detect.SuspendedTarget, Name: "Fish", Note: "saw it",
		Highlight: &detect.Box{X: 590, Y: 195, W: 10, H: 10}, Shadow: &detect.Box{X: 640, Y: 195, W: 20, H: 10},
	}
	got := Fold([]Decision{d}).Rule(c, nil, nil)
	if len(got) != 1 {
		t.Fatalf("%d marks", len(got))
	}
	m := got[0]
	if m.Verdict != decided.Drawn || m.Class != detect.SuspendedTarget || m.Name != "Fish" || m.Note != "saw it" ||
		m.Side != detect.Starboard || !m.OnHump {
		t.Errorf("%+v", m)
	}
	for name, v := range map[string]struct{ got, want float64 }{
		"slant": {m.SlantM.Value, 195 * 0.075}, "gap": {m.GapM.Value, 3}, "shadow": {m.ShadowM.Value, 1.5},
		"altitude":  {m.AltitudeM.Value, 7.5},
		"underside": {m.OffBottomM.Value, 1.25}, "top": {m.HeightM.Value, 7.5 * (1 - 195.0/260)},
	} {
		if diff := v.got - v.want; diff > 1e-9 || diff < -1e-9 {
			t.Errorf("%s: %v, want %v", name, v.got, v.want)
		}
	}
	if m.OffBottomM.SD <= 0 || m.GapPx.SD < 2 {
		t.Errorf("errors %v, %v: a hand is off by pixels", m.OffBottomM, m.GapPx)
	}
	far := d
	far.Highlight, far.Shadow = &detect.Box{X: 10, Y: 500, W: 5, H: 5}, nil
	if got := Fold([]Decision{far}).Rule(c, nil, nil); len(got) != 0 {
		t.Errorf("a mark outside every panel: %+v", got)
	}
}
