package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"iter"
	"os"
	"strconv"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/batch"
	"shadowgap/internal/survey"
	"shadowgap/internal/track"
	"shadowgap/internal/units"
)

// knowledge are the options that say what is known about the captures.
type knowledge struct {
	Range          string        `placeholder:"30m" help:"Range setting per side, with its unit: 30m or 100ft."`
	Panel          string        `placeholder:"X,Y,W,H" help:"The side-scan panel in pixels of the captures, where it isn't found by itself."`
	Nadir          *float64      `placeholder:"X" help:"The nadir's column in pixels of the captures, where it isn't found by itself."`
	Side           string        `enum:",port,starboard" default:"" placeholder:"port|starboard" help:"The only side in view."`
	Strong         string        `enum:",dark,bright" default:"" placeholder:"dark|bright" help:"${strong}"`
	Layout         string        `type:"path" placeholder:"FILE" help:"${layout}"`
	NewestAtBottom bool          `help:"The newest row is at the bottom, not at the top."`
	SlantCorrected bool          `help:"Columns are ground range already, not slant range."`
	ReadText       bool          `help:"Read the range off the captures' text with Tesseract, where it is installed; slow."`
	Manifest       string        `type:"path" placeholder:"FILE" help:"${manifest}"`
	Track          string        `type:"path" placeholder:"FILE" help:"The boat's track: GPX, NMEA 0183 log or CSV."`
	Zone           string        `placeholder:"ZONE" help:"Time zone of times without one, such as Europe/Berlin; default UTC."`
	ClockOffset    time.Duration `placeholder:"-1h" help:"${clock_offset}"`
	WaterTemp      *float64      `placeholder:"C" help:"Water temperature in degrees Celsius, to correct the range for the speed of sound."`
	Salinity       *float64      `placeholder:"PSU" help:"Salinity in practical units, with --water-temp."`
	Units          string        `enum:"m,ft" default:"m" help:"Unit of lengths in tables, pictures and CSV: m or ft."`
}

// settings reads manifest and track and returns what batch.Config.Settings is.
func (k knowledge) settings(ctx context.Context) (func(string, []byte) batch.Settings, error) {
	src, trackSum, err := k.sources(ctx)
	if err != nil {
		return nil, err
	}
	return func(capture string, data []byte) batch.Settings {
		return settingsOf(src, k.ReadText, trackSum, capture, data)
	}, nil
}

// tellMissed says of what was given but speaks of none of the captures, or otherwise than they show.
func (k knowledge) tellMissed(con *console, src survey.Sources, captures iter.Seq2[*detect.CaptureRecord, error]) error {
	if k.Manifest == "" && k.Track == "" && k.Layout == "" && !k.setByHand() {
		return nil
	}
	m := survey.Matches{Manifest: src.Manifest, Track: src.Track, Layouts: src.Detect.Layouts, TrackName: k.Track, LayoutName: k.Layout,
		ZoneGuessed: k.Zone == "", ClockOffset: k.ClockOffset, Panel: src.Detect.Panel, NadirX: src.Detect.NadirX}
	for c, err := range captures {
		if err != nil {
			return err
		}
		m.See(c)
	}
	for _, s := range m.Missed() {
		fmt.Fprintf(con.err, "shadowgap: %s\n", onOneLine(s))
	}
	said, all := m.Outside()
	switch {
	case all:
		return usage("%s", said)
	case said != "":
		fmt.Fprintf(con.err, "shadowgap: %s\n", said)
	}
	return nil
}

// setByHand says whether anything is given that a layout holds.
func (k knowledge) setByHand() bool {
	return k.Panel != "" || k.Nadir != nil || k.Side != "" || k.Strong != ""
}

// check tells what makes no sense by itself.
func (k knowledge) check() error {
	switch {
	case k.Nadir != nil && !(*k.Nadir >= 0):
		return usage("--nadir %g: must be a column of the picture", *k.Nadir)
	case k.Salinity != nil && k.WaterTemp == nil && k.Manifest == "":
		return usage("--salinity: says nothing without --water-temp")
	}
	return nil
}

// nadir is the nadir's column set by hand, 0 for none. A nadir on the very edge lies in the middle of the edge's column.
func (k knowledge) nadir() float64 {
	if k.Nadir == nil {
		return 0
	}
	return max(*k.Nadir, 0.5)
}

// parsePanel reads X,Y,W,H.
func parsePanel(text string) (image.Rectangle, error) {
	if text == "" {
		return image.Rectangle{}, nil
	}
	parts := strings.Split(text, ",")
	var v [4]int
	for i, p := range parts {
		n, err := strconv.Atoi(strings.TrimSpace(p))
		if err != nil || i >= len(v) {
			return image.Rectangle{}, usage("--panel %s: write it as X,Y,W,H in pixels, such as 0,40,1280,640", text)
		}
		v[i] = n
	}
	if len(parts) != len(v) || v[0] < 0 || v[1] < 0 || v[2] <= 0 || v[3] <= 0 {
		return image.Rectangle{}, usage("--panel %s: write it as X,Y,W,H in pixels, such as 0,40,1280,640", text)
	}
	return image.Rect(v[0], v[1], v[0]+v[2], v[1]+v[3]), nil
}

// sources reads what the options name: layouts, manifest and track. trackSum is the track file's hash, "" without one.
func (k knowledge) sources(ctx context.Context) (src survey.Sources, trackSum string, err error) {
	panel, err := parsePanel(k.Panel)
	if err != nil {
		return src, "", err
	}
	if err := k.check(); err != nil {
		return src, "", err
	}
	src = survey.Sources{
		Water: survey.Water{TempC: k.WaterTemp, Salinity: k.Salinity},
		Times: survey.TimeOptions{ClockOffset: k.ClockOffset},
		Detect: detect.Options{
			Panel: panel, NadirX: k.nadir(), Side: detect.Side(k.Side), Strong: detect.Strong(k.Strong),
			NewestAtBottom: k.NewestAtBottom, SlantCorrected: k.SlantCorrected,
		},
	}
	if k.Layout != "" {
		known, err := detect.ReadLayouts(ctx, k.Layout)
		if err != nil && (!k.setByHand() || !errors.Is(err, fs.ErrNotExist)) {
			return src, "", usage("--layout: %v", err)
		}
		src.Detect.Layouts = known.Layouts
	}
	if src.Times.Zone, err = time.LoadLocation(k.Zone); err != nil {
		return src, "", usage("--zone %s: no such time zone; write it like Europe/Berlin or America/Chicago", k.Zone)
	}
	if k.Range != "" {
		if src.Detect.RangeM, err = units.ParseRange(k.Range); err != nil {
			return src, "", usage("--range: %v", err)
		}
	}
	if _, _, err := survey.RescaleRange(1, src.Water, 0); err != nil {
		return src, "", usage("--water-temp, --salinity: %v", err)
	}
	if k.ReadText {
		if _, err := survey.FindOCR(); err != nil {
			return src, "", usage("--read-text: %v", err)
		}
	}
	if k.Manifest != "" {
		if src.Manifest, err = survey.ReadManifestFile(k.Manifest, src.Times.Zone); err != nil {
			return src, "", usage("%v", err)
		}
	}
	if k.Track != "" {
		if src.Track, err = track.ReadFile(k.Track, track.Options{Zone: src.Times.Zone}); err != nil {
			return src, "", usage("%v", err)
		}
		if trackSum, err = fileSum(k.Track); err != nil {
			return src, "", err
		}
	}
	return src, trackSum, nil
}

// settingsOf gathers what is known about one capture from its manifest line, the options and its own file.
func settingsOf(src survey.Sources, readText bool, trackSum, capture string, data []byte) batch.Settings {
	known, err := src.Know(capture, bytes.NewReader(data))
	if err != nil {
		// A water temperature in the manifest that no sea has: detect without, and say so.
		known = survey.Known{Options: src.Detect, RangeNotes: []string{err.Error()}}
		known.Options.RangeM = 0
	}
	out := batch.Settings{Options: known.Options, Range: known.Range, Hash: settingsHash(known, readText, trackSum, src.Times.Zone)}
	if !readText || err != nil { // else the notes on the range are made when the text has been read
		out.Notes = known.RangeNotes
	}
	if src.Track == nil && known.Scene.Entry == nil {
		// Nothing was said about places and times: their absence is not worth a note.
		out.Finish = func(c *detect.CaptureRecord, _ []detect.MarkRecord) { setTime(c, known.Scene.Time) }
		return out
	}
	out.Notes = append(out.Notes, known.Notes...)
	out.Finish = func(c *detect.CaptureRecord, marks []detect.MarkRecord) {
		setTime(c, known.Scene.Time)
		survey.Place(known.Scene, c.Panels, marks)
	}
	return out
}

func setTime(c *detect.CaptureRecord, t *survey.CaptureTime) {
	if t != nil {
		when := t.Time.UTC()
		c.Time = &when
	}
}

// settingsHash covers all that a capture's result depends on beside its content and the model.
func settingsHash(known survey.Known, readText bool, trackSum string, zone *time.Location) string {
	all := struct {
		Code     string
		Options  detect.Options
		ReadText bool
		Entry    *survey.Entry
		Track    string
		Time     *survey.CaptureTime
		// Only where they count, so that results of earlier programs stay good.
		Zone  string            `json:",omitempty"` // of a track's times without one
		Range *survey.RangeSaid `json:",omitempty"` // for one that is read off the capture
	}{Code: version, Options: known.Options, ReadText: readText, Track: trackSum}
	if trackSum != "" && zone != nil && zone != time.UTC {
		all.Zone = zone.String()
	}
	if readText {
		all.Range = &known.Range
	}
	all.Options.Model = nil // named by its version elsewhere
	if known.Scene.Entry != nil {
		e := *known.Scene.Entry
		e.Line = 0 // moving a line in the manifest changes nothing
		all.Entry = &e
	}
	all.Time = known.Scene.Time
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
