package survey_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
)

type look struct {
	capture, mark string
	eastM         float64 // of 60 N 25 E, or of where at says
	errorM        float64
	side          detect.Side
	class         detect.Class
	odds          float64 // of the class; the rest is spread evenly
	after         time.Duration
	course        float64
	height        float64 // 0 = unknown; sd 0.2 m
}

func record(l look, lat, lon float64) detect.MarkRecord {
	la, lo, _ := track.Direct(lat, lon, 90, l.eastM)
	when, course := noon.Add(l.after), l.course
	m := detect.MarkRecord{Capture: l.capture, Mark: l.mark, Side: l.side, Class: l.class, Time: &when, CourseDeg: &course,
		Odds:     detect.Odds{},
		Position: &detect.Position{Lat: la, Lon: lo, ErrorM: l.errorM}}
	for _, c := range detect.Classes {
		m.Odds[c] = (1 - l.odds) / 3
	}
	m.Odds[l.class] = l.odds
	if l.height > 0 {
		m.HeightM = metres(l.height, 0.2)
	}
	return m
}

func TestMerge(t *testing.T) {
	const b, s, p = detect.BottomObject, detect.SuspendedTarget, detect.Port
	st := detect.Starboard
	hour := time.Hour
	tests := []struct {
		name  string
		looks []look
		want  [][]string
	}{
		{"two sides", []look{{"1", "a", 0, 5, p, b, .7, 0, 0, 1.0}, {"2", "b", 4, 5, st, b, .7, hour, 0, 1.2}}, [][]string{{"a", "b"}}},
		{"beyond their errors", []look{{"1", "a", 0, 2, p, b, .7, 0, 0, 0}, {"2", "b", 8, 2, st, b, .7, hour, 0, 0}}, nil},
		{"within errors but too far to know", []look{{"1", "a", 0, 60, p, b, .7, 0, 0, 0}, {"2", "b", 50, 60, st, b, .7, hour, 0, 0}}, nil},
		{"one capture", []look{{"1", "a", 0, 5, p, b, .7, 0, 0, 0}, {"1", "b", 1, 5, p, b, .7, 0, 0, 0}}, nil},
		{"odds against it", []look{{"1", "a", 0, 5, p, b, .97, 0, 0, 0}, {"2", "b", 1, 5, p, s, .97, 0, 0, 0}}, nil},
		{"clutter", []look{{"1", "a", 0, 5, p, detect.Clutter, .9, 0, 0, 0}, {"2", "b", 1, 5, p, detect.Clutter, .9, 0, 0, 0}}, nil},
		{"a target that had an hour to swim", []look{{"1", "a", 0, 5, p, s, .9, 0, 0, 0}, {"2", "b", 1, 5, p, s, .9, hour, 0, 0}}, nil},
		{"heights too different", []look{{"1", "a", 0, 5, p, b, .9, 0, 0, 1}, {"2", "b", 1, 5, st, b, .9, hour, 0, 4}}, nil},
		{"nearest of two", []look{{"1", "a", 0, 5, p, b, .9, 0, 0, 0}, {"1", "b", 6, 5, p, b, .9, 0, 0, 0},
			{"2", "c", 5, 5, p, b, .9, hour, 0, 0}}, [][]string{{"b", "c"}}},
		{"three passes", []look{{"1", "a", 0, 5, p, b, .9, 0, 0, 0}, {"2", "b", 3, 5, p, b, .9, hour, 90, 0},
			{"3", "c", 2, 5, p, b, .9, 2 * hour, 180, 0}}, [][]string{{"a", "b", "c"}}},
		{"no chain", []look{{"1", "a", 0, 3, p, b, .9, 0, 0, 0}, {"2", "b", 6, 3, p, b, .9, hour, 0, 0},
			{"3", "c", 12, 3, p, b, .9, 2 * hour, 0, 0}}, [][]string{{"a", "b"}}},
	}
	for _, tt := range tests {
		for _, at := range []struct{ lat, lon float64 }{{60, 25}, {-17, 179.99999}, {89.99999, 0}} {
			var marks []detect.MarkRecord
			for _, l := range tt.looks {
				marks = append(marks, record(l, at.lat, at.lon))
			}
			found := survey.Merge(marks)
			var got [][]string
			for _, f := range found {
				var ids []string
				for _, m := range f.Members {
					ids = append(ids, m.Mark)
				}
				got = append(got, ids)
			}
			if !reflect.DeepEqual(got, tt.want) {
				t.Errorf("%s at %v: %v, want %v", tt.name, at, got, tt.want)
			}
		}
	}
}

func TestMergeSharpens(t *testing.T) {
	two := []detect.MarkRecord{
		record(look{"1", "a", 0, 4, detect.Port, detect.BottomObject, .6, 0, 0, 1.0}, 60, 25),
		record(look{"2", "b", 2, 4, detect.Starboard, detect.BottomObject, .6, time.Hour, 0, 1.1}, 60, 25),
	}
	s := survey.Merge(two)[0]
	// Equal errors: mean 1.05 m, sd 0.2/√2; mean place 1 m east, error 4/√2; odds .6² : .1333² three times.
	if s.Looks != 2 || math.Abs(s.HeightM.Value-1.05) > 1e-9 || math.Abs(s.HeightM.SD-0.2/math.Sqrt2) > 1e-9 ||
		math.Abs(s.Position.ErrorM-2.83) > 0.01 {
		t.Errorf("%+v, height %+v", s, s.HeightM)
	}
	if want := .36 / (.36 + 3*.4*.4/9); s.Class != detect.BottomObject || math.Abs(s.Odds[detect.BottomObject]-want) > 1e-9 {
		t.Errorf("odds %v, want %.4f", s.Odds, want)
	}
	if d, azi, _ := track.Inverse(60, 25, s.Position.Lat, s.Position.Lon); math.Abs(d-1) > 0.02 || math.Abs(azi-90) > 1 {
		t.Errorf("mean place %.3f m at %.1f°", d, azi)
	}
	if two[0].Sighting == nil || *two[0].Sighting != s.ID || *two[1].Sighting != s.ID {
		t.Error("the marks don't name their sighting")
	}

	same := []detect.MarkRecord{
		record(look{"1", "a", 0, 4, detect.Port, detect.BottomObject, .6, 0, 0, 1.0}, 60, 25),
		record(look{"2", "b", 2, 4, detect.Port, detect.BottomObject, .6, 20 * time.Second, 3, 1.1}, 60, 25),
	}
	s = survey.Merge(same)[0]
	if s.Looks != 1 || s.HeightM.SD != 0.2 || s.Position.ErrorM != 4 || math.Abs(s.Odds[detect.BottomObject]-.6) > 1e-9 {
		t.Errorf("one pass must sharpen nothing: %+v", s)
	}

	two[1].HeightM = metres(1.6, 0.2) // 0.6 m apart at 0.28 m: chi-square 4.5 on one degree
	s = survey.Merge(two)[0]
	if want := 0.2 / math.Sqrt2 * math.Sqrt(4.5); math.Abs(s.HeightM.SD-want) > 1e-9 {
		t.Errorf("height error %v, want widened to %v", s.HeightM.SD, want)
	}
}

func TestMergeDoesNotDependOnOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var marks []detect.MarkRecord
	for i := range 300 {
		l := look{fmt.Sprint(i % 20), fmt.Sprint("m", i), 400 * rng.Float64(), 2 + 4*rng.Float64(), detect.Port, detect.BottomObject, .8,
			time.Duration(i%20) * time.Hour, 0, 0}
		marks = append(marks, record(l, 60, 25))
	}
	want := survey.Merge(slices.Clone(marks))
	rng.Shuffle(len(marks), func(i, j int) { marks[i], marks[j] = marks[j], marks[i] })
	if got := survey.Merge(marks); len(want) < 20 || !reflect.DeepEqual(got, want) {
		t.Errorf("%d sightings, then %d in another order", len(want), len(got))
	}
}

// How often looks at one thing merge: the gate is the 95 % point, so about 95 in 100.
func TestMergeGateAgainstMonteCarlo(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	const draws = 4000
	merged := 0
	for range draws {
		at := func(capture string, side detect.Side, err float64) detect.MarkRecord {
			m := record(look{capture, capture, err / math.Sqrt2 * rng.NormFloat64(), err, side, detect.BottomObject, .8, 0, 0, 0}, 60, 25)
			m.Position.Lat, m.Position.Lon, _ = track.Direct(m.Position.Lat, m.Position.Lon, 0, err/math.Sqrt2*rng.NormFloat64())
			return m
		}
		merged += len(survey.Merge([]detect.MarkRecord{at("1", detect.Port, 3), at("2", detect.Starboard, 6)}))
	}
	if rate := float64(merged) / draws; math.Abs(rate-0.95) > 0.012 { // 3.5 standard errors
		t.Errorf("%.3f of the pairs merged, want 0.95", rate)
	}
}

func TestRankHolds(t *testing.T) {
	hold := func(capture, id string, odds float64, marks ...string) detect.CaptureRecord {
		return detect.CaptureRecord{Capture: capture, Holds: []detect.HoldRecord{{ID: id, Marks: marks, Odds: odds}},
			Panels: []detect.PanelRecord{{Box: detect.Box{W: 100, H: 400}, Humps: []detect.Hump{{Rows: [2]int{100, 150}, ReliefPx: 12}}}}}
	}
	target := func(capture, id string, eastM float64, row int) detect.MarkRecord {
		m := record(look{capture, id, eastM, 5, detect.Port, detect.SuspendedTarget, .8, 0, 0, 0}, 60, 25)
		m.Rows = [2]int{row, row + 10}
		return m
	}
	captures := []detect.CaptureRecord{hold("1", "h1", .6, "a"), hold("2", "h2", .9, "b", "c"), hold("3", "h3", .9, "d"),
		hold("4", "h4", .95, "e")}
	marks := []detect.MarkRecord{target("1", "a", 0, 120), target("2", "b", 3, 120), target("2", "c", 5, 170), target("3", "d", 500, 300),
		target("4", "e", 900, 90)}
	marks[4].Position = nil
	got := survey.RankHolds(captures, marks)
	if len(got) != 3 || got[0].ID != "h4" || got[1].ID != "h2" || got[2].ID != "h3" {
		t.Fatalf("%+v", got)
	}
	// h1 lies at h2; h2's second target is 20 rows past the hump's end.
	if h := got[1]; len(h.Holds) != 2 || h.Targets != 2 || h.NearestPx != 10 || h.ReliefPx != 12 || h.Position == nil {
		t.Errorf("%+v", h)
	}
	if got[0].Position != nil {
		t.Errorf("a hold without placed marks has a position: %+v", got[0])
	}
}

func BenchmarkMerge(b *testing.B) {
	rng := rand.New(rand.NewPCG(9, 10))
	var marks []detect.MarkRecord
	for i := range 20_000 {
		m := record(look{fmt.Sprint(i / 10), fmt.Sprint("m", i), 20_000 * rng.Float64(), 5, detect.Port, detect.BottomObject, .8, 0, 0, 0},
			60, 25)
		m.Position.Lat += 0.01 * rng.Float64()
		marks = append(marks, m)
	}
	for b.Loop() {
		survey.Merge(marks)
	}
}
