package track

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowgap/internal/units"
)

// csvColumns names what ReadCSV understands: header names in lower case and the unit of a bare number.
var csvColumns = []struct {
	field string
	dim   units.Dimension
	def   string
	names []string
}{
	{"time", units.Duration, "", []string{"time", "timestamp", "datetime", "date time", "utc", "time utc", "utc time", "gps time"}},
	{"date", units.Duration, "", []string{"date"}},
	{"lat", units.Angle, "deg", []string{"lat", "latitude"}},
	{"lon", units.Angle, "deg", []string{"lon", "lng", "long", "longitude"}},
	{"course", units.Angle, "deg", []string{"course", "cog", "course over ground", "track", "bearing"}},
	{"speed", units.Speed, "", []string{"speed", "sog", "speed over ground"}},
	{"depth", units.Length, "", []string{"depth"}},
	{"hdop", units.Duration, "", []string{"hdop"}},
	{"error", units.Length, "m", []string{"error", "accuracy", "position error"}},
}

// ReadCSV reads a log with one fix a line under a header line, separated by comma, semicolon or tab. It needs time (with
// date beside it, or in it; ISO 8601 or Unix seconds or milliseconds), lat and lon; it takes course, speed, depth, hdop and
// error. Units stand in the header ("speed (kn)") or in the value; speed and depth have none of their own, so a bare
// number there is an error. Times without an offset are in Options.Zone. Errors name the line and the column. Of a file that breaks off in
// mid-line, as a recorder that lost power leaves it, the lines before that are taken, and Track.Cut tells it.
func ReadCSV(r io.Reader, opt Options) (*Track, error) {
	opt = opt.withDefaults()
	end := &ending{r: &untilZeros{r: r, most: opt.MaxBytes}}
	br := bufio.NewReader(&capped{r: end, left: opt.MaxBytes})
	first, err := br.Peek(4096)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("CSV: %w", err)
	}
	cr := csv.NewReader(br)
	cr.Comma, cr.FieldsPerRecord, cr.ReuseRecord, cr.Comment = separator(string(first)), -1, true, '#'
	head, err := cr.Read()
	if err != nil {
		return nil, fmt.Errorf("CSV: reading the header line: %w", err)
	}
	c, err := newCSVReader(head, opt)
	if err != nil {
		return nil, fmt.Errorf("CSV: %w", err)
	}
	points, cut, err := c.points(cr, len(head), end)
	if err != nil {
		return nil, fmt.Errorf("CSV%w", err)
	}
	t, err := New([][]Point{points}, opt)
	if err != nil {
		return nil, fmt.Errorf("CSV: %w", err)
	}
	if cut > 0 {
		t.breakOff(cut, "", "lines", len(points), points[len(points)-1].Time)
	}
	if c.noZone > 0 {
		t.notes = append(t.notes, fmt.Sprintf("%d times without an offset were taken as %s", c.noZone, opt.Zone))
	}
	return t, nil
}

// points reads what comes after the header line. cut is the line in which the file breaks off, after others that are whole; 0 where it
// doesn't. Errors begin with the line or a colon.
func (c *csvReader) points(cr *csv.Reader, columns int, end *ending) (points []Point, cut int, err error) {
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return points, 0, nil
		}
		var p Point
		said, line := "", 0
		if err == nil {
			line, _ = cr.FieldPos(0)
			said = fmt.Sprintf(" line %d", line)
			p, err = c.point(rec)
		} else if bad := new(csv.ParseError); errors.As(err, &bad) {
			line = bad.StartLine
		}
		// only the last line can have no end
		if (err != nil || len(rec) < columns) && len(points) > 0 && end.broken(cr.InputOffset()) {
			return points, line, nil
		}
		switch {
		case err != nil:
			return nil, 0, fmt.Errorf("%s: %w", said, err)
		case len(points) >= c.opt.MaxPoints:
			return nil, 0, fmt.Errorf("%s: more than %d fixes: %w", said, c.opt.MaxPoints, ErrTooBig)
		}
		points = append(points, p)
	}
}

func separator(text string) rune {
	line, _, _ := strings.Cut(text, "\n")
	best, most := ',', strings.Count(line, ",")
	for _, r := range ";\t" {
		if n := strings.Count(line, string(r)); n > most {
			best, most = r, n
		}
	}
	return best
}

type csvReader struct {
	opt    Options
	col    map[string]int    // field → column
	header map[string]string // field → header as written
	unit   map[string]string // field → unit of a bare number
	noZone int
}

func newCSVReader(head []string, opt Options) (*csvReader, error) {
	c := &csvReader{opt: opt, col: map[string]int{}, header: map[string]string{}, unit: map[string]string{}}
	for i, h := range head {
		for _, k := range csvColumns {
			name, unit := units.SplitHeader(h, k.dim)
			if !slices.Contains(k.names, name) {
				continue
			}
			if _, ok := c.col[k.field]; ok {
				return nil, fmt.Errorf("two columns for %s: %q and %q", k.field, c.header[k.field], h)
			}
			if unit == "" {
				unit = k.def
			} else if k.field != "time" && !k.dim.Known(unit) {
				return nil, fmt.Errorf("column %q: unit %q is not a unit of %s", h, unit, k.dim)
			}
			c.col[k.field], c.header[k.field], c.unit[k.field] = i, h, unit
			break
		}
	}
	for _, need := range []string{"time", "lat", "lon"} {
		if _, ok := c.col[need]; !ok {
			return nil, fmt.Errorf("no column for %s in the header %q", need, head)
		}
	}
	return c, nil
}

func (c *csvReader) text(rec []string, field string) string {
	if i, ok := c.col[field]; ok && i < len(rec) {
		return strings.TrimSpace(rec[i])
	}
	return ""
}

func (c *csvReader) point(rec []string) (Point, error) {
	var p Point
	stamp := c.text(rec, "time")
	if d := c.text(rec, "date"); d != "" {
		stamp = d + " " + stamp
	}
	when, zoned, err := ParseTime(stamp, c.opt.Zone)
	if err != nil {
		return p, fmt.Errorf("column %q: %w", c.header["time"], err)
	}
	if !zoned {
		c.noZone++
	}
	p.Time = when
	values := map[string]*float64{"lat": &p.Lat, "lon": &p.Lon, "course": &p.CourseDeg, "speed": &p.SpeedMS, "depth": &p.DepthM,
		"error": &p.ErrorM}
	for _, k := range csvColumns {
		into, ok := values[k.field]
		if !ok {
			continue
		}
		s := c.text(rec, k.field)
		if s == "" {
			if k.field == "lat" || k.field == "lon" {
				return p, fmt.Errorf("column %q: empty", c.header[k.field])
			}
			if k.field != "error" {
				*into = math.NaN()
			}
			continue
		}
		if *into, err = units.Parse(s, k.dim, c.unit[k.field]); err != nil {
			return p, fmt.Errorf("column %q: %w", c.header[k.field], err)
		}
	}
	if s := c.text(rec, "hdop"); s != "" {
		if p.HDOP, err = number(s); err != nil {
			return p, fmt.Errorf("column %q: %w", c.header["hdop"], err)
		}
	}
	if p.SpeedMS < 0 {
		return p, fmt.Errorf("column %q: negative speed", c.header["speed"])
	}
	return p, nil
}

// ParseTime reads a time as people and loggers write it: ISO 8601 with or without an offset, with T or a blank, or Unix
// seconds or milliseconds. A time without an offset is in zone, and zoned is false. The result is UTC.
func ParseTime(s string, zone *time.Location) (t time.Time, zoned bool, err error) {
	s = strings.TrimSpace(s)
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02 15:04:05.999999999Z07:00", "2006-01-02 15:04:05.999999999 Z07:00",
		"2006-01-02T15:04Z07:00"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UTC(), true, nil
		}
	}
	for _, layout := range []string{"2006-01-02T15:04:05.999999999", "2006-01-02 15:04:05.999999999", "2006-01-02 15:04",
		"2006-01-02T15:04",
		"2006/01/02 15:04:05.999999999", "2006:01:02 15:04:05.999999999"} {
		if t, err := time.ParseInLocation(layout, s, zone); err == nil {
			return t.UTC(), false, nil
		}
	}
	if v, err := strconv.ParseFloat(s, 64); err == nil && v > 1e8 && v < 1e13 {
		if v >= 1e11 { // milliseconds: seconds reach this only in the year 5138
			v /= 1000
		}
		sec, frac := math.Modf(v)
		return time.Unix(int64(sec), int64(math.Round(frac*1e6))*1000).UTC(), true, nil
	}
	return time.Time{}, false, fmt.Errorf("time %q is not ISO 8601 (2006-01-02T15:04:05Z) nor Unix seconds", s)
}
