package export

import (
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
)

// gpxMetadata and gpxWaypoint keep the order of elements that the GPX 1.1 schema demands.
type gpxMetadata struct {
	XMLName xml.Name `xml:"metadata"`
	Name    string   `xml:"name"`
	Desc    string   `xml:"desc"`
}

type gpxWaypoint struct {
	XMLName xml.Name `xml:"wpt"`
	Lat     string   `xml:"lat,attr"`
	Lon     string   `xml:"lon,attr"`
	Time    string   `xml:"time,omitempty"`
	Name    string   `xml:"name"`
	Cmt     string   `xml:"cmt"`
	Desc    string   `xml:"desc"`
	Type    string   `xml:"type"`
}

// MarksGPX writes the marks that have a position as waypoints of a GPX 1.1 file. Names are unique, plain ASCII and at most
// 20 characters: the class and a running number. Marks without a position are left out.
func MarksGPX(w io.Writer, marks Marks) error {
	out := xmlWriter{w: w}
	out.raw(xml.Header + `<gpx version="1.1" creator="shadowgap" xmlns="http://www.topografix.com/GPX/1/1">` + "\n")
	out.element(gpxMetadata{Name: "shadowgap marks", Desc: strings.Join(detect.Cautions(), " ")})
	count := map[detect.Class]int{}
	for m, err := range marks {
		if err != nil {
			return err
		}
		if m.Position == nil {
			continue
		}
		count[m.Class]++
		p := gpxWaypoint{
			Lat: coordinate(m.Position.Lat).String(), Lon: coordinate(eastern(m.Position.Lon)).String(), Name: waypointName(m.Class, count[m.Class]),
			Cmt: summary(m), Desc: sentences(append([]string{summary(m), reasons(m)}, detect.Cautions()...)...), Type: string(m.Class),
		}
		if m.Time != nil {
			p.Time = m.Time.UTC().Format(time.RFC3339Nano)
		}
		out.element(p)
	}
	out.raw("</gpx>\n")
	return out.err
}

// eastern brings a longitude of +180 to -180: the schema wants -180 <= lon < 180.
func eastern(lon float64) float64 {
	if lon >= 180 {
		return lon - 360
	}
	return lon
}

// waypointName returns the class in a word and a number: at most "Suspended" and ten digits, 20 characters.
func waypointName(c detect.Class, n int) string {
	word := map[detect.Class]string{detect.BottomObject: "Bottom", detect.SuspendedTarget: "Suspended", detect.RaisedStructure: "Raised", detect.Clutter: "Clutter"}[c]
	if word == "" {
		word = "Mark"
	}
	return fmt.Sprintf("%s %04d", word, n%1e10)
}

// summary says in one line what a mark is, with its numbers and errors in metres.
func summary(m *detect.MarkRecord) string {
	s := fmt.Sprintf("%s, odds %.2f, %s side", strings.ReplaceAll(string(m.Class), "-", " "), m.Odds[m.Class], m.Side)
	for _, v := range []struct {
		what string
		m    *features.Measured
	}{{"height", m.HeightM}, {"off bottom", m.OffBottomM}, {"length", m.LengthM}, {"bottom below transducer", m.AltitudeM}} {
		if v.m != nil {
			s += fmt.Sprintf(", %s %.2f ± %.2f m", v.what, v.m.Value, v.m.SD)
		}
	}
	if m.Position != nil {
		s += fmt.Sprintf(", position ± %.0f m", m.Position.ErrorM)
	}
	if m.OnHump {
		s += ", on a hump"
	}
	return s + "."
}

// reasons joins a mark's reasons into sentences.
func reasons(m *detect.MarkRecord) string {
	if len(m.Reasons) == 0 {
		return ""
	}
	return "Why: " + strings.Join(m.Reasons, "; ") + "."
}

// sentences joins those that aren't empty.
func sentences(list ...string) string {
	return strings.Join(slices.DeleteFunc(list, func(s string) bool { return s == "" }), " ")
}

// xmlWriter writes markup and elements until the first error, which it keeps.
type xmlWriter struct {
	w   io.Writer
	err error
}

func (x *xmlWriter) raw(s string) {
	if x.err == nil {
		_, x.err = io.WriteString(x.w, s)
	}
}

func (x *xmlWriter) element(v any) {
	if x.err != nil {
		return
	}
	b, err := xml.Marshal(v)
	if err != nil {
		x.err = err
		return
	}
	x.raw("  " + string(b) + "\n")
}
