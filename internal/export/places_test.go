package export_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/export"
	"shadowgap/internal/places"
	"shadowgap/internal/survey"
	"shadowgap/internal/units"
)

// twelve places: holds, targets, structures and things on the bottom, one with a name of its own, one without a position.
func twelve() []places.Place {
	kinds := []places.Kind{places.HoldOnHump, places.HoldOnRocks, places.Targets, places.Structure, places.OnBottom, places.Clutter}
	var out []places.Place
	for i := range 12 {
		p := places.Place{
			ID: fmt.Sprintf("p%011d", i), Rank: i + 1, Kind: kinds[i%6], Odds: 0.9, Targets: i, Captures: []string{"a.png", "b.png"},
			Position:  &detect.Position{Lat: 60.1 + 0.001*float64(i), Lon: 24.9, ErrorM: 6},
			AltitudeM: &features.Measured{Value: 7.04, SD: 0.1},
			Sentence:  "3 targets hanging near a hump of the bottom", Why: []string{"2 captures show it"},
		}
		out = append(out, p)
	}
	out[3].Name, out[3].Note = "Überfall <Wehr> & Säge", "=1+1"
	out[11].Position = nil
	return out
}

func seen() []places.Sighting {
	return []places.Sighting{
		{ID: "s0123456789a", Place: "p1", Class: detect.SuspendedTarget, Odds: detect.Odds{detect.SuspendedTarget: 0.9}, Looks: 2,
			Members:   []survey.Member{{Capture: "a.png", Mark: "m1"}, {Capture: "b.png", Mark: "m2"}},
			Position:  &detect.Position{Lat: 60.1234567, Lon: 24.9876543, ErrorM: 4},
			AltitudeM: &features.Measured{Value: 7.04, SD: 0.1}, OffBottomM: &features.Measured{Value: 1.2, SD: 0.1},
			Sentence: "About 0.6 m long", Why: []string{"seen in 2 captures"}},
		{ID: "s0123456789b", Class: detect.BottomObject, Odds: detect.Odds{detect.BottomObject: 0.8},
			Members: []survey.Member{{Capture: "c.png", Mark: "m3"}}, Sentence: "Lying on the bottom"},
	}
}

func heldAt() []survey.Hold {
	return []survey.Hold{{
		ID: "h1", Holds: []survey.HoldRef{{Capture: "a.png", Hold: "h1"}}, Odds: 0.95, Targets: 3, Where: survey.OnHump,
		Position: &detect.Position{Lat: 60.1234567, Lon: 24.9876543, ErrorM: 10}, ReliefM: &features.Measured{Value: 1.5, SD: 0.2},
	}}
}

type waypoint struct {
	Name string `xml:"name"`
	Cmt  string `xml:"cmt"`
}

func waypoints(t *testing.T, points export.Points, opt export.Options) []waypoint {
	t.Helper()
	var b bytes.Buffer
	if err := export.GPX(&b, "places", points, opt); err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Points []waypoint `xml:"wpt"`
	}
	if err := xml.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	return doc.Points
}

// Names tell what and how deep as long as the limit lets them, and never twice the same.
func TestNamesTellWhatAndHowDeep(t *testing.T) {
	plain := regexp.MustCompile(`^[ -~]+$`)
	for _, tt := range []struct {
		limit            int
		u                units.Lengths
		first, own, most string
	}{
		{0, units.Metres, "01 Hold on hump 7m", "04 Uberfall <Wehr> & Sage 7m", "07 Hold on hump x6 7m"},
		{0, units.Feet, "01 Hold on hump 23ft", "04 Uberfall <Wehr> & Sage 23ft", "07 Hold on hump x6 23ft"},
		{15, units.Metres, "01 Hold 7m", "04 Raised x3 7m", "07 Hold x6 7m"},
		{10, units.Metres, "01 Hold 7m", "04 Rais 7m", "07 Hold 7m"},
		{6, units.Metres, "01Ho7m", "04Ra7m", "07Ho7m"},
	} {
		opt := export.Options{Units: tt.u, NameLength: tt.limit}
		got := waypoints(t, export.OfPlaces(twelve(), opt), opt)
		if len(got) != 11 {
			t.Fatalf("limit %d: %d waypoints, want 11: one has no position", tt.limit, len(got))
		}
		names := map[string]bool{}
		for _, p := range got {
			limit := tt.limit
			if limit == 0 {
				limit = 30
			}
			if len(p.Name) > limit || names[p.Name] || !plain.MatchString(p.Name) {
				t.Errorf("limit %d: name %q is too long, there twice or not plain ASCII", tt.limit, p.Name)
			}
			names[p.Name] = true
		}
		if got[0].Name != tt.first || got[3].Name != tt.own || got[6].Name != tt.most {
			t.Errorf("limit %d: %q, %q, %q; want %q, %q, %q", tt.limit, got[0].Name, got[3].Name, got[6].Name, tt.first, tt.own, tt.most)
		}
	}
	many := make([]places.Place, 200)
	for i := range many {
		many[i] = twelve()[3]
		many[i].Rank = 7
	}
	names := map[string]bool{}
	for _, p := range waypoints(t, export.OfPlaces(many, export.Options{NameLength: 6}), export.Options{NameLength: 6}) {
		if len(p.Name) > 6 || names[p.Name] {
			t.Fatalf("name %q is too long or there twice", p.Name)
		}
		names[p.Name] = true
	}
}

var mapLists = map[string]func(opt export.Options) export.Points{
	"places":    func(opt export.Options) export.Points { return export.OfPlaces(twelve(), opt) },
	"sightings": func(opt export.Options) export.Points { return export.OfSightings(seen(), opt) },
	"holds":     func(opt export.Options) export.Points { return export.OfHolds(heldAt(), opt) },
	"changes": func(opt export.Options) export.Points {
		s := seen()
		return export.OfChanges([]places.Changed{{Change: places.StillThere, Then: []*places.Sighting{&s[0]},
			Now: []*places.Sighting{&s[0]}, Position: *s[0].Position, Sentence: "Still"}}, opt)
	},
}

// Every list opens in GDAL and gpsbabel, with as many points as have a position, and its lengths in the unit asked for.
func TestListsOpenElsewhere(t *testing.T) {
	opt := export.Options{Units: units.Feet}
	counts := map[string][2]int{"places": {12, 11}, "sightings": {2, 1}, "holds": {1, 1}, "changes": {1, 1}}
	for name, of := range mapLists {
		n := counts[name]
		file := func(ending string, write func(io.Writer) error) string {
			path := filepath.Join(t.TempDir(), name+ending)
			if err := export.File(path, write); err != nil {
				t.Fatal(err)
			}
			return path
		}
		geo := file(".geojson", func(w io.Writer) error { return export.GeoJSON(w, of(opt)) })
		gpx := file(".gpx", func(w io.Writer) error { return export.GPX(w, name, of(opt), opt) })
		kml := file(".kml", func(w io.Writer) error { return export.KML(w, name, of(opt), opt) })
		t.Run(name, func(t *testing.T) {
			if out := client(t, "gdal-bin", "ogrinfo", "-ro", "-al", geo); !strings.Contains(out, fmt.Sprintf("Feature Count: %d", n[0])) ||
				!strings.Contains(out, "position_error_ft (Real)") {
				t.Errorf("GeoJSON in GDAL:\n%s", out)
			}
			if out := client(t, "gdal-bin", "ogrinfo", "-ro", gpx, "waypoints"); !strings.Contains(out,
				fmt.Sprintf("Feature Count: %d", n[1])) {
				t.Errorf("GPX in GDAL:\n%s", out)
			}
			if out := client(t, "gdal-bin", "ogrinfo", "-ro", "-al", kml); !strings.Contains(out, fmt.Sprintf("Feature Count: %d", n[1])) {
				t.Errorf("KML in GDAL:\n%s", out)
			}
			client(t, "libxml2-utils", "xmllint", "--noout", "--nonet", "--schema", filepath.Join("testdata", "gpx-1.1-waypoints.xsd"), gpx)
			for format, path := range map[string]string{"gpx": gpx, "kml": kml} {
				out := client(t, "gpsbabel", "gpsbabel", "-i", format, "-f", path, "-o", "unicsv", "-F", "-")
				if lines := strings.Count(strings.TrimSpace(out), "\n"); lines != n[1] {
					t.Errorf("gpsbabel found %d points in %s, want %d:\n%s", lines, path, n[1], out)
				}
			}
		})
		var table bytes.Buffer
		if err := export.CSV(&table, export.Columns(of(opt)), of(opt)); err != nil {
			t.Fatal(err)
		}
		var empty bytes.Buffer
		none := func(func(*export.Point, error) bool) {}
		if err := export.CSV(&empty, export.Columns(of(opt)), none); err != nil || !strings.HasPrefix(table.String(), empty.String()) ||
			empty.Len() == 0 {
			t.Errorf("%s: an empty table is %q (%v), want the header", name, empty.String(), err)
		}
		rows, err := csv.NewReader(&table).ReadAll()
		if err != nil || len(rows) != n[0]+1 {
			t.Errorf("%s: %d rows (%v), want a header and %d", name, len(rows), err, n[0])
		}
		for _, row := range rows {
			if slices.Contains(row, "=1+1") {
				t.Errorf("%s: a formula is not defused", name)
			}
		}
	}
}
