package track_test

import (
	"bytes"
	"math"
	"testing"
	"time"

	"shadowgap/internal/track"
)

func TestWriteCSVReadsBack(t *testing.T) {
	start := time.Date(2031, 5, 4, 6, 0, 0, 0, time.UTC)
	nan := math.NaN()
	var run []track.Point
	for i := range 40 {
		depth := nan
		if i%2 == 0 {
			depth = 7.25
		}
		at := start.Add(time.Duration(i) * time.Second)
		if i >= 20 {
			at = at.Add(time.Hour)
		}
		run = append(run, track.Point{Time: at, Lat: 10 + float64(i)*1e-5, Lon: -40, CourseDeg: nan, SpeedMS: nan, DepthM: depth, HDOP: nan,
			ErrorM: nan})
	}
	way, err := track.New([][]track.Point{run}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := way.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	again, err := track.ReadCSV(&b, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	legs := 0
	for leg := range again.Legs() {
		if len(leg) != 20 {
			t.Errorf("a leg of %d fixes, want 20", len(leg))
		}
		legs++
	}
	if legs != 2 || again.Points() != 40 {
		t.Errorf("%d legs, %d fixes; want 2 and 40", legs, again.Points())
	}
	for _, at := range []time.Duration{500 * time.Millisecond, time.Hour + 30500*time.Millisecond} {
		a, errA := way.At(start.Add(at))
		z, errZ := again.At(start.Add(at))
		if errA != nil || errZ != nil {
			t.Fatal(errA, errZ)
		}
		if d, _, _ := track.Inverse(a.Lat, a.Lon, z.Lat, z.Lon); d > 0.002 || math.Abs(a.CourseDeg-z.CourseDeg) > 0.1 {
			t.Errorf("at %s: %.4f m and %.2f° apart", at, d, a.CourseDeg-z.CourseDeg)
		}
	}
}
