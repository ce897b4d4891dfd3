// Package survey puts captures into the world: what a manifest says about each, when it was taken, what range it shows,
// where its marks lie, and which marks of different captures are looks at one thing.
package survey

import (
	"fmt"
	"math"

	"shadowgap/features"
)

// RangeSource says who told the range of a capture.
type RangeSource string

// The sources of a range, most trusted first. The manifest speaks of one capture, the option of the whole run.
const (
	RangeFromManifest RangeSource = "manifest"
	RangeFromOption   RangeSource = "--range"
	RangeFromCapture  RangeSource = "text on the capture"
)

// Range is a range setting per side with where it comes from.
type Range struct {
	M      float64 // metres, slant; 0 = unknown
	Source RangeSource
	Notes  []string // sources that disagree, and that the range is unknown
}

// ChooseRange picks the range of a capture from what the manifest, the option and the text on the capture say, in that
// order; 0 means that source says nothing. Sources more than 2 % apart from the chosen one are told in Notes.
func ChooseRange(manifestM, optionM, captureM float64) Range {
	var r Range
	for _, s := range []struct {
		m      float64
		source RangeSource
	}{{manifestM, RangeFromManifest}, {optionM, RangeFromOption}, {captureM, RangeFromCapture}} {
		switch {
		case s.m <= 0:
		case r.M == 0:
			r.M, r.Source = s.m, s.source
		case math.Abs(s.m-r.M) > 0.02*r.M:
			r.Notes = append(r.Notes, fmt.Sprintf("range: %s says %.4g m, %s says %.4g m; took %s", r.Source, r.M, s.source, s.m, r.Source))
		}
	}
	if r.M == 0 {
		r.Notes = append(r.Notes, "range unknown: sizes are in pixels only")
	}
	return r
}

// RangeSaid is what the user told about a capture's range setting per side, as it stood on the display: not rescaled yet.
type RangeSaid struct {
	ManifestM float64 // 0 = the manifest says nothing
	OptionM   float64 // 0 = no option given
	Water     Water
	AssumedMS float64 // sound speed the display was set to; 0 = assumedSoundSpeedMS
}

// With chooses between these and the range that the text on the capture says (0: none) as ChooseRange does, and rescales the
// chosen one to the true speed of sound. rangeM is 0 when no source knows it. Notes tell conflicts and the rescaling.
func (s RangeSaid) With(captureM float64) (rangeM float64, notes []string, err error) {
	r := ChooseRange(s.ManifestM, s.OptionM, captureM)
	if r.M == 0 {
		return 0, r.Notes, nil
	}
	m, note, err := RescaleRange(r.M, s.Water, s.AssumedMS)
	if err != nil {
		return 0, r.Notes, err
	}
	if note != "" {
		r.Notes = append(r.Notes, note)
	}
	return m, r.Notes, nil
}

// Water is what a user knows about the water; nil is unknown.
type Water struct {
	TempC    *float64 // °C
	Salinity *float64 // practical units; nil counts as fresh water
}

// assumedSoundSpeedMS is what a display is taken to assume when the user doesn't say (common practice, no source).
const assumedSoundSpeedMS = 1500.0

// RescaleRange corrects a range for the true speed of sound in the water. assumedMS is the speed the display was set to, 0
// for assumedSoundSpeedMS. Without a temperature the range comes back as it was, with an empty note. The note says what was
// changed and on which assumptions; it is empty when that changes nothing that shows.
func RescaleRange(rangeM float64, w Water, assumedMS float64) (correctedM float64, note string, err error) {
	if w.TempC == nil {
		return rangeM, "", nil
	}
	salinity, water := 0.0, "fresh water assumed"
	if w.Salinity != nil {
		salinity, water = *w.Salinity, fmt.Sprintf("salinity %.3g", *w.Salinity)
	}
	actualMS, err := features.SoundSpeed(*w.TempC, salinity, 0)
	if err != nil {
		return 0, "", fmt.Errorf("rescaling the range: %w", err)
	}
	said := "as given"
	if assumedMS == 0 {
		assumedMS, said = assumedSoundSpeedMS, "the usual setting"
	}
	m, err := features.RescaleForSoundSpeed(features.Measured{Value: rangeM}, assumedMS, actualMS)
	if err != nil {
		return 0, "", err
	}
	if math.Abs(m.Value-rangeM) < 0.0005*rangeM { // within what four digits show
		return m.Value, "", nil
	}
	return m.Value, fmt.Sprintf("range rescaled from %.4g m to %.4g m: sound travels at %.0f m/s here (%.3g °C, %s), the display "+
		"assumed %.0f m/s (%s)", rangeM, m.Value, actualMS, *w.TempC, water, assumedMS, said), nil
}
