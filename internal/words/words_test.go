package words

import (
	"regexp"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/units"
)

func m(v, sd float64) *features.Measured { return &features.Measured{Value: v, SD: sd} }

func TestLengthIsRoundedToItsError(t *testing.T) {
	for _, tt := range []struct {
		m    features.Measured
		u    units.Lengths
		want string
	}{
		{features.Measured{Value: 1.2345, SD: 0.08}, units.Metres, "1.2 m"},
		{features.Measured{Value: 1.2345, SD: 0}, units.Metres, "1.2 m"},
		{features.Measured{Value: 1.96, SD: 0.1}, units.Metres, "2 m"},
		{features.Measured{Value: 3.4, SD: 0.6}, units.Metres, "3.5 m"},
		{features.Measured{Value: 7.4, SD: 2}, units.Metres, "7 m"},
		{features.Measured{Value: 17.4, SD: 0.2}, units.Metres, "17 m"},
		{features.Measured{Value: 47, SD: 12}, units.Metres, "50 m"},
		{features.Measured{Value: 47, SD: 6}, units.Metres, "45 m"},
		{features.Measured{Value: 0.2, SD: 0.3}, units.Metres, "under 0.5 m"},
		{features.Measured{Value: -0.4, SD: 0.25}, units.Metres, "under 0.3 m"},
		{features.Measured{Value: -3, SD: 0.01}, units.Metres, "under 0.1 m"},
		{features.Measured{Value: 3.048, SD: 0.1}, units.Feet, "10 ft"},
		{features.Measured{Value: 0.6, SD: 0.05}, units.Feet, "2 ft"},
	} {
		if got := Length(tt.m, tt.u); got != tt.want {
			t.Errorf("%v in %s: %q, want %q", tt.m, tt.u, got, tt.want)
		}
	}
}

func TestInUnits(t *testing.T) {
	for in, want := range map[string]string{
		"the distance abeam can be anything from 0 to 5.9 m":         "the distance abeam can be anything from 0 to 19.4 ft",
		"widens the error from 1.0 m to 10 m":                        "widens the error from 3.3 ft to 33 ft",
		"sound travels at 1466 m/s here":                             "sound travels at 1466 m/s here",
		"range: manifest says 30 m, --range says 20 m; took 1 moose": "range: manifest says 98 ft, --range says 66 ft; took 1 moose",
	} {
		if got := inUnits(in, units.Feet); got != want {
			t.Errorf("%q, want %q", got, want)
		}
		if got := inUnits(in, units.Metres); got != in {
			t.Errorf("in metres %q became %q", in, got)
		}
	}
}

func fish() detect.MarkRecord {
	return detect.MarkRecord{
		Side: detect.Port, Class: detect.SuspendedTarget, Odds: detect.Odds{detect.SuspendedTarget: 0.9, detect.Clutter: 0.1},
		Rows:      [2]int{10, 18},
		Highlight: &detect.Box{W: 4, H: 8}, Shadow: &detect.Box{W: 9, H: 8}, Contrast: 4.5, GapPx: m(31, 1.6), ShadowPx: m(3.6, 3),
		GapM: m(1.48, 0.08), ShadowM: m(0.17, 0.15),
		SlantM: m(9.1, 0.1), GroundM: m(5.7, 0.2), AltitudeM: m(7.04, 0.1), OffBottomM: m(1.17, 0.08), HeightM: m(1.39, 0.07),
		LengthM: m(0.61, 0.12),
	}
}

func TestMarkSaysOneSentence(t *testing.T) {
	change := func(f func(*detect.MarkRecord)) detect.MarkRecord {
		r := fish()
		f(&r)
		return r
	}
	unscaled := func(evidence map[string]float64) detect.MarkRecord {
		return change(func(r *detect.MarkRecord) {
			r.Class, r.Odds, r.Evidence = detect.RaisedStructure, nil, evidence
			r.SlantM, r.GroundM, r.AltitudeM, r.OffBottomM, r.HeightM, r.LengthM = nil, nil, nil, nil, nil, nil
		})
	}
	for _, tt := range []struct {
		name string
		mark detect.MarkRecord
		u    units.Lengths
		want string
	}{
		{"hanging", fish(), units.Metres, "About 0.6 m long, hanging 1.2 m off the bottom in 7 m of water, 5.5 m to port"},
		{"in feet", fish(), units.Feet, "About 2 ft long, hanging 3.8 ft off the bottom in 23 ft of water, 19 ft to port"},
		{"on the bottom", change(func(r *detect.MarkRecord) { r.Class, r.HeightM = detect.BottomObject, m(0.3, 0.1); r.Odds = nil }),
			units.Metres,
			"About 0.6 m long and 0.3 m high, lying on the bottom in 7 m of water, 5.5 m to port"},
		{"raised", change(func(r *detect.MarkRecord) {
			r.Class, r.HeightM, r.LengthM = detect.RaisedStructure, m(2.1, 0.2), m(4, 0.1)
			r.Odds = nil
		}), units.Metres,
			"About 2.1 m high and 4 m long, standing up from the bottom in 7 m of water, 5.5 m to port"},
		{"no height is negative", change(func(r *detect.MarkRecord) {
			r.Class, r.HeightM, r.LengthM = detect.BottomObject, m(-0.2, 0.3), nil
			r.Odds = nil
		}), units.Metres,
			"Under 0.3 m high, lying on the bottom in 7 m of water, 5.5 m to port"},
		{"inside the water column", change(func(r *detect.MarkRecord) { r.GroundM, r.OffBottomM = nil, nil }), units.Metres,
			"About 0.6 m long, hanging off the bottom in 7 m of water, within 9 m to port"},
		{"close over the bottom", change(func(r *detect.MarkRecord) { r.OffBottomM = m(0.1, 0.1) }), units.Metres,
			"About 0.6 m long, hanging just off the bottom in 7 m of water, 5.5 m to port"},
		{"its error leaves it open", change(func(r *detect.MarkRecord) { r.OffBottomM = m(4, 2.5) }), units.Metres,
			"About 0.6 m long, hanging up to 9 m off the bottom in 7 m of water, 5.5 m to port"},
		{"undecided", change(func(r *detect.MarkRecord) {
			r.Odds = detect.Odds{detect.SuspendedTarget: 0.5, detect.BottomObject: 0.45}
		}), units.Metres,
			"About 0.6 m long, hanging 1.2 m off the bottom in 7 m of water, 5.5 m to port; it may lie on the bottom"},
		{"no range", change(func(r *detect.MarkRecord) {
			r.SlantM, r.GroundM, r.AltitudeM, r.OffBottomM, r.HeightM, r.LengthM = nil, nil, nil, nil, nil, nil
			r.Evidence = map[string]float64{"underside-share": 0.16}
		}), units.Metres, "8 rows of the picture long, hanging off the bottom by about 15 % of the depth, to port"},
		{"raised, no range", unscaled(map[string]float64{"height-share": 0.31}), units.Metres,
			"8 rows of the picture long, standing up from the bottom by about 30 % of the depth, to port"},
		{"raised, its shadow cut off", unscaled(map[string]float64{"height-share": 0.31, "cut": 1}), units.Metres,
			"8 rows of the picture long, standing up from the bottom, to port"},
	} {
		if got := Mark(&tt.mark, tt.u); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestWhyIsPlain(t *testing.T) {
	old := regexp.MustCompile(`spread|least size|strength|-\d`)
	r := fish()
	r.GapPx, r.GapM, r.OffBottomM = m(-1, 1.6), m(-0.4, 0.1), m(-0.2, 0.1)
	r.Evidence = map[string]float64{"crowd": 3.1, "cut": 1}
	r.Reasons = []string{"a bright return 2.8 spreads over the bottom, strength 119 %, a least size", "position: the boat lay still"}
	for _, mark := range []detect.MarkRecord{fish(), r,
		{Class: detect.RaisedStructure, Shadow: &detect.Box{W: 3, H: 3}, ShadowPx: m(40, 5)}} {
		for _, why := range Why(&mark, units.Metres) {
			if old.MatchString(why) {
				t.Errorf("not plain, or negative: %q", why)
			}
		}
	}
	long := detect.MarkRecord{Class: detect.RaisedStructure, LongFace: true, Rows: [2]int{10, 250}}
	if why := strings.Join(Why(&long, units.Metres), "; "); !strings.Contains(why, "over 240 rows, dark behind it") {
		t.Errorf("a long face is told as %q", why)
	}
	all := strings.Join(Why(&r, units.Metres), "; ")
	if !strings.Contains(all, "position: the boat lay still") || !strings.Contains(all, "21 other echoes") {
		t.Errorf("what placing it assumed, or what else is there, is lost: %s", all)
	}
	if !strings.Contains(all, "the shadow touches it") || !strings.Contains(all, "speaks for hanging, so look twice") {
		t.Errorf("a thing that hangs, by the odds, and whose shadow touches it is told without a word on that: %s", all)
	}
	if a, b := Why(&r, units.Metres)[0], Why(&detect.MarkRecord{Highlight: r.Highlight, Contrast: 9}, units.Metres)[0]; a == b {
		t.Errorf("two different echoes are told alike: %s", a)
	}
}

// Beside a bottom that is black there is no end to how far an echo stands out, and a number says nothing.
// The same gap means another thing of what hangs, of what stands and of what lies.
func TestGapIsToldByWhatItIsOf(t *testing.T) {
	for class, want := range map[detect.Class]string{
		detect.SuspendedTarget: "it hangs in the water",
		detect.RaisedStructure: "so far behind its bright face lies what throws it, or part of it is clear of the bottom",
		detect.BottomObject:    "part of it may stand clear of the bottom",
	} {
		r := fish()
		r.Class = class
		why := strings.Join(Why(&r, units.Metres), "; ")
		if !strings.Contains(why, "the shadow starts 1.5 m behind it") || !strings.Contains(why, want) {
			t.Errorf("%s: %q; want %q in it", class, why, want)
		}
	}
}

func TestContrast(t *testing.T) {
	for v, want := range map[float64]string{
		1.8: "1.8 times the speckle around it", 7.6: "8 times the speckle around it",
		detect.MostContrast: "more than 50 times the speckle around it",
	} {
		if got := Contrast(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
}
