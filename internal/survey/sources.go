package survey

import (
	"context"
	"fmt"
	"image"
	"io"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/track"
)

// Sources are everything a user gave that says something about captures. The zero value knows nothing.
type Sources struct {
	Manifest            *Manifest
	Track               *track.Track
	OCR                 *OCR // nil = text on captures is not read
	Times               TimeOptions
	Water               Water          // of the whole run; a manifest's line says better
	AssumedSoundSpeedMS float64        // what the display was set to; 0 = AssumedSoundSpeedMS the constant
	Detect              detect.Options // of the whole run; a manifest's line says better
}

// Known is what the sources say of one capture.
type Known struct {
	Options detect.Options // for the detector, its range rescaled to the true speed of sound
	Scene   Scene          // for Place
	Notes   []string       // conflicts and what was chosen, assumptions, what is unknown
}

// Know puts together what is known of a capture before it is looked at. capture is its path relative to the input root,
// with forward slashes; file is its content (nil: EXIF isn't read); img is the decoded picture (nil: text on it isn't
// read). The only errors are a sound speed outside the equation's range and an ended ctx: what can't be read is a note.
func (s Sources) Know(ctx context.Context, capture string, file io.ReadSeeker, img image.Image) (Known, error) {
	e := s.Manifest.Lookup(capture)
	k := Known{Options: s.Detect}
	screen, err := s.screen(ctx, img, &k)
	if err != nil {
		return Known{}, err
	}
	if s.Manifest != nil && e == nil {
		k.Notes = append(k.Notes, fmt.Sprintf("manifest %s says nothing of this capture", s.Manifest.Name))
	}
	said, water, assumed := 0.0, s.Water, s.AssumedSoundSpeedMS
	if e != nil {
		if e.RangeM != nil {
			said = *e.RangeM
		}
		if e.WaterTempC != nil {
			water.TempC = e.WaterTempC
		}
		if e.Salinity != nil {
			water.Salinity = e.Salinity
		}
		if e.SoundSpeedMS != nil {
			assumed = *e.SoundSpeedMS
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
	r := ChooseRange(said, s.Detect.RangeM, screen.RangeM)
	k.Notes = append(k.Notes, r.Notes...)
	k.Options.RangeM = r.M
	if r.M > 0 {
		m, note, err := RescaleRange(r.M, water, assumed)
		if err != nil {
			return Known{}, fmt.Errorf("capture %s: %w", capture, err)
		}
		k.Options.RangeM = m
		if note != "" {
			k.Notes = append(k.Notes, note)
		}
	}
	when, notes := ChooseTime(e, file, capture, s.Times)
	k.Notes = append(k.Notes, notes...)
	k.Scene = Scene{Time: when, Track: s.Track, Entry: e, NewestAtBottom: k.Options.NewestAtBottom, SlantCorrected: k.Options.SlantCorrected}
	if s.Detect.RowSpacingM > 0 && (e == nil || e.RowSpacingM == nil) {
		k.Scene.RowSpacingM = &features.Measured{Value: s.Detect.RowSpacingM, SD: 0.02 * s.Detect.RowSpacingM}
	}
	if sp, ok := k.Scene.RowSpacing(0); ok {
		k.Options.RowSpacingM = sp.Value
	}
	return k, nil
}

// screen reads the text on the picture; a failure is a note.
func (s Sources) screen(ctx context.Context, img image.Image, k *Known) (ScreenText, error) {
	if s.OCR == nil || img == nil {
		return ScreenText{}, nil
	}
	screen, err := s.OCR.Read(ctx, img)
	if ctx.Err() != nil {
		return ScreenText{}, ctx.Err()
	}
	if err != nil {
		k.Notes = append(k.Notes, err.Error())
		return ScreenText{}, nil
	}
	k.Notes = append(k.Notes, screen.Notes...)
	return screen, nil
}
