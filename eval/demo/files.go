package demo

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"time"

	"shadowgap/features"
)

// The invented lake lies in the open South Pacific, more than a thousand kilometres from any shore.
const (
	originLat = -47.2
	originLon = -124.3
)

// position turns metres east and north of the start into degrees, by the radii of curvature of WGS 84 at the start: within
// a kilometre that is good to centimetres.
func position(e, n float64) (lat, lon float64) {
	const a, e2 = 6378137.0, 6.69437999014e-3
	sin, cos := math.Sincos(originLat * math.Pi / 180)
	w := 1 - e2*sin*sin
	meridian, vertical := a*(1-e2)/math.Pow(w, 1.5), a/math.Sqrt(w)
	return originLat + n/meridian*180/math.Pi, originLon + e/(vertical*cos)*180/math.Pi
}

// Manifest is manifest.csv: what the crew wrote down about every capture.
func (v *Survey) Manifest() ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	rows := [][]string{{
		"capture", "time", "range", "speed (m/s)", "course (deg)", "water temperature (C)", "salinity", "sound speed (m/s)",
		"row rate", "slant corrected", "screen",
	}}
	for _, s := range v.Shots {
		// The screens work with the speed of sound of the water they measure, so the range they show is the true one.
		c, err := features.SoundSpeed(s.WaterC, 0, 0)
		if err != nil {
			return nil, fmt.Errorf("manifest line of %s: %w", s.Name, err)
		}
		row := []string{
			s.Name, s.Time.Format(time.RFC3339), "", decimals(s.SpeedMps, 2), decimals(s.CourseDeg, 1), decimals(s.WaterC, 1), "0",
			decimals(c, 1),
			"", "", s.Device,
		}
		if s.RangeM > 0 {
			row[2] = decimals(s.RangeM, 0) + " m"
		}
		if s.RowHz > 0 {
			row[8] = decimals(s.RowHz, 2)
			row[9] = map[bool]string{true: "no", false: "yes"}[s.Slant]
		}
		rows = append(rows, row)
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("writing the manifest: %w", err)
	}
	return b.Bytes(), nil
}

func decimals(v float64, n int) string { return strconv.FormatFloat(v, 'f', n, 64) }

// The parts of GPX 1.1 that the track needs.
type (
	gpxFile struct {
		XMLName xml.Name `xml:"http://www.topografix.com/GPX/1/1 gpx"`
		Version string   `xml:"version,attr"`
		Creator string   `xml:"creator,attr"`
		Name    string   `xml:"metadata>name"`
		Desc    string   `xml:"metadata>desc"`
		Time    string   `xml:"metadata>time"`
		Track   gpxTrack `xml:"trk"`
	}
	gpxTrack struct {
		Name   string     `xml:"name"`
		Points []gpxPoint `xml:"trkseg>trkpt"`
	}
	gpxPoint struct {
		Lat  string `xml:"lat,attr"`
		Lon  string `xml:"lon,attr"`
		Time string `xml:"time"`
		HDOP string `xml:"hdop"`
	}
)

// fixEvery is the interval of the track, seconds.
const fixEvery = 2

// GPX is track.gpx: the boat's fixes from departure to landing. They wander slowly about the true way by half a metre, as
// a receiver's do.
func (v *Survey) GPX() ([]byte, error) {
	g := gpxFile{
		Version: "1.1", Creator: "shadowgap demo survey", Name: "Lake Ulvarn", Desc: "Invented survey of an invented lake; no real place",
		Time: departure.Format(time.RFC3339), Track: gpxTrack{Name: "Morning survey"},
	}
	for t := 0; t <= lasting(v.legs); t += fixEvery {
		s := at(v.legs, float64(t))
		u := float64(t)
		lat, lon := position(s.e+0.4*math.Sin(u/41)+0.12*math.Sin(u/13+1), s.n+0.4*math.Cos(u/47)+0.12*math.Sin(u/11+2))
		g.Track.Points = append(g.Track.Points, gpxPoint{
			Lat: decimals(lat, 7), Lon: decimals(lon, 7), Time: departure.Add(time.Duration(t) * time.Second).Format(time.RFC3339),
			HDOP: "0.9",
		})
	}
	out, err := xml.MarshalIndent(g, "", " ")
	if err != nil {
		return nil, fmt.Errorf("writing the track: %w", err)
	}
	return append([]byte(xml.Header), append(out, '\n')...), nil
}
