package survey_test

import (
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
)

// The boat runs north at 2 m/s, 15 rows a second; the panel's 600 rows are 80 m of its way up to noon, with 30 m to port and
// 20 m to starboard in view.
func TestStripCovers(t *testing.T) {
	rangeM := 30.0
	panels := []detect.PanelRecord{{Box: detect.Box{X: 0, Y: 50, W: 500, H: 600}, RangeM: &rangeM, Nadir: []detect.RowX{{50, 299.5}}}}
	s := survey.Scene{Time: &survey.CaptureTime{Time: noon, SD: time.Second}, Track: straight(t, 47, 8, 0, 0, 0, track.Options{}),
		RowRate: metres(15, 0.3)}
	data, err := s.Keep(panels)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := survey.ReadScene(data)
	if err != nil {
		t.Fatal(err)
	}
	at := func(eastM, northM float64) detect.Position {
		lat, lon, _ := track.Direct(47, 8, 0, northM)
		lat, lon, _ = track.Direct(lat, lon, 90, eastM)
		return detect.Position{Lat: lat, Lon: lon, ErrorM: 2}
	}
	for name, tt := range map[string]struct {
		p    detect.Position
		want bool
	}{
		"under the boat":       {at(0, -40), true},
		"to port":              {at(-25, -40), true},
		"beyond port":          {at(-35, -40), false},
		"to starboard":         {at(15, -40), true},
		"beyond starboard":     {at(25, -40), false},
		"within error of edge": {at(19, -40), false},
		"ahead of newest row":  {at(5, 4), false},
		"at the oldest rows":   {at(5, -76), true},
		"behind oldest row":    {at(5, -84), false},
		"on another lake":      {detect.Position{Lat: 10, Lon: 10, ErrorM: 2}, false},
		"far behind":           {at(0, -500), false},
	} {
		for which, scene := range map[string]survey.Scene{"track": s, "kept": *kept} {
			strips := scene.Strips(panels)
			if len(strips) != 1 {
				t.Fatalf("%s: %d strips", which, len(strips))
			}
			if got := strips[0].Covers(tt.p); got != tt.want {
				t.Errorf("%s, %s: covered %v, want %v", name, which, got, tt.want)
			}
		}
	}
	if n := len((survey.Scene{}).Strips(panels)); n != 0 {
		t.Errorf("%d strips without a way", n)
	}
}
