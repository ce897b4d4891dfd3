package survey

import (
	"fmt"
	"io"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/track"
)

// Sources are everything a user gave that says something about captures. The zero value knows nothing.
type Sources struct {
	Manifest *Manifest
	Track    *track.Track
	Times    TimeOptions
	Water    Water          // of the whole run; a manifest's line says better
	Detect   detect.Options // of the whole run; a manifest's line says better
}

// ManifestNotes tells what was assumed of all lines of the manifest.
func (s Sources) ManifestNotes() []string {
	if s.Manifest == nil {
		return nil
	}
	return s.Manifest.Notes
}

// Known is what the sources say of one capture.
type Known struct {
	Options    detect.Options // for the detector, its range rescaled to the true speed of sound
	Scene      Scene          // for Place
	Range      RangeSaid      // what Options.RangeM came from, for a capture whose text is read later
	RangeNotes []string       // on Options.RangeM: conflicts, rescaling, that it is unknown
	Notes      []string       // on all else: conflicts and what was chosen, assumptions, what is unknown
}

// Know puts together what is known of a capture before it is looked at. capture is its path relative to the input root,
// with forward slashes; file is its content (nil: EXIF isn't read). The only error is a water temperature or salinity outside
// the sound speed equation's range: what can't be read is a note.
func (s Sources) Know(capture string, file io.ReadSeeker) (Known, error) {
	e := s.Manifest.Lookup(capture)
	k := Known{Options: s.Detect}
	if s.Manifest != nil && e == nil {
		k.Notes = append(k.Notes, fmt.Sprintf("manifest %s says nothing of this capture", s.Manifest.Name))
	}
	k.Range = RangeSaid{OptionM: s.Detect.RangeM, Water: s.Water}
	if e != nil {
		if e.RangeM != nil {
			k.Range.ManifestM = *e.RangeM
		}
		if e.WaterTempC != nil {
			k.Range.Water.TempC = e.WaterTempC
		}
		if e.Salinity != nil {
			k.Range.Water.Salinity = e.Salinity
		}
		if e.SoundSpeedMS != nil {
			k.Range.AssumedMS = *e.SoundSpeedMS
		}
		if e.Side != "" {
			k.Options.Side = e.Side
		}
		if e.NewestAtBottom != nil {
			k.Options.NewestAtBottom = *e.NewestAtBottom
		}
		if e.SlantCorrected != nil {
			k.Options.SlantCorrected = *e.SlantCorrected
		}
	}
	var err error
	if k.Options.RangeM, k.RangeNotes, err = k.Range.With(0); err != nil {
		return Known{}, fmt.Errorf("capture %s: %w", capture, err)
	}
	when, notes := ChooseTime(e, file, capture, s.Times)
	k.Notes = append(k.Notes, notes...)
	k.Scene = Scene{Time: when, Track: s.Track, Entry: e, NewestAtBottom: k.Options.NewestAtBottom,
		SlantCorrected: k.Options.SlantCorrected}
	if s.Detect.RowSpacingM > 0 && (e == nil || e.RowSpacingM == nil) {
		k.Scene.RowSpacingM = &features.Measured{Value: s.Detect.RowSpacingM, SD: 0.02 * s.Detect.RowSpacingM}
	}
	if sp, ok := k.Scene.rowSpacing(0); ok {
		k.Options.RowSpacingM = sp.Value
	}
	return k, nil
}
