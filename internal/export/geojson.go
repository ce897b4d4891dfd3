package export

import (
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
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
	Type       string        `json:"type"`
	ID         string        `json:"id"`
	Geometry   *geoPoint     `json:"geometry"` // null for a mark without a position: RFC 7946 section 3.2
	Properties geoProperties `json:"properties"`
}

// geoProperties are flat, so that a table view of a map program shows them as they are. Lengths are metres.
type geoProperties struct {
	Capture         string     `json:"capture"`
	Mark            string     `json:"mark"`
	Class           string     `json:"class"`
	Odds            float64    `json:"odds"` // of the class
	OddsBottom      float64    `json:"odds_bottom_object"`
	OddsSuspended   float64    `json:"odds_suspended_target"`
	OddsRaised      float64    `json:"odds_raised_structure"`
	OddsClutter     float64    `json:"odds_clutter"`
	Side            string     `json:"side"`
	Time            *time.Time `json:"time"`
	CourseDeg       *float64   `json:"course_deg"`
	PositionErrorM  *float64   `json:"position_error_m"`
	GroundM         *float64   `json:"ground_m"`
	GroundErrorM    *float64   `json:"ground_sd_m"`
	AltitudeM       *float64   `json:"altitude_m"`
	AltitudeErrorM  *float64   `json:"altitude_sd_m"`
	GapM            *float64   `json:"gap_m"`
	GapErrorM       *float64   `json:"gap_sd_m"`
	HeightM         *float64   `json:"height_m"`
	HeightErrorM    *float64   `json:"height_sd_m"`
	OffBottomM      *float64   `json:"off_bottom_m"`
	OffBottomErrorM *float64   `json:"off_bottom_sd_m"`
	LengthM         *float64   `json:"length_m"`
	LengthErrorM    *float64   `json:"length_sd_m"`
	AxisDeg         *float64   `json:"axis_deg"`
	AxisErrorDeg    *float64   `json:"axis_sd_deg"`
	OnHump          bool       `json:"on_hump"`
	Hold            *string    `json:"hold"`
	Sighting        *string    `json:"sighting"`
	Reasons         string     `json:"reasons"`
}

func split(m *features.Measured) (value, sd *float64) {
	if m == nil {
		return nil, nil
	}
	v, s := math.Round(m.Value*1e4)/1e4, math.Round(m.SD*1e4)/1e4
	return &v, &s
}

// MarksGeoJSON writes marks as a GeoJSON feature collection (RFC 7946) on WGS84, a feature a line. Marks without a position
// are features without geometry. The cautions stand in a member of their own.
func MarksGeoJSON(w io.Writer, marks Marks) error {
	cautions, err := json.Marshal(detect.Cautions())
	if err != nil {
		return err
	}
	if _, err := io.WriteString(w, `{"type":"FeatureCollection","cautions":`+string(cautions)+`,"features":[`); err != nil {
		return err
	}
	sep := "\n"
	for m, err := range marks {
		if err != nil {
			return err
		}
		line, err := json.Marshal(geoFeatureOf(m))
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

func geoFeatureOf(m *detect.MarkRecord) geoFeature {
	p := geoProperties{
		Capture: m.Capture, Mark: m.Mark, Class: string(m.Class), Odds: m.Odds[m.Class], OddsBottom: m.Odds[detect.BottomObject],
		OddsSuspended: m.Odds[detect.SuspendedTarget], OddsRaised: m.Odds[detect.RaisedStructure], OddsClutter: m.Odds[detect.Clutter],
		Side: string(m.Side), Time: m.Time, CourseDeg: m.CourseDeg, OnHump: m.OnHump, Hold: m.Hold, Sighting: m.Sighting,
		Reasons: strings.Join(m.Reasons, "; "),
	}
	p.GroundM, p.GroundErrorM = split(m.GroundM)
	p.AltitudeM, p.AltitudeErrorM = split(m.AltitudeM)
	p.GapM, p.GapErrorM = split(m.GapM)
	p.HeightM, p.HeightErrorM = split(m.HeightM)
	p.OffBottomM, p.OffBottomErrorM = split(m.OffBottomM)
	p.LengthM, p.LengthErrorM = split(m.LengthM)
	p.AxisDeg, p.AxisErrorDeg = split(m.AxisDeg)
	f := geoFeature{Type: "Feature", ID: m.Mark, Properties: p}
	if m.Position != nil {
		f.Properties.PositionErrorM = &m.Position.ErrorM
		f.Geometry = &geoPoint{"Point", [2]coordinate{coordinate(m.Position.Lon), coordinate(m.Position.Lat)}}
	}
	return f
}
