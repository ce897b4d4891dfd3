package survey

import (
	"math"
	"testing"

	"shadowgap/detect"
	"shadowgap/features"
)

// The bearings are worked by hand: right of the boat is course + 90°, up the picture is ahead (common practice, no source).
func TestAxisBearing(t *testing.T) {
	course := func(d float64) *float64 { return &d }
	mark := func(angle, length, width, courseDeg float64) detect.MarkRecord {
		return detect.MarkRecord{
			Axis: &detect.Axis{LengthPx: length, WidthPx: width, AngleDeg: angle}, CourseDeg: course(courseDeg),
			SlantPx: features.Measured{Value: 500}, SlantM: &features.Measured{Value: 25}, GroundM: &features.Measured{Value: 20},
		}
	}
	// a column is 0.05 m of slant, 0.05 × 25 / 20 = 0.0625 m of ground
	const column = 0.0625
	for _, c := range []struct {
		name    string
		mark    detect.MarkRecord
		rowM    float64
		flipped bool
		want    float64
	}{
		{"across the track, heading north", mark(0, 60, 10, 0), 0.1, false, 90},
		{"along the track, heading north", mark(90, 60, 10, 0), 0.1, false, 0},
		{"along the track, heading east", mark(-90, 60, 10, 90), 0.1, false, 90},
		{"up to the right at 45°, square pixels", mark(-45, 60, 10, 0), column, false, 45},
		{"down to the right at 45°, square pixels", mark(45, 60, 10, 30), column, false, 165},
		{"up to the right, rows twice as far apart", mark(-45, 60, 10, 0), 2 * column, false, math.Atan2(1, 2) * 180 / math.Pi},
		{"newest rows at the bottom", mark(-45, 60, 10, 0), column, true, 135},
	} {
		got := axisBearing(c.mark, features.Measured{Value: c.rowM, SD: 0.02 * c.rowM}, c.flipped)
		if got == nil {
			t.Fatalf("%s: no bearing", c.name)
		}
		off := math.Mod(got.Value-c.want+270, 180) - 90
		if math.Abs(off) > 1e-9 || !(got.SD > 0 && got.SD < 5) {
			t.Errorf("%s: %.3f ± %.3f°, want %.3f°", c.name, got.Value, got.SD, c.want)
		}
	}
	for name, m := range map[string]detect.MarkRecord{
		"round": mark(0, 12, 10, 0),
		"no course": {Axis: &detect.Axis{LengthPx: 60, WidthPx: 10}, SlantPx: features.Measured{Value: 500},
			SlantM: &features.Measured{Value: 25}, GroundM: &features.Measured{Value: 20}},
		"no axis": {CourseDeg: course(0)},
	} {
		if got := axisBearing(m, features.Measured{Value: 0.1}, false); got != nil {
			t.Errorf("%s: bearing %v, want none", name, got)
		}
	}
}
