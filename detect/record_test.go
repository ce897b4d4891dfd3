package detect

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"shadowgap/features"
)

func m(v, sd float64) *features.Measured { return &features.Measured{Value: v, SD: sd} }

func fullMark() MarkRecord {
	id, when, course := "hold-p0-h0", time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC), 271.5
	return MarkRecord{
		Schema: SchemaVersion, Capture: "a b/ö.png", SHA256: "ab", Mark: "p0-s0010-0020", Side: Starboard, Class: SuspendedTarget,
		Odds: Odds{BottomObject: 0.1, SuspendedTarget: 0.85, RaisedStructure: 0, Clutter: 0.05},
		Box:  Box{1, 2, 30, 4}, Highlight: &Box{1, 2, 5, 4}, Shadow: &Box{11, 2, 20, 4}, Rows: [2]int{2, 6},
		SlantPx: features.Measured{Value: 12.5, SD: 1}, GapPx: m(5, 1.25), ShadowPx: m(20, 1.5), SlantM: m(1.25, 0.1), GroundM: m(1, 0.1),
		AltitudeM: m(0.75, 0.02), GapM: m(0.5, 0.1), ShadowM: m(2, 0.15), HeightM: m(0.4, 0.1), OffBottomM: m(1.2, 0.2), LengthM: m(3, 0.5),
		Contrast: 4.5, Position: &Position{60.5, 20.25, 7}, OnHump: true, Hold: &id, Reasons: []string{"because"},
		Evidence: map[string]float64{"gap": 5}, Time: &when, CourseDeg: &course,
	}
}

func TestMarkRecordRoundTrip(t *testing.T) {
	bare := MarkRecord{Schema: SchemaVersion, Side: Port, Class: Clutter, Odds: Odds{Clutter: 1}, Reasons: []string{}}
	for _, want := range []MarkRecord{fullMark(), bare} {
		line, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		if strings.ContainsRune(string(line), '\n') {
			t.Error("a record spans lines")
		}
		got, err := DecodeMark(line)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(*got, want) {
			t.Errorf("came back as\n%+v, want\n%+v", *got, want)
		}
	}
	// what isn't known is null, not missing: readers of the table rely on the keys
	line, err := json.Marshal(bare)
	if err != nil {
		t.Fatal(err)
	}
	var keys map[string]any
	if err := json.Unmarshal(line, &keys); err != nil {
		t.Fatal(err)
	}
	for _, k := range []string{"highlight", "shadow", "gap_px", "shadow_px", "slant_m", "ground_m", "altitude_m", "gap_m", "shadow_m",
		"height_m", "off_bottom_m", "length_m", "position", "hold"} {
		if v, ok := keys[k]; !ok || v != nil {
			t.Errorf("%s: %v (there: %v), want null", k, v, ok)
		}
	}
}

func TestCaptureRecordRoundTrip(t *testing.T) {
	why, rangeM := "no side-scan in it", 30.0
	for _, want := range []CaptureRecord{
		{Schema: SchemaVersion, Capture: "x.png", Status: StatusNoPanel, Why: &why, Counts: map[Class]int{}},
		{
			Schema: SchemaVersion, Capture: "y.png", Status: StatusRead, Width: 800, Height: 480,
			Panels: []PanelRecord{{
				Box: Box{0, 10, 800, 470}, RangeM: &rangeM, Nadir: []RowX{{10, 399.5}}, FirstReturn: FirstReturn{Port: []RowX{{10, 300}}},
				Confidence: SideConfidence{Port: 0.9}, AltitudePx: []RowAltitude{{10, 99.5, 1}},
				Humps:   []Hump{{Rows: [2]int{20, 60}, ReliefPx: 12, ReliefM: m(0.9, 0.1)}},
				Regions: []Region{{Kind: "rock-field", Box: Box{1, 2, 3, 4}}}, Notes: []string{"a note"},
			}},
			Holds: []HoldRecord{{ID: "hold-p0-h0", Marks: []string{"p0-s0010-0020"}, Odds: 0.8}}, Interest: 0.83,
			Counts: map[Class]int{SuspendedTarget: 1}, MS: Timing{1, 2}, Versions: Versions{"c", "m", "s"},
		},
	} {
		line, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		got, err := DecodeCapture(line)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(*got, want) {
			t.Errorf("came back as\n%+v, want\n%+v", *got, want)
		}
	}
}

// Settings tell whether clutter was asked for, and are the same otherwise.
func TestVersionsTellOfClutter(t *testing.T) {
	v := Versions{Settings: "0123456789abcdef"}
	if s, clutter := v.Asked(); clutter || s != "0123456789abcdef" {
		t.Errorf("plain settings are %q, clutter %t", s, clutter)
	}
	v.AskClutter()
	if s, clutter := v.Asked(); !clutter || s != "0123456789abcdef" || v.Settings == s {
		t.Errorf("settings %q are %q, clutter %t", v.Settings, s, clutter)
	}
}

func TestDecodeRecordsRefuse(t *testing.T) {
	for _, line := range []string{``, `{`, `null`, `[]`, `{"schema":2}`, `{}`, `{"schema":1,"odds":3}`, `{"schema":1,"rows":"x"}`} {
		if _, err := DecodeMark([]byte(line)); err == nil {
			t.Errorf("mark %q was taken", line)
		}
	}
	for _, line := range []string{``, `{`, `{"schema":0}`, `{"schema":1,"panels":{}}`} {
		if _, err := DecodeCapture([]byte(line)); err == nil {
			t.Errorf("capture %q was taken", line)
		}
	}
	bad := fullMark()
	bad.GapPx = m(math.NaN(), 1)
	if _, err := json.Marshal(bad); err == nil {
		t.Error("a gap that is not a number was written")
	}
}

func TestLikeliest(t *testing.T) {
	for _, tt := range []struct {
		odds          Odds
		first, second Class
	}{
		{Odds{BottomObject: 0.2, SuspendedTarget: 0.5, RaisedStructure: 0, Clutter: 0.3}, SuspendedTarget, Clutter},
		{Odds{BottomObject: 0.5, SuspendedTarget: 0.5}, BottomObject, SuspendedTarget},
		{Odds{Clutter: 1}, Clutter, BottomObject},
	} {
		if first, second := tt.odds.topTwo(); first != tt.first || second != tt.second || tt.odds.likeliest() != tt.first {
			t.Errorf("%v: %s, %s; want %s, %s", tt.odds, first, second, tt.first, tt.second)
		}
	}
}
