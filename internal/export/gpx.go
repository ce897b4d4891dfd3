package export

import (
	"encoding/xml"
	"io"
	"slices"
	"strings"
	"time"

	"shadowgap/detect"
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

// GPX writes the points that have a position as waypoints of a GPX 1.1 file. Names are unique, plain ASCII and no longer than
// opt says. Points without a position are left out. title names the file's content.
func GPX(w io.Writer, title string, points Points, opt Options) error {
	out := xmlWriter{w: w}
	out.raw(xml.Header + `<gpx version="1.1" creator="shadowgap" xmlns="http://www.topografix.com/GPX/1/1">` + "\n")
	out.element(gpxMetadata{Name: title, Desc: strings.Join(detect.Cautions(), " ")})
	names := newNamer(opt.NameLength)
	for p, err := range points {
		if err != nil {
			return err
		}
		if p.position == nil {
			continue
		}
		wpt := gpxWaypoint{
			Lat: coordinate(p.position.Lat).String(), Lon: coordinate(eastern(p.position.Lon)).String(), Name: names.name(p.names),
			Cmt: p.brief, Desc: sentences(append(append([]string{p.brief}, p.detail...), detect.Cautions()...)...), Type: p.kind,
		}
		if p.time != nil {
			wpt.Time = p.time.UTC().Format(time.RFC3339Nano)
		}
		out.element(wpt)
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
