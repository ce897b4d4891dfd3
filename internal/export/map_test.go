package export_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/export"
)

var updateMaps = flag.Bool("update", false, "write the golden files anew")

// mapMarks are one mark of each kind that a map export must cope with: all numbers, none, hostile text, the date line, a
// tiny coordinate that invites an exponent.
func mapMarks() []detect.MarkRecord {
	when := time.Date(2025, 6, 1, 12, 0, 3, 250e6, time.UTC)
	course, sighting, hold := 84.5, "s0123456789a", "h1"
	m := func(v, sd float64) *features.Measured { return &features.Measured{Value: v, SD: sd} }
	odds := func(b, s, r, c float64) detect.Odds {
		return detect.Odds{detect.BottomObject: b, detect.SuspendedTarget: s, detect.RaisedStructure: r, detect.Clutter: c}
	}
	return []detect.MarkRecord{
		{Schema: 1, Capture: "night/scan 1.png", Mark: "m1", Side: detect.Starboard, Class: detect.SuspendedTarget,
			Odds:    odds(0.1, 0.85, 0, 0.05),
			GroundM: m(12.3, 0.2), AltitudeM: m(8, 0.1), GapM: m(1.2, 0.1), HeightM: m(1.9, 0.2), OffBottomM: m(1.5, 0.2),
			LengthM:  m(0.8, 0.1),
			Position: &detect.Position{Lat: 60.1234567, Lon: 24.9876543, ErrorM: 6.2}, OnHump: true, Hold: &hold, Time: &when,
			CourseDeg: &course, Sighting: &sighting,
			Reasons: []string{"gap 1.20 ± 0.10 m", "height off bottom 1.5 m"}},
		{Schema: 1, Capture: "no position.png", Mark: "m2", Side: detect.Port, Class: detect.BottomObject, Odds: odds(0.7, 0.2, 0, 0.1),
			Reasons: []string{"no position: no track"}},
		{Schema: 1, Capture: "<b>&\"'\x01\xff.png", Mark: "m3", Side: detect.Port, Class: detect.BottomObject,
			Odds:     odds(0.9, 0.05, 0, 0.05),
			Position: &detect.Position{Lat: -0.0000001, Lon: 180, ErrorM: 3}, Reasons: []string{"<script>alert(1)</script>]]>"}},
		{Schema: 1, Capture: "south.png", Mark: "m4", Side: detect.Port, Class: detect.RaisedStructure, Odds: odds(0.2, 0, 0.8, 0),
			Position: &detect.Position{Lat: -89.99, Lon: -179.9999999, ErrorM: 30}, HeightM: m(3, 0.5)},
	}
}

// each yields marks as a person left them: the third has a hostile name and note.
func each(records []detect.MarkRecord) export.Marks {
	marks := decided.Plain(records)
	for i := range marks {
		if i%4 == 2 {
			marks[i].Name, marks[i].Note = "Größe <b>&", "<script>alert(1)</script>]]>"
		}
	}
	return func(yield func(*decided.Mark, error) bool) {
		for i := range marks {
			if !yield(&marks[i], nil) {
				return
			}
		}
	}
}

func geoJSON(w io.Writer, marks export.Marks, opt export.Options) error {
	return export.GeoJSON(w, export.OfMarks(marks, opt))
}

func gpx(w io.Writer, marks export.Marks, opt export.Options) error {
	return export.GPX(w, "shadowgap marks", export.OfMarks(marks, opt), opt)
}

func kml(w io.Writer, marks export.Marks, opt export.Options) error {
	return export.KML(w, "shadowgap marks", export.OfMarks(marks, opt), opt)
}

var mapFormats = []struct {
	file  string
	write func(io.Writer, export.Marks, export.Options) error
}{
	{"marks.geojson", geoJSON}, {"marks.gpx", gpx}, {"marks.kml", kml},
}

func TestMapGolden(t *testing.T) {
	for _, f := range mapFormats {
		var got bytes.Buffer
		if err := f.write(&got, each(mapMarks()), export.Options{}); err != nil {
			t.Errorf("%s: %v", f.file, err)
			continue
		}
		golden := filepath.Join("testdata", f.file)
		if *updateMaps {
			if err := os.WriteFile(golden, got.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got.Bytes(), want) {
			t.Errorf("%s differs from the golden file; got\n%s", f.file, got.Bytes())
		}
		for _, c := range detect.Cautions() {
			if !strings.Contains(got.String(), c) {
				t.Errorf("%s lacks the caution %q", f.file, c)
			}
		}
	}
}

func TestMapErrorsAndEmpty(t *testing.T) {
	broken := errors.New("broken")
	for _, f := range mapFormats {
		err := f.write(io.Discard, func(yield func(*decided.Mark, error) bool) { yield(nil, broken) }, export.Options{})
		if !errors.Is(err, broken) {
			t.Errorf("%s: error of the marks lost: %v", f.file, err)
		}
		if err := f.write(failing{}, each(mapMarks()), export.Options{}); err == nil {
			t.Errorf("%s: error of the writer lost", f.file)
		}
		var b bytes.Buffer
		if err := f.write(&b, each(nil), export.Options{}); err != nil || b.Len() == 0 {
			t.Errorf("%s: no marks: %v", f.file, err)
		}
	}
}

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("disk full") }

// RFC 7946: longitude first, decimal degrees, at most seven decimals, null geometry for what has no place.
func TestGeoJSONShape(t *testing.T) {
	var b bytes.Buffer
	if err := geoJSON(&b, each(mapMarks()), export.Options{}); err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Type     string
		Features []struct {
			Type, ID   string
			Geometry   *struct{ Coordinates []json.Number }
			Properties map[string]any
		}
	}
	if err := json.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Type != "FeatureCollection" || len(doc.Features) != 4 || doc.Features[1].Geometry != nil {
		t.Fatalf("%+v", doc)
	}
	if c := doc.Features[0].Geometry.Coordinates; c[0] != "24.9876543" || c[1] != "60.1234567" {
		t.Errorf("coordinates %v", c)
	}
	if regexp.MustCompile(`"coordinates":\[[^\]]*[eE]`).Match(b.Bytes()) {
		t.Error("a coordinate has an exponent")
	}
}

func TestGPXNames(t *testing.T) {
	var many []detect.MarkRecord
	for range 200 {
		many = append(many, mapMarks()...)
	}
	blank := func(yield func(*decided.Mark, error) bool) { // the first has a name of which a waypoint can show nothing
		for m, err := range each(many) {
			if m.Mark == "m1" {
				m.Name = "   "
			}
			if !yield(m, err) {
				return
			}
		}
	}
	numbered := regexp.MustCompile(`(\d{4}|-\d+)$|^Grosse <b>&$`)
	for _, limit := range []int{20, 10, 6} {
		var b bytes.Buffer
		if err := gpx(&b, blank, export.Options{NameLength: limit}); err != nil {
			t.Fatal(err)
		}
		var doc struct {
			Points []struct {
				Name string  `xml:"name"`
				Lon  float64 `xml:"lon,attr"`
			} `xml:"wpt"`
		}
		if err := xml.Unmarshal(b.Bytes(), &doc); err != nil {
			t.Fatal(err)
		}
		seen := map[string]bool{}
		for _, p := range doc.Points {
			if len(p.Name) > limit || seen[p.Name] || p.Lon >= 180 {
				t.Fatalf("waypoint %+v: the name must be new and at most %d characters, the longitude below 180", p, limit)
			}
			if !numbered.MatchString(p.Name) || strings.HasPrefix(p.Name, "-") {
				t.Errorf("%d characters: %q lost its number", limit, p.Name)
			}
			seen[p.Name] = true
		}
		if len(seen) != 600 {
			t.Errorf("%d waypoints, want 600", len(seen))
		}
	}
}

func TestFilter(t *testing.T) {
	tests := []struct {
		name   string
		filter export.Filter
		want   []string
	}{
		{"all", export.Filter{}, []string{"m1", "m2", "m3", "m4"}},
		{"class", export.Filter{Classes: []detect.Class{detect.BottomObject}}, []string{"m2", "m3"}},
		// The second was accepted by a person, who saw more than its odds say.
		{"odds", export.Filter{MinOdds: 0.85}, []string{"m1", "m2", "m3", "m4"}},
		{"odds alone", export.Filter{MinOdds: 0.89}, []string{"m2", "m3", "m4"}},
		{"accepted", export.Filter{Accepted: true}, []string{"m2", "m4"}},
		{"all three", export.Filter{Classes: []detect.Class{detect.BottomObject}, MinOdds: 0.8, Accepted: true}, []string{"m2"}},
	}
	for _, tt := range tests {
		var got []string
		marks := func(yield func(*decided.Mark, error) bool) {
			for m, err := range each(mapMarks()) {
				switch m.Mark {
				case "m2":
					m.Verdict = decided.Accepted
				case "m4":
					m.Changed = true
				}
				if !yield(m, err) {
					return
				}
			}
		}
		for m, err := range tt.filter.Apply(marks) {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, m.Mark)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// client runs another program over a file, or skips the test where it isn't installed.
func client(t *testing.T, pkg, program string, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		t.Skipf("%s is not installed (Debian: apt-get install %s)", program, pkg)
	}
	out, err := exec.CommandContext(t.Context(), path, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %q: %v\n%s", program, args, err, out)
	}
	if regexp.MustCompile(`(?mi)^(warning|error)\b`).Match(out) {
		t.Errorf("%s complains:\n%s", program, out)
	}
	return string(out)
}

func writeMap(t *testing.T, file string) string {
	t.Helper()
	for _, f := range mapFormats {
		if f.file == file {
			path := filepath.Join(t.TempDir(), file)
			if err := export.File(path, func(w io.Writer) error { return f.write(w, each(mapMarks()), export.Options{}) }); err != nil {
				t.Fatal(err)
			}
			return path
		}
	}
	t.Fatalf("no format %s", file)
	return ""
}

func TestXMLLintValidatesGPX(t *testing.T) {
	client(t, "libxml2-utils", "xmllint", "--noout", "--nonet", "--schema", filepath.Join("testdata", "gpx-1.1-waypoints.xsd"),
		writeMap(t, "marks.gpx"))
}

func TestXMLLintReadsKML(t *testing.T) {
	client(t, "libxml2-utils", "xmllint", "--noout", "--nonet", writeMap(t, "marks.kml"))
}

func TestOGRReads(t *testing.T) {
	for file, want := range map[string][]string{
		"marks.geojson": {"Feature Count: 4", "POINT (24.9876543 60.1234567)", "position_error_m (Real) = 6.2", "height_m (Real) = 1.9"},
		"marks.gpx":     {"Feature Count: 3", "POINT (24.9876543 60.1234567)", "Suspended 0001", "POINT (-180 "},
		"marks.kml":     {"Feature Count: 3", "POINT (24.9876543 60.1234567)", "Suspended 0001"},
	} {
		t.Run(file, func(t *testing.T) {
			args := []string{"-ro", "-al", writeMap(t, file)}
			if file == "marks.gpx" {
				args = append(args, "waypoints")
				args = slices.DeleteFunc(args, func(s string) bool { return s == "-al" })
			}
			out := client(t, "gdal-bin", "ogrinfo", args...)
			for _, w := range want {
				if !strings.Contains(out, w) {
					t.Errorf("ogrinfo on %s lacks %q:\n%s", file, w, out)
				}
			}
		})
	}
}

func TestGPSBabelReads(t *testing.T) {
	for file, format := range map[string]string{"marks.gpx": "gpx", "marks.kml": "kml"} {
		t.Run(file, func(t *testing.T) {
			out := client(t, "gpsbabel", "gpsbabel", "-i", format, "-f", writeMap(t, file), "-o", "unicsv", "-F", "-")
			if lines := strings.Count(strings.TrimSpace(out), "\n"); lines != 3 {
				t.Errorf("gpsbabel found %d waypoints, want 3:\n%s", lines, out)
			}
			if !strings.Contains(out, "60.123457") || !strings.Contains(out, "24.987654") || !strings.Contains(out, "Suspended 0001") {
				t.Errorf("gpsbabel on %s:\n%s", file, out)
			}
		})
	}
}
