package export

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"time"

	"shadowgap/detect"
)

// kmlStyle colours and sizes the icons and names of a class: aabbggrr of the Okabe-Ito palette, and a size of its own, so
// that colour is not the only difference. The colours are those of the overlays.
type kmlStyle struct {
	class detect.Class
	abgr  string
	scale float64
}

func kmlStyles() []kmlStyle {
	return []kmlStyle{
		{detect.BottomObject, "ff009fe6", 1.0},    // orange #E69F00
		{detect.SuspendedTarget, "ffe9b456", 1.2}, // sky blue #56B4E9
		{detect.RaisedStructure, "ff739e00", 1.1}, // bluish green #009E73
		{detect.Clutter, "ffa779cc", 0.7},         // reddish purple #CC79A7
	}
}

type kmlData struct {
	Name  string `xml:"name,attr"`
	Value string `xml:"value"`
}

type kmlPlacemark struct {
	XMLName     xml.Name  `xml:"Placemark"`
	Name        string    `xml:"name"`
	Description string    `xml:"description"`
	When        *kmlWhen  `xml:"TimeStamp"`
	StyleURL    string    `xml:"styleUrl"`
	Data        []kmlData `xml:"ExtendedData>Data"`
	Coordinates string    `xml:"Point>coordinates"`
}

type kmlWhen struct {
	When string `xml:"when"`
}

// KML writes the points that have a position as placemarks of a KML 2.2 document, longitude first. It needs nothing from the
// network. Points without a position are left out. title names the document.
func KML(w io.Writer, title string, points Points, opt Options) error {
	out := xmlWriter{w: w}
	out.raw(xml.Header + `<kml xmlns="http://www.opengis.net/kml/2.2">` + "\n<Document>\n  <name>" + title + "</name>\n")
	out.raw("  <description>" + strings.Join(detect.Cautions(), " ") + "</description>\n")
	for _, s := range kmlStyles() {
		out.raw(fmt.Sprintf("  <Style id=%q><IconStyle><color>%s</color><scale>%.1f</scale></IconStyle>"+
			"<LabelStyle><color>%[2]s</color></LabelStyle></Style>\n", s.class, s.abgr, s.scale))
	}
	names := newNamer(opt.NameLength)
	for p, err := range points {
		if err != nil {
			return err
		}
		if p.position == nil {
			continue
		}
		mark := kmlPlacemark{
			Name: names.name(p.names), Description: asHTML(sentences(append([]string{p.brief}, p.detail...)...)),
			StyleURL:    "#" + string(p.class),
			Coordinates: coordinate(p.position.Lon).String() + "," + coordinate(p.position.Lat).String(),
		}
		for _, f := range p.facts {
			if text := cell(f.value); text != "" {
				mark.Data = append(mark.Data, kmlData{f.name, text})
			}
		}
		if p.time != nil {
			mark.When = &kmlWhen{p.time.UTC().Format(time.RFC3339Nano)}
		}
		out.element(mark)
	}
	out.raw("</Document>\n</kml>\n")
	return out.err
}

// asHTML escapes text once more, because map programs show a description as HTML.
func asHTML(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(s)
}
