package survey

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/track"
)

// keptScene is a Scene as a run keeps it: of the track only what the capture was taken on.
type keptScene struct {
	Time           *time.Time         `json:"time,omitempty"`
	TimeSD         float64            `json:"time_sd_s,omitempty"`
	Source         TimeSource         `json:"time_from,omitempty"`
	Way            []keptFix          `json:"way,omitempty"`
	Entry          *Entry             `json:"entry,omitempty"`
	RowRate        *features.Measured `json:"row_rate,omitempty"`
	RowSpacingM    *features.Measured `json:"row_spacing_m,omitempty"`
	NewestAtBottom bool               `json:"newest_at_bottom,omitempty"`
	SlantCorrected bool               `json:"slant_corrected,omitempty"`
}

// keptFix is a track.Fix with what is unknown left out.
type keptFix struct {
	Time      time.Time `json:"time"`
	Lat       float64   `json:"lat"`
	Lon       float64   `json:"lon"`
	CourseDeg *float64  `json:"course,omitempty"`
	CourseSD  *float64  `json:"course_sd,omitempty"`
	SpeedMS   *float64  `json:"speed_ms,omitempty"`
	SpeedSD   float64   `json:"speed_sd_ms"`
	ErrorM    float64   `json:"error_m"`
}

// A capture's way is kept at steps of keepStepS seconds or more, at most keepFixes of them, from keepPadS before its oldest row to
// keepPadS after its newest: a boat that turns at 10° a second strays 0.1 m from a chord of 2 s at 3 m/s.
const (
	keepStepS = 1.0
	keepPadS  = 4.0
	keepFixes = 64
)

// Keep writes the scene of a capture with these panels as JSON that ReadScene reads back, so that a mark drawn on it later is
// placed as those found at once. The error is one of JSON's and means a value that is not finite.
func (s Scene) Keep(panels []detect.PanelRecord) ([]byte, error) {
	k := keptScene{Entry: s.Entry, RowRate: s.RowRate, RowSpacingM: s.RowSpacingM, NewestAtBottom: s.NewestAtBottom,
		SlantCorrected: s.SlantCorrected}
	if s.Time != nil {
		when := s.Time.Time.UTC()
		k.Time, k.TimeSD, k.Source = &when, s.Time.SD.Seconds(), s.Time.Source
	}
	if at, newest, why := s.boat(); s.Track != nil && why == "" {
		k.Way = s.keepWay(at, newest, panels)
	}
	return json.Marshal(k)
}

func (s Scene) keepWay(at boat, newest time.Time, panels []detect.PanelRecord) []keptFix {
	longest := 0.0
	for _, p := range panels {
		speed, column := math.NaN(), 0.0
		if fix, err := at(newest); err == nil {
			speed = fix.SpeedMS
		}
		if perPx, ok := PanelScale(p, float64(p.Box.Y)); ok {
			column = perPx
		}
		lag, _ := s.rowLag(float64(p.Box.H), float64(p.Box.H), speed, column)
		longest = math.Max(longest, lag.Value)
	}
	span := longest + 2*keepPadS
	steps := int(math.Min(keepFixes, math.Ceil(span/keepStepS)))
	var way []keptFix
	for i := range steps + 1 {
		fix, err := at(newest.Add(seconds(keepPadS - span*float64(steps-i)/float64(steps))))
		if err != nil {
			continue // beyond an end of the track, or in a gap
		}
		f := keptFix{Time: fix.Time.UTC(), Lat: fix.Lat, Lon: fix.Lon, SpeedSD: fix.SpeedSD, ErrorM: fix.ErrorM}
		f.CourseDeg, f.CourseSD, f.SpeedMS = known(fix.CourseDeg), known(fix.CourseSD), known(fix.SpeedMS)
		way = append(way, f)
	}
	return way
}

// ReadScene reads what Keep wrote.
func ReadScene(data []byte) (*Scene, error) {
	var k keptScene
	if err := json.Unmarshal(data, &k); err != nil {
		return nil, fmt.Errorf("reading a capture's way: %w", err)
	}
	s := &Scene{Entry: k.Entry, RowRate: k.RowRate, RowSpacingM: k.RowSpacingM, NewestAtBottom: k.NewestAtBottom,
		SlantCorrected: k.SlantCorrected}
	if k.Time != nil {
		s.Time = &CaptureTime{Time: *k.Time, SD: seconds(k.TimeSD), Source: k.Source, Zoned: true}
	}
	for _, f := range k.Way {
		s.way = append(s.way, track.Fix{
			Time: f.Time, Lat: f.Lat, Lon: f.Lon, CourseDeg: orNaN(f.CourseDeg), CourseSD: orNaN(f.CourseSD), SpeedMS: orNaN(f.SpeedMS),
			SpeedSD: f.SpeedSD, DepthM: math.NaN(), ErrorM: f.ErrorM,
		})
	}
	return s, nil
}

// keptWay tells fixes between those kept.
func keptWay(way []track.Fix) boat {
	return func(when time.Time) (track.Fix, error) {
		for i := range len(way) - 1 {
			a, b := way[i], way[i+1]
			if when.Before(a.Time) || when.After(b.Time) {
				continue
			}
			span := b.Time.Sub(a.Time).Seconds()
			f := when.Sub(a.Time).Seconds() / span
			d, azi, _ := track.Inverse(a.Lat, a.Lon, b.Lat, b.Lon)
			mid := a
			mid.Time = when
			mid.Lat, mid.Lon, _ = track.Direct(a.Lat, a.Lon, azi, f*d)
			between := func(x, y float64) float64 { return (1-f)*x + f*y }
			mid.CourseDeg = track.Normalise(a.CourseDeg + f*track.AngleBetween(a.CourseDeg, b.CourseDeg))
			mid.CourseSD, mid.SpeedMS, mid.SpeedSD = between(a.CourseSD, b.CourseSD), between(a.SpeedMS, b.SpeedMS), between(a.SpeedSD,
				b.SpeedSD)
			mid.ErrorM = between(a.ErrorM, b.ErrorM)
			return mid, nil
		}
		return track.Fix{}, fmt.Errorf("%s: %w", when.UTC().Format(time.RFC3339), track.ErrOutside)
	}
}

func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
