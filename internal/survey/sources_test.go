package survey_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
)

func TestKnow(t *testing.T) {
	m, err := survey.ReadManifest(strings.NewReader("capture,range,time,water temperature,side,newest,row rate,slant corrected\n"+
		"a.png,30m,2025-06-01T12:00:00Z,10C,port,bottom,10,no\n"), "m.csv", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	tr := straight(t, 60, 25, 30, 0, 0, track.Options{})
	s := survey.Sources{Manifest: m, Track: tr, Detect: detect.Options{RangeM: 60}}
	k, err := s.Know("a.png", nil)
	if err != nil {
		t.Fatal(err)
	}
	// 30 m of the manifest, not 60 m of the option; then rescaled; ten rows a second at 2 m/s are 0.2 m apart.
	if math.Abs(k.Options.RangeM-30*1447.28/1500) > 0.002 || k.Options.Side != detect.Port || !k.Options.NewestAtBottom ||
		math.Abs(k.Options.RowSpacingM-0.2) > 0.001 {
		t.Errorf("%+v", k.Options)
	}
	if len(k.RangeNotes) != 2 || len(k.Notes) != 0 || k.Scene.Time == nil || !k.Scene.NewestAtBottom {
		t.Errorf("notes %q and %q, scene %+v", k.RangeNotes, k.Notes, k.Scene)
	}

	k, err = s.Know("other.png", nil)
	if err != nil || k.Options.RangeM != 60 || len(k.RangeNotes) != 0 || len(k.Notes) != 1 ||
		!strings.Contains(k.Notes[0], "says nothing") {
		t.Errorf("%+v, %v", k, err)
	}
	if k, err = (survey.Sources{}).Know("x.png", nil); err != nil || k.Options.RangeM != 0 || len(k.RangeNotes) != 1 {
		t.Errorf("nothing known: %+v, %v", k, err)
	}
	hot := 99.0
	if _, err = (survey.Sources{Detect: detect.Options{RangeM: 30}, Water: survey.Water{TempC: &hot}}).Know("x.png", nil); err == nil {
		t.Error("99 °C: no error")
	}
}

// Text on the capture is compared with what the display showed, not with the range after rescaling, and rescaled once.
func TestRangeSaidWith(t *testing.T) {
	cold := 10.0
	water := survey.Water{TempC: &cold}
	tests := []struct {
		name           string
		said           survey.RangeSaid
		captureM, want float64
		notes          []string
	}{
		{"the same on screen", survey.RangeSaid{OptionM: 30, Water: water}, 30, 30 * 1447.28 / 1500, []string{"rescaled"}},
		{"another on screen", survey.RangeSaid{OptionM: 30, Water: water}, 20, 30 * 1447.28 / 1500,
			[]string{"text on the capture says 20 m", "rescaled"}},
		{"only on screen", survey.RangeSaid{Water: water}, 20, 20 * 1447.28 / 1500, []string{"rescaled"}},
		{"manifest before option", survey.RangeSaid{ManifestM: 40, OptionM: 30}, 0, 40, []string{"--range says 30 m"}},
		{"nowhere", survey.RangeSaid{Water: water}, 0, 0, []string{"unknown"}},
	}
	for _, tt := range tests {
		m, notes, err := tt.said.With(tt.captureM)
		if err != nil || math.Abs(m-tt.want) > 0.002 || len(notes) != len(tt.notes) {
			t.Errorf("%s: %v, %q, %v; want %v", tt.name, m, notes, err, tt.want)
			continue
		}
		for i, want := range tt.notes {
			if !strings.Contains(notes[i], want) {
				t.Errorf("%s: note %q does not tell %q", tt.name, notes[i], want)
			}
		}
	}
}

func TestRegionArea(t *testing.T) {
	// 0.1 m a pixel, altitude 6 m, nadir at x = 400: slant 10 m is 8 m along the bottom.
	panel := detect.PanelRecord{Nadir: []detect.RowX{{0, 400}}, AltitudePx: []detect.RowAltitude{{0, 60, 1}},
		AltitudeM: []detect.RowAltitude{{0, 6, 0.1}}}
	spacing := features.Measured{Value: 0.2, SD: 0.01}
	tests := []struct {
		name string
		box  detect.Box
		want float64
	}{
		{"starboard of the first return", detect.Box{X: 460, Y: 0, W: 40, H: 100}, 8 * 20},
		{"port, the same", detect.Box{X: 300, Y: 0, W: 40, H: 100}, 8 * 20},
		{"both sides", detect.Box{X: 300, Y: 0, W: 200, H: 100}, 16 * 20},
		{"inside the water column", detect.Box{X: 380, Y: 0, W: 40, H: 100}, 0},
	}
	for _, tt := range tests {
		a, ok := survey.RegionArea(panel, detect.Region{Kind: "rock-field", Box: tt.box}, spacing)
		if !ok || math.Abs(a.Value-tt.want) > 1e-9 || tt.want > 0 && !(a.SD > 0.05*tt.want && a.SD < 0.3*tt.want) {
			t.Errorf("%s: %v ± %v m², %v; want %v", tt.name, a.Value, a.SD, ok, tt.want)
		}
	}
	if _, ok := survey.RegionArea(detect.PanelRecord{}, detect.Region{}, spacing); ok {
		t.Error("no scale: an area")
	}
}
