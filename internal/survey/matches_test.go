package survey_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
)

// matchCase is what a run was given, and what is told of it.
type matchCase struct {
	name string
	m    survey.Matches
	caps []detect.CaptureRecord
	want []string // what the only sentence says; none = there is no sentence
}

func (tt matchCase) check(t *testing.T) {
	t.Helper()
	for i := range tt.caps {
		tt.m.See(&tt.caps[i])
	}
	got := tt.m.Missed()
	if (len(got) == 1) != (tt.want != nil) || len(got) > 1 {
		t.Errorf("%s: got %q", tt.name, got)
		return
	}
	for _, w := range tt.want {
		if !strings.Contains(got[0], w) {
			t.Errorf("%s: got %q; want %q in it", tt.name, got[0], w)
		}
	}
}

func at(when time.Time) *time.Time { return &when }

func read(name string, when *time.Time, w, h int) detect.CaptureRecord {
	return detect.CaptureRecord{Capture: name, Status: detect.StatusRead, Time: when, Width: w, Height: h}
}

func fiveCaptures() []detect.CaptureRecord {
	return []detect.CaptureRecord{
		read("day/a.png", at(noon.Add(2*time.Hour)), 800, 480),
		read("day/b.png", at(noon.Add(3*time.Hour)), 800, 480), read("c.png", nil, 1280, 720),
		read("d.png", nil, 800, 480), {Capture: "e.png", Status: detect.StatusUnreadable},
	}
}

func manifestOf(t *testing.T, text string) *survey.Manifest {
	t.Helper()
	m, err := survey.ReadManifest(strings.NewReader(text), "m.csv", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// What was given and speaks of no capture is told with what it holds and what was looked for; what speaks of one is not.
func TestMatches(t *testing.T) {
	table := func(text string) *survey.Manifest { return manifestOf(t, text) }
	way := straight(t, 60, 25, 30, 0, 0, track.Options{}) // from 11:55 to 12:01
	var fixes []track.Point
	for i := range 4 {
		fixes = append(fixes, track.Point{Time: noon.Add(10 * time.Duration(i) * time.Minute), Lat: 60 + float64(i)/1000, Lon: 25,
			CourseDeg: math.NaN(), SpeedMS: math.NaN(), DepthM: math.NaN()})
	}
	sparse, err := track.New([][]track.Point{fixes}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	five := fiveCaptures()
	zoneless, otherwise := read("f.png", at(noon), 9, 9), read("day/f.png", nil, 9, 9)
	_, zoneless.Notes = survey.ChooseTime(nil, nil, "scan_20250601_120000.png", survey.TimeOptions{})
	otherwise.Panels = []detect.PanelRecord{{Notes: []string{"set by hand against what the picture shows: the nadir at column 9"}}}
	wide := []detect.Layout{{Width: 1920, Height: 1080}, {Width: 1024, Height: 600}}
	for _, tt := range []matchCase{
		{name: "nothing given", caps: five},
		{name: "no captures", m: survey.Matches{Manifest: table("capture\nx.png\n"), Track: way, TrackName: "t.gpx", Layouts: wide,
			LayoutName: "l"}},
		{name: "other names", m: survey.Matches{Manifest: table("capture\np.png\nq.png\nr.png\ns.png\n")}, caps: five, want: []string{"m.csv",
			`"p.png", "q.png", "r.png" and 1 more`, `"a.png", "b.png", "c.png" and 2 more`, "file names"}},
		{name: "names without endings", m: survey.Matches{Manifest: table("capture\na\n")}, caps: five[:1],
			want: []string{`"a"`, `"a.png"`, "endings"}},
		{name: "a header alone", m: survey.Matches{Manifest: table("capture,range\n")}, caps: five, want: []string{"m.csv", "no line"}},
		{name: "one name of many", m: survey.Matches{Manifest: table("capture\np.png\nb.png\n")}, caps: five},
		{name: "the name of an unreadable one", m: survey.Matches{Manifest: table("capture\ne.png\n")}, caps: five},
		{name: "another hour", m: survey.Matches{Track: way, TrackName: "t.gpx"}, caps: five, want: []string{"t.gpx",
			"from 2025-06-01 11:55:00Z to 2025-06-01 12:01:00Z", "from 2025-06-01 14:00:00Z to 2025-06-01 15:00:00Z", "--clock-offset", "--zone"}},
		{name: "fixes too far apart", m: survey.Matches{Track: sparse, TrackName: "t.gpx"},
			caps: []detect.CaptureRecord{read("a.png", at(noon.Add(12*time.Minute)), 800, 480)},
			want: []string{"t.gpx", "1 of 1 captures were taken in its gaps", "more than 2m0s apart"}},
		{name: "no times", m: survey.Matches{Track: way, TrackName: "t.gpx"}, caps: five[2:],
			want: []string{"t.gpx", "no capture's time is known", "EXIF"}},
		{name: "one on the track", m: survey.Matches{Track: way, TrackName: "t.gpx"}, caps: append(five[:4:4], read("f.png", at(noon), 9, 9))},
		{name: "a clock without a zone", m: survey.Matches{Track: way, TrackName: "t.gpx", ZoneGuessed: true},
			caps: []detect.CaptureRecord{zoneless}, want: []string{"the times of 1 of 1 captures name no zone", "--zone"}},
		{name: "the zone was told", m: survey.Matches{Track: way, TrackName: "t.gpx"}, caps: []detect.CaptureRecord{zoneless}},
		{name: "set by hand", caps: append(five[:2:2], otherwise), want: []string{"1 of 3 captures show otherwise", "f.png: set was the nadir"}},
		{name: "another screen", m: survey.Matches{Layouts: wide, LayoutName: "l.json"}, caps: five, want: []string{"l.json",
			"1920 × 1080, 1024 × 600 pixels", "800 × 480, 1280 × 720", "--panel"}},
		{name: "an empty layout", m: survey.Matches{LayoutName: "l.json"}, caps: five, want: []string{"l.json", "holds nothing"}},
		{name: "one screen of two", m: survey.Matches{Layouts: append(wide, detect.Layout{Width: 1280, Height: 720}), LayoutName: "l"},
			caps: five},
	} {
		tt.check(t)
	}
}

// A clock's error that was not added where it may have been meant to be, and a track that breaks off, are told.
func TestMatchesOfClocksAndCutTracks(t *testing.T) {
	table := func(text string) *survey.Manifest { return manifestOf(t, text) }
	way := straight(t, 60, 25, 30, 0, 0, track.Options{}) // from 11:55 to 12:01
	five := fiveCaptures()
	cut, err := track.Read(strings.NewReader(`<gpx><trk><trkseg><trkpt lat="60" lon="25"><time>2025-06-01T12:00:00Z</time></trkpt><trk`),
		track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []matchCase{
		{name: "a clock's error beside a manifest's times", m: survey.Matches{ClockOffset: -time.Hour,
			Manifest: table("capture,time\na.png,2025-06-01T12:00:00Z\nb.png,\n")}, caps: five,
			want: []string{"--clock-offset -1h0m0s was not added to the times of 1 of 5 captures, which the manifest m.csv gives"}},
		{name: "a clock's error beside a manifest without times", m: survey.Matches{ClockOffset: -time.Hour,
			Manifest: table("capture,range\na.png,30m\n")}, caps: five},
		{name: "a manifest's times and none of a clock's error", m: survey.Matches{
			Manifest: table("capture,time\na.png,2025-06-01T12:00:00Z\n")}, caps: five},
		{name: "a manifest's times at another hour than the track's", m: survey.Matches{Track: way, TrackName: "t.gpx",
			Manifest: table("capture,time\na.png,2025-06-01T14:00:00Z\n")}, caps: five, want: []string{"what the manifest gives is mended there"}},
		{name: "a track that breaks off", m: survey.Matches{Track: cut, TrackName: "t.gpx"}, caps: []detect.CaptureRecord{read("f.png",
			at(noon), 9, 9)}, want: []string{"the track t.gpx: the file breaks off in line 1"}},
	} {
		tt.check(t)
	}
}
