// Package demo makes the survey in testdata/demo: about 40 captures of a morning on an invented lake, with the manifest, the
// track and the truth. The lake is laid out once in metres; every capture is what the sonar saw from where the boat was then,
// so the same rock shows from both sides.
package demo

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"time"

	"shadowgap/eval"
	"shadowgap/eval/scene"
)

// Shot is one file of the survey.
type Shot struct {
	Name      string    // file name
	Device    string    // the screen it shows
	Time      time.Time // UTC, of its newest row
	CourseDeg float64   // degrees true
	SpeedMps  float64   // over ground
	WaterC    float64   // degrees Celsius
	RangeM    float64   // a side; 0 = can't be told from the file
	RowHz     float64   // rows of the picture a second; 0 = no side-scan
	Slant     bool      // columns are slant range, not ground range
	Spec      *scene.Spec
	Chart     bool    // the chart screen, no side-scan at all
	Cut       float64 // share of the file that was written before it broke off; 0 = all
	at        state
}

// cutShare is how much of the broken file was written.
const cutShare = 0.37

// brokenAfter and chartAfter say after which capture the two odd files come.
const (
	chartAfter  = 16
	brokenAfter = 25
)

// Survey is the whole set, in the order of time.
type Survey struct {
	Shots []Shot
	legs  []stretch
	lake  *lake
}

// New lays out the survey; nothing is rendered yet. It is the same at every call.
func New() *Survey {
	v := &Survey{legs: voyage()}
	v.lake = newLake(v.legs)
	begin := 0
	for leg, part := range v.legs {
		for k, look := range part.shots {
			v.shoot(leg, part, look, begin, k)
		}
		begin += part.seconds
	}
	return v
}

// shoot adds the k-th capture of a leg. All its rows lie on the leg, where the boat runs straight.
func (v *Survey) shoot(leg int, part stretch, k look, begin, nth int) {
	probe := scene.Spec{RangeM: part.rangeM}
	k.lay(&probe)
	span := float64(probe.Pings)/part.pingHz + 1
	room := float64(part.seconds) - span - 1
	seconds := float64(begin) + float64(int(span+room*float64(nth)/float64(len(part.shots)-1)+1))
	i := len(v.Shots)
	newest := at(v.legs, seconds)
	s := v.lake.spec(i, leg, part, k, newest, seconds/60)
	when := departure.Add(time.Duration(seconds) * time.Second)
	s.Screen.Clock = when.Format(time.TimeOnly)
	shot := Shot{
		Device: k.device(), Time: when, CourseDeg: newest.course, SpeedMps: newest.speed, WaterC: s.Screen.WaterC, RangeM: s.RangeM,
		RowHz: part.pingHz, Slant: !s.Display.SlantCorrected, Spec: &s, at: newest,
	}
	if s.Output.Scale > 0 {
		shot.RowHz *= s.Output.Scale
	}
	if k.photo() {
		shot.Device = "phone"
	}
	if k.crop() {
		// The outer edge of a crop need not be the range that was set.
		shot.RangeM = 0
	}
	v.add(shot)
	switch len(v.Shots) {
	case chartAfter:
		late := shot
		late.Spec, late.Chart, late.Device, late.RangeM, late.RowHz = nil, true, "deck", 0, 0
		v.advance(&late, 12)
		v.add(late)
	case brokenAfter:
		late := shot
		again := s
		again.Seed = lakeSeed + 900
		again.Output.JPEGQuality = 80
		late.Spec, late.Cut = &again, cutShare
		v.advance(&late, 3)
		v.add(late)
	}
}

// advance moves a shot on in time.
func (v *Survey) advance(s *Shot, seconds int) {
	s.Time = s.Time.Add(time.Duration(seconds) * time.Second)
	s.at = at(v.legs, s.Time.Sub(departure).Seconds())
	s.CourseDeg, s.SpeedMps = s.at.course, s.at.speed
}

// add names a shot as the screens and the phone do and keeps it.
func (v *Survey) add(s Shot) {
	n := len(v.Shots) + 1
	ext := ".png"
	if s.Spec != nil && s.Spec.Output.JPEGQuality > 0 {
		ext = ".jpg"
	}
	switch s.Device {
	case "bow":
		s.Name = s.Time.Format("20060102T150405Z") + ext
	case "deck":
		s.Name = s.Time.Format("scan_20060102_150405") + ext
	default:
		s.Name = fmt.Sprintf("capture-%03d%s", n, ext)
	}
	v.Shots = append(v.Shots, s)
}

// Render makes the file of a shot and the truth about it; no truth for a broken file. It returns an error when ctx ends.
func (v *Survey) Render(ctx context.Context, s Shot) ([]byte, *eval.CaptureLabel, error) {
	var b bytes.Buffer
	label := &eval.CaptureLabel{By: "scene", Marks: []eval.MarkLabel{}, Humps: [][2]int{}}
	if s.Chart {
		if err := v.drawChart(&b, s); err != nil {
			return nil, nil, fmt.Errorf("drawing %s: %w", s.Name, err)
		}
	} else {
		c, err := scene.Render(ctx, *s.Spec)
		if err != nil {
			return nil, nil, fmt.Errorf("rendering %s: %w", s.Name, err)
		}
		if err := c.Encode(&b); err != nil {
			return nil, nil, fmt.Errorf("rendering %s: %w", s.Name, err)
		}
		label = &c.Label
	}
	if s.Cut > 0 {
		return b.Bytes()[:int(s.Cut*float64(b.Len()))], nil, nil
	}
	label.Capture = path.Join("captures", s.Name)
	return b.Bytes(), label, nil
}

// Write makes the whole survey in dir: captures/, manifest.csv, track.gpx and truth/labels.json. Files of the same name are
// replaced, others are left alone. It stops at the first error and when ctx ends.
func Write(ctx context.Context, dir string) error {
	for _, sub := range []string{"captures", "truth"} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o755); err != nil {
			return fmt.Errorf("making the folder of the survey: %w", err)
		}
	}
	v := New()
	put := func(name string, data []byte) error {
		if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(name)), data, 0o644); err != nil {
			return fmt.Errorf("writing the survey: %w", err)
		}
		return nil
	}
	var lines [][]byte
	for _, s := range v.Shots {
		data, label, err := v.Render(ctx, s)
		if err != nil {
			return err
		}
		if err := put(path.Join("captures", s.Name), data); err != nil {
			return err
		}
		if label == nil {
			continue
		}
		line, err := json.Marshal(label)
		if err != nil {
			return fmt.Errorf("encoding the truth of %s: %w", s.Name, err)
		}
		lines = append(lines, line)
	}
	// One capture a line, as profiles of every row would make an indented file unreadable.
	var truth bytes.Buffer
	fmt.Fprintf(&truth, "{\"schema\":%d,\"captures\":[\n%s\n]}\n", eval.SchemaVersion, bytes.Join(lines, []byte(",\n")))
	if err := put("truth/labels.json", truth.Bytes()); err != nil {
		return err
	}
	manifest, err := v.Manifest()
	if err != nil {
		return err
	}
	if err := put("manifest.csv", manifest); err != nil {
		return err
	}
	gpx, err := v.GPX()
	if err != nil {
		return err
	}
	return put("track.gpx", gpx)
}
