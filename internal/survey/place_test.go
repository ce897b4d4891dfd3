package survey_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
)

var noon = time.Date(2025, 6, 1, 12, 0, 0, 0, time.UTC)

func metres(v, sd float64) *features.Measured { return &features.Measured{Value: v, SD: sd} }

// straight logs a boat on a geodesic from five minutes before noon to one minute after, a fix a second, moved east and
// north by a fixed error.
func straight(t *testing.T, lat, lon, course, eastM, northM float64, opt track.Options) *track.Track {
	t.Helper()
	const speedMS = 2
	var points []track.Point
	for s := -300; s <= 60; s++ {
		la, lo, _ := track.Direct(lat, lon, course, speedMS*float64(s))
		la, lo, _ = track.Direct(la, lo, math.Atan2(eastM, northM)*180/math.Pi, math.Hypot(eastM, northM))
		points = append(points, track.Point{Time: noon.Add(time.Duration(s) * time.Second), Lat: la, Lon: lo, CourseDeg: math.NaN(),
			SpeedMS: math.NaN(), DepthM: math.NaN()})
	}
	tr, err := track.New([][]track.Point{points}, opt)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func onePanel() []detect.PanelRecord {
	return []detect.PanelRecord{{Box: detect.Box{X: 0, Y: 50, W: 800, H: 600}}}
}

// markAt is a mark whose middle lies rows below the panel's top.
func markAt(rows int, side detect.Side, ground *features.Measured) detect.MarkRecord {
	y := 50 + rows - 5
	return detect.MarkRecord{Capture: "c.png", Mark: "m", Side: side, Class: detect.BottomObject,
		Highlight: &detect.Box{X: 500, Y: y, W: 10, H: 10},
		Rows:      [2]int{y, y + 10}, SlantPx: features.Measured{Value: 200, SD: 1}, SlantM: metres(15, 0.1), GroundM: ground}
}

func TestPlaceLandsAbeamOfItsRow(t *testing.T) {
	tests := []struct {
		name             string
		lat, lon, course float64
		side             detect.Side
		bottomUp         bool
	}{
		{"starboard", 60, 25, 30, detect.Starboard, false},
		{"port", 60, 25, 30, detect.Port, false},
		{"newest at the bottom", 60, 25, 200, detect.Port, true},
		{"over 180 degrees", -17, 179.9999, 0, detect.Starboard, false},
		{"over the pole", 89.9999, 10, 2, detect.Starboard, false},
	}
	for _, tt := range tests {
		tr := straight(t, tt.lat, tt.lon, tt.course, 0, 0, track.Options{})
		s := survey.Scene{Time: &survey.CaptureTime{Time: noon, SD: time.Second}, Track: tr, RowRate: metres(10, 0.1),
			NewestAtBottom: tt.bottomUp}
		rows := 200
		if tt.bottomUp {
			rows = 400 // of 600
		}
		marks := []detect.MarkRecord{markAt(rows, tt.side, metres(12, 0.2))}
		survey.Place(s, onePanel(), marks)
		m := marks[0]
		if m.Position == nil {
			t.Errorf("%s: no position: %q", tt.name, m.Reasons)
			continue
		}
		la, lo, azi := track.Direct(tt.lat, tt.lon, tt.course, -2*20) // 200 rows at 10 a second
		abeam := 90.0
		if tt.side == detect.Port {
			abeam = -90
		}
		la, lo, _ = track.Direct(la, lo, azi+abeam, 12)
		if d, _, _ := track.Inverse(la, lo, m.Position.Lat, m.Position.Lon); d > 0.03 {
			t.Errorf("%s: %.3f m off", tt.name, d)
		}
		if m.Time == nil || !m.Time.Equal(noon.Add(-20*time.Second)) || m.CourseDeg == nil || m.Position.ErrorM < 4 ||
			m.Position.ErrorM > 7 || len(m.Reasons) != 0 {
			t.Errorf("%s: time %v, course %v, error %v m, reasons %q", tt.name, m.Time, m.CourseDeg, m.Position.ErrorM, m.Reasons)
		}
		if m.LengthM == nil || math.Abs(m.LengthM.Value-2) > 0.01 { // ten rows of 0.2 m
			t.Errorf("%s: length %v", tt.name, m.LengthM)
		}
	}
}

func TestPlaceSaysWhyNot(t *testing.T) {
	tr := straight(t, 60, 25, 30, 0, 0, track.Options{})
	at := func(d time.Duration) *survey.CaptureTime {
		return &survey.CaptureTime{Time: noon.Add(d), SD: time.Second}
	}
	far := markAt(200, detect.Port, nil)
	far.SlantM = nil
	lat, lon := 60.0, 25.0
	tests := []struct {
		name  string
		scene survey.Scene
		mark  detect.MarkRecord
		want  string
	}{
		{"nothing known", survey.Scene{}, markAt(200, detect.Port, metres(12, 0.2)), "no track and no position"},
		{"no time", survey.Scene{Track: tr}, markAt(200, detect.Port, metres(12, 0.2)), "time of the capture is unknown"},
		{"outside", survey.Scene{Track: tr, Time: at(time.Hour)}, markAt(200, detect.Port, metres(12, 0.2)), "after the last fix"},
		{"row before the track", survey.Scene{Track: tr, Time: at(-4 * time.Minute), RowRate: metres(1, 0.01)},
			markAt(200, detect.Port, metres(12, 0.2)), "its row: "},
		{"no range", survey.Scene{Track: tr, Time: at(0)}, far, "its distance from the boat is unknown"},
		{"manifest without latitude", survey.Scene{Entry: &survey.Entry{CourseDeg: &lat}}, markAt(200, detect.Port, metres(12, 0.2)),
			"no track and no position"},
	}
	for _, tt := range tests {
		marks := []detect.MarkRecord{tt.mark}
		survey.Place(tt.scene, onePanel(), marks)
		if marks[0].Position != nil || !slices.ContainsFunc(marks[0].Reasons,
			func(r string) bool { return strings.HasPrefix(r, "no position: ") && strings.Contains(r, tt.want) }) {
			t.Errorf("%s: position %v, reasons %q, want %q", tt.name, marks[0].Position, marks[0].Reasons, tt.want)
		}
	}

	// A position without a course: somewhere around the boat, and said so.
	marks := []detect.MarkRecord{markAt(200, detect.Port, metres(12, 0.2))}
	survey.Place(survey.Scene{Entry: &survey.Entry{Lat: &lat, Lon: &lon}}, onePanel(), marks)
	if p := marks[0].Position; p == nil || p.Lat != 60 || p.ErrorM < 12 || marks[0].Time != nil {
		t.Errorf("no course: %+v, %q", p, marks[0].Reasons)
	}
}

func TestPlaceWidensTheErrorAndSaysSo(t *testing.T) {
	tr := straight(t, 60, 25, 30, 0, 0, track.Options{})
	known := survey.Scene{Time: &survey.CaptureTime{Time: noon, SD: time.Second}, Track: tr, RowRate: metres(10, 0.1)}
	place := func(s survey.Scene, m detect.MarkRecord) detect.MarkRecord {
		t.Helper()
		marks := []detect.MarkRecord{m}
		survey.Place(s, onePanel(), marks)
		if marks[0].Position == nil {
			t.Fatalf("no position: %q", marks[0].Reasons)
		}
		return marks[0]
	}
	base := place(known, markAt(200, detect.Port, metres(12, 0.2))).Position.ErrorM

	guessed := known
	guessed.RowRate = nil
	m := place(guessed, markAt(200, detect.Port, metres(12, 0.2)))
	// 200 rows of 0.075 m are 15 m, all of it error.
	if m.Position.ErrorM < 15 || m.LengthM != nil || !strings.Contains(strings.Join(m.Reasons, ";"), "row rate is unknown") {
		t.Errorf("guessed row rate: error %v m, length %v, %q", m.Position.ErrorM, m.LengthM, m.Reasons)
	}

	m = place(known, markAt(200, detect.Port, nil)) // inside the water column
	if m.Position.ErrorM < 15/math.Sqrt(12) || m.Position.ErrorM <= base-1 ||
		!strings.Contains(strings.Join(m.Reasons, ";"), "0 to 15.0 m") {
		t.Errorf("water column: error %v m, %q", m.Position.ErrorM, m.Reasons)
	}

	// A circle of 20 m radius at 2 m/s: a capture of 60 s turns 344°.
	var points []track.Point
	for s := -120; s <= 20; s++ {
		a := 2 * float64(s) / 20 * 180 / math.Pi
		la, lo, _ := track.Direct(60, 25, a, 20)
		points = append(points, track.Point{Time: noon.Add(time.Duration(s) * time.Second), Lat: la, Lon: lo, CourseDeg: math.NaN(),
			SpeedMS: math.NaN(), DepthM: math.NaN()})
	}
	circle, err := track.New([][]track.Point{points}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	turning := known
	turning.Track = circle
	m = place(turning, markAt(200, detect.Port, metres(12, 0.2)))
	if m.Position.ErrorM <= base || !strings.Contains(strings.Join(m.Reasons, ";"), "the boat turned 34") {
		t.Errorf("turning: error %v m against %v m straight, %q", m.Position.ErrorM, base, m.Reasons)
	}
}

// The stated error radius against the root mean square of a hundred thousand draws of every part.
func TestSpotErrorAgainstMonteCarlo(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		name string
		spot survey.Spot
	}{
		{"near", survey.Spot{Fix: track.Fix{Lat: 60, Lon: 25, CourseDeg: 40, CourseSD: 2, SpeedMS: 2, ErrorM: 3},
			GroundM: features.Measured{Value: 10, SD: 0.5}, TimeSD: 1, AntennaM: 1, CrabSD: 5}},
		{"far, crabbing", survey.Spot{Fix: track.Fix{Lat: -45, Lon: 179.9999, CourseDeg: 270, CourseSD: 10, SpeedMS: 1, ErrorM: 1},
			GroundM: features.Measured{Value: 80, SD: 2}, TimeSD: 0.3, AntennaM: 1, CrabSD: 15}},
		{"turning hard", survey.Spot{Fix: track.Fix{Lat: 10, Lon: 10, CourseDeg: 0, CourseSD: 5, SpeedMS: 3, ErrorM: 4},
			GroundM: features.Measured{Value: 40, SD: 1}, TimeSD: 1, AntennaM: 1, CrabSD: 5, TurnSD: 60}},
		{"bad clock", survey.Spot{Fix: track.Fix{Lat: 10, Lon: 10, CourseDeg: 123, CourseSD: 1, SpeedMS: 4, ErrorM: 2},
			GroundM: features.Measured{Value: 5, SD: 0.2}, TimeSD: 10, AntennaM: 1, CrabSD: 5}},
		{"no course", survey.Spot{Fix: track.Fix{Lat: 10, Lon: 10, CourseDeg: nan, CourseSD: nan, SpeedMS: 0, ErrorM: 2},
			GroundM: features.Measured{Value: 25, SD: 0.2}, AntennaM: 1}},
	}
	rng := rand.New(rand.NewPCG(1, 2))
	const draws = 100_000
	for _, tt := range tests {
		s := tt.spot
		want := s.Position()
		sum := 0.0
		for range draws {
			// In the plane, with the boat's stated place as origin and its stated course as +y.
			var angle, placed float64
			if math.IsNaN(s.Fix.CourseDeg) {
				angle = 2 * math.Pi * rng.Float64()
			} else {
				placed = s.GroundM.Value
				angle = math.Sqrt(s.Fix.CourseSD*s.Fix.CourseSD+s.CrabSD*s.CrabSD+s.TurnSD*s.TurnSD) * math.Pi / 180 * rng.NormFloat64()
			}
			g := s.GroundM.Value + s.GroundM.SD*rng.NormFloat64()
			axis := math.Hypot(s.Fix.ErrorM, s.AntennaM) / math.Sqrt2
			x := g*math.Cos(angle) + axis*rng.NormFloat64()
			y := g*math.Sin(angle) + axis*rng.NormFloat64() + s.Fix.SpeedMS*s.TimeSD*rng.NormFloat64()
			sum += (x-placed)*(x-placed) + y*y
		}
		if got := math.Sqrt(sum / draws); math.Abs(got-want.ErrorM) > 0.015*want.ErrorM {
			t.Errorf("%s: root mean square of draws %.3f m, stated %.3f m", tt.name, got, want.ErrorM)
		}
	}
}

// The whole way from a log to a mark: true positions, a log with a shifted antenna, a clock that is off, a boat that crabs.
func TestPlaceAgainstMonteCarlo(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const draws = 400
	sum, stated := 0.0, 0.0
	for range draws {
		axis := math.Hypot(4, 1) / math.Sqrt2 // the fix, and the antenna beside the transducer
		tr := straight(t, 60, 25, 30, axis*rng.NormFloat64(), axis*rng.NormFloat64(), track.Options{FixErrorM: 4})
		clock := rng.NormFloat64()
		crab := 5 * rng.NormFloat64()
		rate := 10 + 0.3*rng.NormFloat64()
		ground := 25 + 0.8*rng.NormFloat64()
		// The truth: row 300 of the newest at noon, seen crab degrees off abeam.
		la, lo, azi := track.Direct(60, 25, 30, -2*300/rate)
		la, lo, _ = track.Direct(la, lo, azi+90+crab, 25)
		s := survey.Scene{Time: &survey.CaptureTime{Time: noon.Add(time.Duration(clock * float64(time.Second))), SD: time.Second},
			Track: tr, RowRate: metres(10, 0.3)}
		marks := []detect.MarkRecord{markAt(300, detect.Starboard, metres(ground, 0.8))}
		survey.Place(s, onePanel(), marks)
		p := marks[0].Position
		if p == nil {
			t.Fatal(marks[0].Reasons)
		}
		d, _, _ := track.Inverse(la, lo, p.Lat, p.Lon)
		sum += d * d
		stated += p.ErrorM * p.ErrorM
	}
	// 400 draws know a root mean square to about 3 %; the log's own course error is stated but hardly there.
	if ratio := math.Sqrt(sum / stated); ratio < 0.88 || ratio > 1.08 {
		t.Errorf("errors are %.3f of what is stated", ratio)
	}
}
