package survey_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/survey"
)

func TestChooseRange(t *testing.T) {
	tests := []struct {
		manifest, option, capture float64
		want                      float64
		source                    survey.RangeSource
		notes                     int
	}{
		{30, 0, 0, 30, survey.RangeFromManifest, 0},
		{30, 60, 30.48, 30, survey.RangeFromManifest, 1}, // 100 ft against 30 m is within 2 %
		{0, 60, 30, 60, survey.RangeFromOption, 1},
		{0, 0, 30, 30, survey.RangeFromCapture, 0},
		{0, 0, 0, 0, "", 1},
	}
	for _, tt := range tests {
		r := survey.ChooseRange(tt.manifest, tt.option, tt.capture)
		if r.M != tt.want || r.Source != tt.source || len(r.Notes) != tt.notes {
			t.Errorf("ChooseRange(%v, %v, %v) = %+v", tt.manifest, tt.option, tt.capture, r)
		}
	}
}

func TestRescaleRange(t *testing.T) {
	cold, salt, boiling := 10.0, 0.0, 100.0
	// Pure water at 10 °C carries sound at 1447.28 m/s (GSW 3.6.16: 1447.2842; tolerance across formulas 0.05 m/s).
	m, note, err := survey.RescaleRange(30, survey.Water{TempC: &cold, Salinity: &salt}, 0)
	if err != nil || math.Abs(m-30*1447.28/1500) > 0.002 || !strings.Contains(note, "1447 m/s") {
		t.Errorf("%v, %q, %v", m, note, err)
	}
	if m, note, err = survey.RescaleRange(30, survey.Water{}, 0); m != 30 || note != "" || err != nil {
		t.Errorf("no temperature: %v, %q, %v", m, note, err)
	}
	if _, _, err = survey.RescaleRange(30, survey.Water{TempC: &boiling}, 0); err == nil {
		t.Error("100 °C: no error")
	}
}

const manifest = `Capture,Range,Time,Speed (kn),Water Temperature,Salinity,Latitude,Longitude,Course,Side,Newest,crew
a/one.png,30m,2025-06-01T12:00:00Z,4,18C,0,60,25,90,,top,Ada
a\two.png,100 ft,2025-06-01 14:00:00,4 kn,64.4F,,,,,port,bottom,
b/two.png,,,,,,,,,,,Bo
`

func TestReadManifest(t *testing.T) {
	m, err := survey.ReadManifest(strings.NewReader(manifest), "m.csv", time.FixedZone("+02:00", 7200))
	if err != nil {
		t.Fatal(err)
	}
	one, two := m.Lookup("a/one.png"), m.Lookup("a/two.png")
	if one == nil || *one.RangeM != 30 || !one.TimeZoned || math.Abs(*one.SpeedMS-2.05778) > 1e-5 || *one.Lat != 60 ||
		*one.CourseDeg != 90 || one.Extra["crew"] != "Ada" || *one.NewestAtBottom {
		t.Errorf("one: %+v", one)
	}
	if two == nil || math.Abs(*two.RangeM-30.48) > 1e-9 || !two.Time.Equal(time.Date(2025, 6, 1, 12, 0, 0, 0, time.UTC)) ||
		math.Abs(*two.WaterTempC-18) > 1e-9 || two.Side != detect.Port || two.Lat != nil || !*two.NewestAtBottom {
		t.Errorf("two: %+v", two)
	}
	if len(m.Unknown) != 1 || m.Unknown[0] != "crew" || len(m.Notes) != 1 {
		t.Errorf("unknown %q, notes %q", m.Unknown, m.Notes)
	}
	for path, want := range map[string]bool{"one.png": true, "trip/a/one.png": true, "other/one.png": false, "two.png": false,
		"./a/one.png": true, "none.png": false} {
		if got := m.Lookup(path) != nil; got != want {
			t.Errorf("Lookup(%q) found %v, want %v", path, got, want)
		}
	}
	if (*survey.Manifest)(nil).Lookup("x") != nil {
		t.Error("no manifest must know nothing")
	}
}

func TestReadManifestBadInput(t *testing.T) {
	tests := []struct{ name, doc, want string }{
		{"empty", "", "empty"},
		{"no capture column", "range,time\n30m,\n", "no column named capture"},
		{"range without unit", "capture,range\na.png,30\n", `line 2: column "range": length "30": unit missing`},
		{"negative range", "capture,range\na.png,-30m\n", `line 2: column "range": -30: must be more than zero`},
		{"wrong unit", "capture,range\na.png,30kn\n", `unit "kn" is not a unit of length`},
		{"wrong unit in header", "capture,range (kn)\na.png,30\n", `"kn" is not a unit of length`},
		{"bad time", "capture,time\na.png,noon\n", `line 2: column "time"`},
		{"latitude", "capture,latitude,longitude\na.png,95,10\n", `column "latitude": 95 is outside -90 to 90`},
		{"half a position", "capture,latitude,longitude\na.png,45,\n", "one is missing"},
		{"side", "capture,side\na.png,aft\n", `column "side": "aft"`},
		{"twice", "capture\na.png\nb.png\n./a.png\n", `line 4: capture "./a.png" stands on line 2 already`},
		{"too many values", "capture\na.png,b\n", "line 2: 2 values under 1 headers"},
		{"open quote", "capture\n\"a.png\n", "quote"},
		{"empty name", "capture,range\n,30m\n", `column "capture": empty`},
		{"all at once", "capture,range\na.png,0m\nb.png,x\n", "line 3"},
		{"column twice", "capture,range,Range (m)\n", "both mean range"},
	}
	for _, tt := range tests {
		_, err := survey.ReadManifest(strings.NewReader(tt.doc), "m.csv", time.UTC)
		if err == nil || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), "m.csv") {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}

func TestNameTime(t *testing.T) {
	zone := time.FixedZone("", -5*3600)
	tests := []struct{ name, want string }{
		{"scan_20250601_143015.png", "2025-06-01T19:30:15Z"},
		{"x/2025-06-01 14.30.15.jpg", "2025-06-01T19:30:15Z"},
		{"20250601T143015Z.png", "2025-06-01T14:30:15Z"},
		{"S2025-06-01_14-30-15_port.png", "2025-06-01T19:30:15Z"},
		{"Screen 2025-06-01 at 14.30.15.png", "2025-06-01T19:30:15Z"},
		{"Screen 2025-06-01 at 9.05.15.png", "2025-06-01T14:05:15Z"},
		{"Screen 2025-06-01 at 2.30.15 PM.png", "2025-06-01T19:30:15Z"},
		{"Screen 2025-06-01 at 12.30.15\u202fAM (2).png", "2025-06-01T05:30:15Z"},
		{"Screen 2025-06-01 at 14.30.15 PM.png", ""}, // no such hour
		{"20251301_143015.png", ""},                  // no 13th month
		{"20250601_256015.png", ""},
		{"120250601143015.png", ""}, // a longer number
		{"scan0007.png", ""},
	}
	for _, tt := range tests {
		got, ok := survey.NameTime(tt.name, zone)
		if ok != (tt.want != "") || ok && got.Time.Format(time.RFC3339) != tt.want {
			t.Errorf("NameTime(%q) = %v, %v, want %q", tt.name, got.Time, ok, tt.want)
		}
	}
}

func TestEXIFTime(t *testing.T) {
	zone := time.FixedZone("", 3*3600)
	tests := []struct {
		file, want string
		zoned      bool
	}{
		{"zoned.jpg", "2025-06-01T12:30:15Z", true},
		{"zoned.png", "2025-06-01T12:30:15Z", true},
		{"local.jpg", "2025-06-01T11:30:15Z", false},
		{"blank.jpg", "", false},
		{"README.md", "", false},
	}
	for _, tt := range tests {
		f, err := os.Open(filepath.Join("testdata", "exif", tt.file))
		if err != nil {
			t.Fatal(err)
		}
		got, ok := survey.EXIFTime(f, zone)
		f.Close()
		if ok != (tt.want != "") || ok && (got.Time.Format(time.RFC3339Nano) != tt.want || got.Zoned != tt.zoned) {
			t.Errorf("%s: %+v, %v, want %q", tt.file, got, ok, tt.want)
		}
	}
}

func TestChooseTime(t *testing.T) {
	when := time.Date(2025, 6, 1, 12, 30, 15, 0, time.UTC)
	open := func(name string) *os.File {
		f, err := os.Open(filepath.Join("testdata", "exif", name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return f
	}
	// The user's word wins over EXIF and the name, and both disagreements are told.
	got, notes := survey.ChooseTime(&survey.Entry{Time: &when, TimeZoned: true}, open("local.jpg"), "20250601_000000Z.jpg",
		survey.TimeOptions{})
	if got.Source != survey.TimeFromManifest || !got.Time.Equal(when) || len(notes) != 2 {
		t.Errorf("%+v, %q", got, notes)
	}
	got, notes = survey.ChooseTime(nil, open("local.jpg"), "x.jpg", survey.TimeOptions{ClockOffset: -90 * time.Second})
	if got.Source != survey.TimeFromEXIF || got.Time.Format(time.TimeOnly) != "14:28:45" || len(notes) != 1 ||
		!strings.Contains(notes[0], "no offset") {
		t.Errorf("%+v, %q", got, notes)
	}
	if got, notes = survey.ChooseTime(nil, nil, "x.jpg", survey.TimeOptions{}); got != nil || notes != nil {
		t.Errorf("nothing known: %+v, %q", got, notes)
	}
}

func FuzzEXIFTime(f *testing.F) {
	for _, name := range []string{"zoned.jpg", "zoned.png", "blank.jpg"} {
		b, err := os.ReadFile(filepath.Join("testdata", "exif", name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(b))
	}
	f.Add("RIFF\x10\x00\x00\x00WEBPEXIF\x04\x00\x00\x00II*\x00")
	f.Fuzz(func(t *testing.T, data string) {
		if got, ok := survey.EXIFTime(strings.NewReader(data), time.UTC); ok && got.Time.IsZero() {
			t.Fatal("a time of zero")
		}
	})
}

func FuzzReadManifest(f *testing.F) {
	f.Add(manifest)
	f.Add("capture;range (ft)\na;1,5\n")
	f.Fuzz(func(t *testing.T, doc string) {
		m, err := survey.ReadManifest(strings.NewReader(doc), "m.csv", time.UTC)
		if err != nil {
			return
		}
		for _, e := range m.Entries() {
			if m.Lookup(e.Capture) == nil || e.RangeM != nil && !(*e.RangeM > 0) {
				t.Fatalf("%+v", e)
			}
		}
	})
}
