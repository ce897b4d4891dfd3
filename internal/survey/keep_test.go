package survey_test

import (
	"math"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
)

// A mark drawn after the run, placed by what the run kept, lands where it would have at once.
func TestKeptWayPlacesLikeTheTrack(t *testing.T) {
	rangeM := 30.0
	panels := onePanel()
	panels[0].RangeM, panels[0].Nadir = &rangeM, []detect.RowX{{50, 399}}
	when := &survey.CaptureTime{Time: noon, SD: time.Second}
	var turning []track.Point
	lat, lon, course := 47.0, 8.0, 10.0
	for s := -300; s <= 60; s++ {
		turning = append(turning, track.Point{Time: noon.Add(time.Duration(s) * time.Second), Lat: lat, Lon: lon, CourseDeg: math.NaN(),
			SpeedMS: math.NaN(), DepthM: math.NaN()})
		course += 2
		lat, lon, _ = track.Direct(lat, lon, course, 1.5)
	}
	circle, err := track.New([][]track.Point{turning}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	course2, speed, here := 80.0, 1.5, 47.5
	for name, s := range map[string]survey.Scene{
		"straight":     {Time: when, Track: straight(t, 47, 8, 30, 0, 0, track.Options{}), RowRate: metres(15, 0.3)},
		"guessed rate": {Time: when, Track: straight(t, 47, 8, 30, 0, 0, track.Options{})},
		"turning":      {Time: when, Track: circle, RowRate: metres(15, 0.3)},
		"newest below": {Time: when, Track: circle, RowRate: metres(15, 0.3), NewestAtBottom: true},
		"manifest alone": {Entry: &survey.Entry{Lat: &here, Lon: &here, CourseDeg: &course2, SpeedMS: &speed},
			RowSpacingM: metres(0.1, 0.002)},
		"outside": {Time: &survey.CaptureTime{Time: noon.Add(time.Hour)}, Track: circle, RowRate: metres(15, 0.3)},
	} {
		data, err := s.Keep(panels)
		if err != nil {
			t.Fatal(name, err)
		}
		kept, err := survey.ReadScene(data)
		if err != nil {
			t.Fatal(name, err)
		}
		for _, rows := range []int{10, 300, 590} {
			want := []detect.MarkRecord{markAt(rows, detect.Starboard, metres(13, 0.2))}
			got := []detect.MarkRecord{markAt(rows, detect.Starboard, metres(13, 0.2))}
			survey.Place(s, panels, want)
			survey.Place(*kept, panels, got)
			a, b := want[0].Position, got[0].Position
			if (a == nil) != (b == nil) {
				t.Fatalf("%s, row %d: placed %v, kept %v (%q)", name, rows, a, b, got[0].Reasons)
			}
			if a == nil {
				continue
			}
			if d, _, _ := track.Inverse(a.Lat, a.Lon, b.Lat, b.Lon); d > 0.3 || math.Abs(a.ErrorM-b.ErrorM) > 0.1*a.ErrorM {
				t.Errorf("%s, row %d: %.2f m apart, errors %.2f and %.2f m", name, rows, d, a.ErrorM, b.ErrorM)
			}
		}
	}
	if _, err := survey.ReadScene([]byte("{")); err == nil {
		t.Error("broken JSON was read")
	}
}
