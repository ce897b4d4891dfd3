package track

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/encoding/charmap"
)

// Bounds that no honest GPX file comes near, so that a crafted one can't exhaust memory.
const (
	gpxMaxDepth = 64
	gpxMaxToken = 1 << 20 // bytes
)

// ReadGPX reads the tracks of a GPX 1.1 (or 1.0) file as a stream: one pass, memory for the fixes only. Each track segment
// is a run of its own. Files with a document type declaration are refused, which rules out entity expansion. Fixes without
// a time are counted in the notes and left out. Of a file that breaks off, as a recorder that lost power leaves it, the fixes before that
// are taken, and Track.Cut tells it.
func ReadGPX(r io.Reader, opt Options) (*Track, error) {
	opt = opt.withDefaults()
	limited := &capped{r: &untilZeros{r: r, most: opt.MaxBytes}, left: opt.MaxBytes, burst: gpxMaxToken}
	d := xml.NewDecoder(limited)
	d.CharsetReader = singleByteCharset
	g := gpxReader{opt: opt}
	var cut bool
	for {
		limited.rest()
		tok, err := d.RawToken()
		if errors.Is(err, io.EOF) || breaksOff(err) {
			cut = !errors.Is(err, io.EOF) || len(g.open) > 0
			break
		}
		if err != nil {
			return nil, fmt.Errorf("GPX: %w", err)
		}
		if err := g.take(tok); err != nil {
			line, _ := d.InputPos()
			return nil, fmt.Errorf("GPX line %d: %w", line, err)
		}
	}
	if cut && g.points == 0 {
		return nil, fmt.Errorf("GPX: the file breaks off%s, before the first point with a time", g.inside())
	}
	if g.points == 0 {
		return nil, fmt.Errorf("GPX: no track point with a time (%d without)", g.untimed)
	}
	t, err := New(g.runs, opt)
	if err != nil {
		return nil, fmt.Errorf("GPX: %w", err)
	}
	if cut {
		line, _ := d.InputPos()
		t.breakOff(line, g.inside(), "points", g.points, g.last().Time)
	}
	if g.untimed > 0 {
		t.notes = append(t.notes, fmt.Sprintf("%d track points have no time and were left out", g.untimed))
	}
	return t, nil
}

// breaksOff says whether a file ended in the middle of something.
func breaksOff(err error) bool {
	var syntax *xml.SyntaxError
	return errors.As(err, &syntax) && syntax.Msg == "unexpected EOF"
}

// gpxReader holds the state between tokens.
type gpxReader struct {
	opt             Options
	open            []string // local names of the open elements
	runs            [][]Point
	cur             *Point
	text            strings.Builder
	points, untimed int
}

func (g *gpxReader) take(tok xml.Token) error {
	switch tok := tok.(type) {
	case xml.Directive:
		return errors.New("a document type declaration has no place in GPX")
	case xml.StartElement:
		return g.start(tok)
	case xml.EndElement:
		return g.end(tok.Name.Local)
	case xml.CharData:
		if g.cur != nil && g.text.Len() < 256 {
			g.text.Write(tok[:min(len(tok), 256)])
		}
	}
	return nil
}

func (g *gpxReader) start(el xml.StartElement) error {
	name := el.Name.Local
	if len(g.open) == 0 && name != "gpx" {
		return fmt.Errorf("the root element is <%s>, not <gpx>", name)
	}
	if len(g.open) >= gpxMaxDepth {
		return fmt.Errorf("elements nested deeper than %d", gpxMaxDepth)
	}
	g.open = append(g.open, name)
	g.text.Reset()
	switch name {
	case "trkseg":
		g.runs = append(g.runs, nil)
	case "trkpt":
		if len(g.runs) == 0 {
			return errors.New("<trkpt> outside <trkseg>")
		}
		p := Point{CourseDeg: math.NaN(), SpeedMS: math.NaN(), DepthM: math.NaN(), Lat: math.NaN(), Lon: math.NaN()}
		for _, a := range el.Attr {
			var err error
			switch a.Name.Local {
			case "lat":
				p.Lat, err = number(a.Value)
			case "lon":
				p.Lon, err = number(a.Value)
			}
			if err != nil {
				return fmt.Errorf("<trkpt %s>: %w", a.Name.Local, err)
			}
		}
		if math.IsNaN(p.Lat) || math.IsNaN(p.Lon) {
			return errors.New("<trkpt> without lat and lon")
		}
		g.cur = &p
	}
	return nil
}

func (g *gpxReader) end(name string) error {
	if len(g.open) == 0 || g.open[len(g.open)-1] != name {
		return fmt.Errorf("</%s> closes nothing", name)
	}
	g.open = g.open[:len(g.open)-1]
	if g.cur == nil {
		return nil
	}
	text := strings.TrimSpace(g.text.String())
	g.text.Reset()
	if name == "trkpt" {
		return g.finish()
	}
	if text == "" {
		return nil
	}
	var err error
	switch name {
	case "time":
		if g.parent() == "trkpt" {
			g.cur.Time, err = gpxTime(text)
		}
	case "hdop":
		g.cur.HDOP, err = number(text)
	case "speed": // GPX 1.0, and extensions of GPX 1.1
		g.cur.SpeedMS, err = number(text)
	case "course":
		g.cur.CourseDeg, err = number(text)
	case "depth":
		g.cur.DepthM, err = number(text)
	}
	if err != nil {
		return fmt.Errorf("<%s>: %w", name, err)
	}
	return nil
}

// inside names the element that is open.
func (g *gpxReader) inside() string {
	if len(g.open) == 0 {
		return ""
	}
	return " inside <" + g.parent() + ">"
}

// last is the newest fix that was read; there must be one.
func (g *gpxReader) last() Point {
	for i := len(g.runs) - 1; ; i-- {
		if run := g.runs[i]; len(run) > 0 {
			return run[len(run)-1]
		}
	}
}

func (g *gpxReader) parent() string {
	if len(g.open) == 0 {
		return ""
	}
	return g.open[len(g.open)-1]
}

func (g *gpxReader) finish() error {
	p := *g.cur
	g.cur = nil
	if p.Time.IsZero() {
		g.untimed++
		return nil
	}
	if g.points++; g.points > g.opt.MaxPoints {
		return fmt.Errorf("more than %d fixes: %w", g.opt.MaxPoints, ErrTooBig)
	}
	last := len(g.runs) - 1
	g.runs[last] = append(g.runs[last], p)
	return nil
}

// gpxTime reads an xsd:dateTime; without an offset it is UTC, as GPX demands.
func gpxTime(s string) (time.Time, error) {
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05.999999999"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UTC(), nil
		}
	}
	return time.Time{}, fmt.Errorf("time %q is not ISO 8601", s)
}

func number(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return v, nil
}

func singleByteCharset(charset string, in io.Reader) (io.Reader, error) {
	switch strings.ToLower(charset) {
	case "us-ascii", "utf8":
		return in, nil
	case "iso-8859-1", "latin1":
		return charmap.ISO8859_1.NewDecoder().Reader(in), nil
	case "windows-1252":
		return charmap.Windows1252.NewDecoder().Reader(in), nil
	}
	return nil, fmt.Errorf("character set %q: save the file as UTF-8", charset)
}
