package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/batch"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
	"shadowgap/internal/units"
)

// surveyed is what the user's options and files say, ready to be asked for each capture.
type surveyed struct {
	base     detect.Options // without what differs from capture to capture
	rangeM   float64
	water    survey.Water
	manifest *survey.Manifest
	track    *track.Track
	trackSum string
	times    survey.TimeOptions
}

// settings reads manifest and track and returns what batch.Config.Settings is.
func (k knowledge) settings() (func(string, []byte) batch.Settings, error) {
	s := surveyed{
		base:  detect.Options{Side: detect.Side(k.Side), NewestAtBottom: k.NewestAtBottom, SlantCorrected: k.SlantCorrected},
		water: survey.Water{TempC: k.WaterTemp, Salinity: k.Salinity},
		times: survey.TimeOptions{ClockOffset: k.ClockOffset},
	}
	var err error
	if s.times.Zone, err = time.LoadLocation(k.Zone); err != nil {
		return nil, usage("--zone %s: no such time zone; write it like Europe/Berlin or America/Chicago", k.Zone)
	}
	if k.Range != "" {
		if s.rangeM, err = units.ParseRange(k.Range); err != nil {
			return nil, usage("--range: %v", err)
		}
	}
	if _, _, err := survey.RescaleRange(1, s.water, 0); err != nil {
		return nil, usage("--water-temp, --salinity: %v", err)
	}
	if k.Manifest != "" {
		if s.manifest, err = survey.ReadManifestFile(k.Manifest, s.times.Zone); err != nil {
			return nil, usage("%v", err)
		}
	}
	if k.Track != "" {
		if s.track, err = track.ReadFile(k.Track, track.Options{Zone: s.times.Zone}); err != nil {
			return nil, usage("%v", err)
		}
		if s.trackSum, err = fileSum(k.Track); err != nil {
			return nil, err
		}
	}
	return s.of, nil
}

// of gathers what is known about one capture from its manifest line, the options and its own file.
func (s surveyed) of(capture string, data []byte) batch.Settings {
	var entry *survey.Entry
	if s.manifest != nil {
		entry = s.manifest.Lookup(capture)
	}
	opt := s.base
	water, assumed, fromManifest := s.water, 0.0, 0.0
	if entry != nil {
		if entry.RangeM != nil {
			fromManifest = *entry.RangeM
		}
		if entry.WaterTempC != nil {
			water.TempC = entry.WaterTempC
		}
		if entry.Salinity != nil {
			water.Salinity = entry.Salinity
		}
		if entry.SoundSpeedMS != nil {
			assumed = *entry.SoundSpeedMS
		}
		if entry.Side != "" {
			opt.Side = entry.Side
		}
		if entry.NewestAtBottom != nil {
			opt.NewestAtBottom = *entry.NewestAtBottom
		}
		if entry.SlantCorrected != nil {
			opt.SlantCorrected = *entry.SlantCorrected
		}
		if entry.RowSpacingM != nil {
			opt.RowSpacingM = *entry.RowSpacingM
		}
	}
	chosen := survey.ChooseRange(fromManifest, s.rangeM, 0)
	notes := chosen.Notes
	opt.RangeM = chosen.M
	if opt.RangeM > 0 {
		corrected, note, err := survey.RescaleRange(opt.RangeM, water, assumed)
		switch {
		case err != nil:
			notes = append(notes, err.Error())
		case note != "":
			opt.RangeM = corrected
			notes = append(notes, note)
		}
	}
	when, timeNotes := survey.ChooseTime(entry, bytes.NewReader(data), path.Base(capture), s.times)
	out := batch.Settings{Options: opt, Notes: notes, Hash: s.hash(opt, entry, when)}
	if s.track == nil && (entry == nil || entry.Lat == nil) {
		return out
	}
	out.Notes = append(out.Notes, timeNotes...)
	scene := survey.Scene{Time: when, Track: s.track, Entry: entry, NewestAtBottom: opt.NewestAtBottom}
	out.Finish = func(c *detect.CaptureRecord, marks []detect.MarkRecord) {
		survey.Place(scene, c.Panels, marks, survey.PlaceOptions{})
	}
	return out
}

// hash covers all that a capture's result depends on beside its content and the model.
func (s surveyed) hash(opt detect.Options, entry *survey.Entry, when *survey.CaptureTime) string {
	opt.Model = nil // named by its version elsewhere
	all := struct {
		Code    string
		Options detect.Options
		Entry   *survey.Entry
		Track   string
		Time    *survey.CaptureTime
	}{version, opt, nil, s.trackSum, nil}
	if entry != nil {
		e := *entry
		e.Line = 0 // moving a line in the manifest changes nothing
		all.Entry = &e
	}
	if s.track != nil {
		all.Time = when
	}
	text, err := json.Marshal(all)
	if err != nil {
		// Values that JSON can't hold, infinities say, print well enough to be told apart.
		text = fmt.Appendf(nil, "%+v", all)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:8])
}

func fileSum(name string) (string, error) {
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("reading %s: %w", name, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
