package main

import (
	"bytes"
	"crypto/rand"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/review"
	"shadowgap/internal/track"
)

// surveyed triages rendered captures whose manifest says where the boat was, and returns the command and the run.
func surveyed(t *testing.T, n int) (triage []string, run string) {
	t.Helper()
	dir := scenes(t, n)
	names, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	manifest := "capture,time,range,lat,lon,course,speed,row spacing\n"
	for i, e := range names {
		if strings.HasSuffix(e.Name(), ".json") {
			continue
		}
		manifest += fmt.Sprintf("%s,2025-06-01T08:%02d:00Z,30 m,%.6f,-124.3,90,1.5 m/s,0.08 m\n", e.Name(), 5*i, -47.2+0.001*float64(i))
	}
	file := filepath.Join(t.TempDir(), "manifest.csv")
	write(t, file, []byte(manifest))
	run = filepath.Join(t.TempDir(), "run")
	triage = []string{"triage", dir, "--manifest", file, "--out", run, "--no-timings"}
	mustRun(t, triage...)
	return triage, run
}

func mustRun(t *testing.T, args ...string) string {
	t.Helper()
	code, stdout, stderr := shadowgap(t, args...)
	if code != exitRead {
		t.Fatalf("%v: exit status %d\n%s", args, code, stderr)
	}
	return stdout
}

// newID returns 32 random hex digits, as pages make them.
func newID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails since Go 1.24
	return hex.EncodeToString(b[:])
}

// take hands decisions to a run as its page does.
func take(t *testing.T, run string, ds ...review.Decision) {
	t.Helper()
	for i := range ds {
		ds[i].ID, ds[i].At = newID(), time.Date(2025, 6, 2, 9, 0, i, 0, time.UTC)
	}
	data, err := json.Marshal(review.DecisionsFile{Schema: review.DecisionsSchema, Decisions: ds})
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "decisions.json")
	write(t, file, data)
	mustRun(t, "review", run, "--take", file)
}

func marksOf(t *testing.T, text string) []decided.Mark {
	t.Helper()
	var out []decided.Mark
	for line := range strings.Lines(text) {
		var m decided.Mark
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			t.Fatal(err)
		}
		out = append(out, m)
	}
	return out
}

// told is what any export says of a mark.
type told struct {
	class, name, note, decision string
	lat, lon                    string
}

// readers read an export back by the id of its marks, or by their names where the format has no place for ids.
var readers = map[string]func(t *testing.T, data string) map[string]told{
	"csv": func(t *testing.T, data string) map[string]told {
		rows, err := csv.NewReader(strings.NewReader(data)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]told{}
		for _, r := range rows[1:] {
			at := func(name string) string { return r[slices.Index(rows[0], name)] }
			out[at("mark")] = told{at("class"), at("name"), at("note"), at("decision"), at("lat"), at("lon")}
		}
		return out
	},
	"geojson": func(t *testing.T, data string) map[string]told {
		var doc struct {
			Features []struct {
				ID         string
				Geometry   *struct{ Coordinates [2]float64 }
				Properties struct{ Class, Name, Note, Decision string }
			}
		}
		if err := json.Unmarshal([]byte(data), &doc); err != nil {
			t.Fatal(err)
		}
		out := map[string]told{}
		for _, f := range doc.Features {
			p := told{f.Properties.Class, f.Properties.Name, f.Properties.Note, f.Properties.Decision, "", ""}
			if g := f.Geometry; g != nil {
				p.lat, p.lon = fmt.Sprintf("%.7f", g.Coordinates[1]), fmt.Sprintf("%.7f", g.Coordinates[0])
			}
			out[f.ID] = p
		}
		return out
	},
	"kml": func(t *testing.T, data string) map[string]told {
		var doc struct {
			Marks []struct {
				Name string `xml:"name"`
				Data []struct {
					Name  string `xml:"name,attr"`
					Value string `xml:"value"`
				} `xml:"ExtendedData>Data"`
				Coordinates string `xml:"Point>coordinates"`
			} `xml:"Document>Placemark"`
		}
		if err := xml.Unmarshal([]byte(data), &doc); err != nil {
			t.Fatal(err)
		}
		out := map[string]told{}
		for _, p := range doc.Marks {
			values := map[string]string{}
			for _, d := range p.Data {
				values[d.Name] = d.Value
			}
			if own := values["name"]; own != "" && p.Name != own {
				t.Errorf("the placemark of %s is called %s", own, p.Name)
			}
			lon, lat, _ := strings.Cut(p.Coordinates, ",")
			out[values["mark"]] = told{values["class"], values["name"], values["note"], values["decision"], lat, lon}
		}
		return out
	},
	"gpx": func(t *testing.T, data string) map[string]told {
		var doc struct {
			Points []struct {
				Lat  string `xml:"lat,attr"`
				Lon  string `xml:"lon,attr"`
				Name string `xml:"name"`
				Desc string `xml:"desc"`
				Type string `xml:"type"`
			} `xml:"wpt"`
		}
		if err := xml.Unmarshal([]byte(data), &doc); err != nil {
			t.Fatal(err)
		}
		out := map[string]told{}
		for _, p := range doc.Points {
			note := ""
			if _, rest, ok := strings.Cut(p.Desc, "Note: "); ok {
				note, _, _ = strings.Cut(rest, ".")
			}
			out[p.Name] = told{class: p.Type, name: p.Name, note: note, lat: p.Lat, lon: p.Lon}
		}
		return out
	},
}

func TestDecisionsRuleExports(t *testing.T) {
	triage, run := surveyed(t, 6)
	triage = append(triage, "--clutter")
	mustRun(t, triage...)
	found := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "-o", "-"))
	all := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "--clutter", "-o", "-"))
	if len(found) < 6 || len(all) <= len(found) {
		t.Fatalf("%d marks, %d with clutter: too few to show anything", len(found), len(all))
	}
	whole := slices.IndexFunc(found, func(m decided.Mark) bool { return m.Highlight != nil && m.Shadow != nil && m.GroundM != nil })
	if whole < 0 {
		t.Fatal("no mark with echo, shadow and ground range")
	}
	twin := found[whole]
	found = slices.Delete(slices.Clone(found), whole, whole+1)
	changed, rejected, clutter, named, unsure := found[0], found[1], found[2], found[3], found[4]
	before := mustRun(t, "score", run, "--labels", labelsOf(t, triage))
	class := detect.RaisedStructure
	if changed.Class == class {
		class = detect.BottomObject
	}
	of := func(a review.Action, m decided.Mark) review.Decision {
		return review.Decision{Action: a, Capture: m.Capture, Mark: m.Mark}
	}
	set, cl, nt, nm := of(review.Change, changed), of(review.Change, clutter), of(review.Note, named), of(review.Name, named)
	set.Class, cl.Class, nt.Note, nm.Name = class, detect.Clutter, "seen from both sides", "Old weir"
	drawn := review.Decision{Action: review.Missed, Capture: twin.Capture, Class: detect.BottomObject, Highlight: twin.Highlight,
		Shadow: twin.Shadow, Name: "Anchor", Note: "drawn"}
	bare := review.Decision{Action: review.Missed, Capture: bareCapture(t, run), Class: detect.RaisedStructure,
		Highlight: &detect.Box{X: 100, Y: 200, W: 12, H: 20}, Name: "Drawn alone"}
	take(t, run, set, of(review.Reject, rejected), cl, nt, nm, of(review.Unsure, unsure), drawn, bare)

	check := func(when string) {
		for format, read := range readers {
			got := read(t, mustRun(t, "export", run, "--as", format, "-o", "-"))
			by := func(m decided.Mark, name string) (told, bool) {
				if format == "gpx" {
					v, ok := got[name]
					return v, ok
				}
				v, ok := got[m.Mark]
				return v, ok
			}
			if m, ok := by(named, "Old weir"); !ok || m.note != "seen from both sides" || m.name != "Old weir" {
				t.Errorf("%s, %s: the named mark is %+v", when, format, m)
			}
			for name, class := range map[string]detect.Class{"Anchor": detect.BottomObject, "Drawn alone": detect.RaisedStructure} {
				id := ""
				for k, v := range got {
					if v.name == name {
						id = k
					}
				}
				if m, ok := got[id]; !ok || m.class != string(class) || m.lat == "" || m.lon == "" {
					t.Errorf("%s, %s: drawn mark %q is %+v: no place, or not its class", when, format, name, m)
				}
			}
			if format == "gpx" {
				if n := len(got); n >= len(found)+3 {
					t.Errorf("%s, gpx: %d waypoints: clutter is among them", when, n)
				}
				continue
			}
			if m, ok := by(changed, ""); !ok || m.class != string(class) || !strings.Contains(m.decision, "class set") {
				t.Errorf("%s, %s: the mark whose class was set is %+v, want class %s", when, format, m, class)
			}
			if _, ok := by(rejected, ""); ok {
				t.Errorf("%s, %s: a rejected mark is exported", when, format)
			}
			if _, ok := by(clutter, ""); ok {
				t.Errorf("%s, %s: a mark called clutter is exported", when, format)
			}
			if m, _ := by(unsure, ""); m.decision != "unsure" {
				t.Errorf("%s, %s: the unsure mark is %+v", when, format, m)
			}
		}
	}
	check("after the review")
	samePlaces(t, run)
	// A mark that left the suspended targets is in no hold.
	for _, m := range marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "-o", "-")) {
		if m.Hold != nil && m.Class != detect.SuspendedTarget {
			t.Errorf("%s, %s, is in hold %s", m.Mark, m.Class, *m.Hold)
		}
	}

	// A mark drawn over a found one is measured and placed as that one.
	kept := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "-o", "-"))
	i := slices.IndexFunc(kept, func(m decided.Mark) bool { return m.Name == "Anchor" })
	if i < 0 {
		t.Fatal("the drawn mark is missing")
	}
	d := kept[i]
	if d.Position == nil || d.GroundM == nil || d.LengthM == nil || d.HeightM == nil || d.Side != twin.Side || d.Time == nil {
		t.Fatalf("the drawn mark lacks a measure or a place: %+v", d.MarkRecord)
	}
	if apart, _, _ := track.Inverse(d.Position.Lat, d.Position.Lon, twin.Position.Lat, twin.Position.Lon); apart > 0.6 {
		t.Errorf("the drawn mark lies %.2f m from the found one it was drawn over", apart)
	}
	if math.Abs(d.GroundM.Value-twin.GroundM.Value) > 0.6 || math.Abs(d.LengthM.Value-twin.LengthM.Value) > 0.01 {
		t.Errorf("drawn: ground %v, length %v; found: %v, %v", d.GroundM, d.LengthM, twin.GroundM, twin.LengthM)
	}
	if got := mustRun(t, "export", run, "--as", "jsonl", "--clutter", "-o", "-"); strings.Count(got, "\n") != len(all)+2 {
		t.Errorf("--clutter gives %d marks, want all %d and the two drawn", strings.Count(got, "\n"), len(all))
	}
	if got := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "--accepted", "-o", "-")); len(got) != 3 {
		t.Errorf("%d accepted marks, want the one whose class was set and the two drawn", len(got))
	}
	if after := mustRun(t, "score", run, "--labels", labelsOf(t, triage)); after != before {
		t.Errorf("decisions changed the detector's score:\n%s\n%s", before, after)
	}

	// Another range makes every capture anew.
	mustRun(t, slices.Concat(triage, []string{"--water-temp", "12"})...)
	check("after another triage")
	data, err := os.ReadFile(filepath.Join(run, "marks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if got := readers["csv"](t, string(data)); got[named.Mark].name != "Old weir" {
		t.Error("the run's own marks.csv does not follow the decisions")
	}
	for _, name := range []string{"sightings", "places"} {
		data, err := os.ReadFile(filepath.Join(run, name+".geojson"))
		if err != nil || !bytes.Contains(data, []byte("Anchor")) {
			t.Errorf("%s.geojson lacks the drawn mark (%v)", name, err)
		}
	}
}

// samePlaces checks that every format places every mark where marks.jsonl does.
func samePlaces(t *testing.T, run string) {
	t.Helper()
	marks := marksOf(t, mustRun(t, "export", run, "--as", "jsonl", "-o", "-"))
	for _, format := range []string{"csv", "geojson", "kml"} {
		got := readers[format](t, mustRun(t, "export", run, "--as", format, "-o", "-"))
		for _, m := range marks {
			p, ok := got[m.Mark]
			if m.Position == nil {
				if ok && p.lat != "" {
					t.Errorf("%s: %s has a place that it should not have", format, m.Mark)
				}
				continue
			}
			lat, errLat := strconv.ParseFloat(p.lat, 64)
			lon, errLon := strconv.ParseFloat(p.lon, 64)
			if errLat != nil || errLon != nil || math.Abs(lat-m.Position.Lat) > 6e-8 || math.Abs(lon-m.Position.Lon) > 6e-8 {
				t.Errorf("%s: %s lies at %s, %s; marks.jsonl has %v", format, m.Mark, p.lat, p.lon, *m.Position)
			}
		}
	}
}

// labelsOf is the truth beside the captures of a triage command.
func labelsOf(t *testing.T, triage []string) string {
	t.Helper()
	return filepath.Join(triage[1], "labels.json")
}

// bareCapture is the capture with the fewest marks.
func bareCapture(t *testing.T, run string) string {
	t.Helper()
	least, most := "", math.MaxInt
	all := mustRun(t, "export", run, "--as", "jsonl", "--clutter", "-o", "-")
	for name := range capturesOf(t, run) {
		n := strings.Count(all, `"capture":"`+name+`"`)
		if n < most || n == most && name < least {
			least, most = name, n
		}
	}
	return least
}
