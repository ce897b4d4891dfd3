package export

import (
	"encoding/json"
	"io"
	"math"
	"strconv"

	"shadowgap/detect"
)

// coordinate is a longitude or latitude in decimal degrees with at most seven decimals and never an exponent.
type coordinate float64

func (c coordinate) String() string {
	return strconv.FormatFloat(math.Round(float64(c)*1e7)/1e7+0, 'f', -1, 64) // +0 turns -0 into 0
}

// MarshalJSON writes the plain decimal number.
func (c coordinate) MarshalJSON() ([]byte, error) { return []byte(c.String()), nil }

type geoPoint struct {
	Type        string        `json:"type"`
	Coordinates [2]coordinate `json:"coordinates"` // longitude first: RFC 7946 section 3.1.1
}

type geoFeature struct {
	Type       string    `json:"type"`
	ID         string    `json:"id"`
	Geometry   *geoPoint `json:"geometry"`   // null without a position: RFC 7946 section 3.2
	Properties *Point    `json:"properties"` // flat, so that a table view of a map program shows them as they are
}

// GeoJSON writes points as a GeoJSON feature collection (RFC 7946) on WGS84, a feature a line. Points without a position are
// features without geometry. The cautions stand in a member of their own.
func GeoJSON(w io.Writer, points Points) error {
	cautions, err := json.Marshal(detect.Cautions())
	if err != nil {
		return err
	}
	if _, err := io.WriteString(w, `{"type":"FeatureCollection","cautions":`+string(cautions)+`,"features":[`); err != nil {
		return err
	}
	sep := "\n"
	for p, err := range points {
		if err != nil {
			return err
		}
		f := geoFeature{Type: "Feature", ID: p.id, Properties: p}
		if p.position != nil {
			f.Geometry = &geoPoint{"Point", [2]coordinate{coordinate(p.position.Lon), coordinate(p.position.Lat)}}
		}
		line, err := json.Marshal(f)
		if err != nil {
			return err
		}
		if _, err := io.WriteString(w, sep+string(line)); err != nil {
			return err
		}
		sep = ",\n"
	}
	_, err = io.WriteString(w, "\n]}\n")
	return err
}
