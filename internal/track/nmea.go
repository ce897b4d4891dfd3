package track

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	nmea "github.com/adrianmo/go-nmea"
)

// ReadNMEA reads an NMEA 0183 log: RMC for date, time, position, course and speed; GGA for position and dilution of
// precision; DPT and DBT for depth. Sentences without a matching checksum are left out and counted in the notes, so are
// fixes the receiver marked void. Text before the $ of a line (a logger's own stamp) is skipped. Two-digit years 80 to 99
// are 1980 to 1999, others 2000 to 2079. GGA sentences carry no date: theirs is the one that puts them nearest to the RMC
// sentence before, across midnight too.
func ReadNMEA(r io.Reader, opt Options) (*Track, error) {
	opt = opt.withDefaults()
	s := nmeaReader{opt: opt, depth: math.NaN()}
	lines := bufio.NewScanner(&capped{r: r, left: opt.MaxBytes})
	lines.Buffer(make([]byte, 0, 4096), 64<<10)
	for lines.Scan() {
		if err := s.line(lines.Bytes()); err != nil {
			return nil, fmt.Errorf("NMEA: %w", err)
		}
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return nil, fmt.Errorf("NMEA: a line of more than 64 KiB: %w", ErrTooBig)
	} else if err != nil {
		return nil, fmt.Errorf("NMEA: %w", err)
	}
	s.flush()
	if len(s.points) == 0 {
		return nil, fmt.Errorf("NMEA: no dated fix in %d sentences (%d with a wrong or no checksum, %d void, %d malformed, %d before any date)",
			s.sentences, s.badSum, s.void, s.malformed, s.undated)
	}
	t, err := New([][]Point{s.points}, opt)
	if err != nil {
		return nil, fmt.Errorf("NMEA: %w", err)
	}
	for _, n := range []struct {
		count int
		what  string
	}{
		{s.badSum, "sentences with a wrong or no checksum were left out"},
		{s.void, "fixes the receiver marked void were left out"},
		{s.malformed, "malformed sentences were left out"},
		{s.undated, "fixes before the first date were left out"},
	} {
		if n.count > 0 {
			t.notes = append(t.notes, fmt.Sprintf("%d %s", n.count, n.what))
		}
	}
	return t, nil
}

type nmeaReader struct {
	opt                                         Options
	points                                      []Point
	epoch                                       *Point    // the fix being put together from sentences of one time
	last                                        time.Time // of the latest dated sentence
	depth                                       float64
	sentences, badSum, void, malformed, undated int
}

func (s *nmeaReader) line(b []byte) error {
	i := bytes.IndexByte(b, '$')
	if i < 0 {
		return nil
	}
	raw := string(bytes.TrimSpace(b[i:]))
	kind, fields := sentenceKind(raw)
	switch kind {
	case "RMC", "GGA", "DPT", "DBT":
	default:
		return nil
	}
	s.sentences++
	body, sum, ok := strings.Cut(raw[1:], "*")
	if !ok || !strings.EqualFold(nmea.Checksum(body), sum) {
		s.badSum++
		return nil
	}
	if kind == "RMC" && len(fields) > 1 && fields[1] != "A" || kind == "GGA" && len(fields) > 5 && (fields[5] == "0" || fields[5] == "") {
		s.void++
		return nil
	}
	parsed, err := parseSentence(raw)
	if err != nil {
		s.malformed++
		return nil //nolint:nilerr // a sentence that can't be parsed is counted and told, the rest of the log is still good
	}
	switch m := parsed.(type) {
	case nmea.RMC:
		return s.rmc(m)
	case nmea.GGA:
		return s.gga(m)
	case nmea.DPT:
		s.setDepth(m.Depth, m.Fields[0])
	case nmea.DBT:
		s.setDepth(m.DepthMeters, m.Fields[2])
	}
	return nil
}

// parseSentence hands a sentence to the library. The parser keeps state, so each call has its own.
func parseSentence(raw string) (nmea.Sentence, error) {
	var p nmea.SentenceParser
	return p.Parse(raw)
}

// sentenceKind returns the three letters of a sentence's type and its fields.
func sentenceKind(raw string) (string, []string) {
	body, _, _ := strings.Cut(raw, "*")
	f := strings.Split(body, ",")
	if len(f[0]) != 6 || len(f) > 64 {
		return "", nil
	}
	return f[0][3:], f[1:]
}

func (s *nmeaReader) setDepth(v float64, field string) {
	if field == "" || v < 0 {
		return
	}
	s.depth = v
	if s.epoch != nil {
		s.epoch.DepthM = v
	}
}

func (s *nmeaReader) rmc(m nmea.RMC) error {
	if !validClock(m.Time) || !m.Date.Valid || m.Fields[2] == "" || m.Fields[4] == "" {
		s.malformed++
		return nil
	}
	year := 2000 + m.Date.YY
	if m.Date.YY >= 80 {
		year = 1900 + m.Date.YY
	}
	day := time.Date(year, time.Month(m.Date.MM), m.Date.DD, 0, 0, 0, 0, time.UTC)
	if day.Day() != m.Date.DD || int(day.Month()) != m.Date.MM {
		s.malformed++ // the 31st of a short month
		return nil
	}
	p, err := s.at(day.Add(clock(m.Time)))
	if err != nil {
		return err
	}
	if math.IsNaN(p.Lat) { // a GGA of the same epoch has more digits
		p.Lat, p.Lon = m.Latitude, m.Longitude
	}
	if m.Fields[6] != "" {
		p.SpeedMS = m.Speed * 1852 / 3600
	}
	if m.Fields[7] != "" {
		p.CourseDeg = m.Course
	}
	return nil
}

func (s *nmeaReader) gga(m nmea.GGA) error {
	if !validClock(m.Time) || m.Fields[1] == "" || m.Fields[3] == "" {
		s.malformed++
		return nil
	}
	if s.last.IsZero() {
		s.undated++
		return nil
	}
	p, err := s.at(nearestDay(s.last, clock(m.Time)))
	if err != nil {
		return err
	}
	p.Lat, p.Lon = m.Latitude, m.Longitude
	if m.Fields[7] != "" {
		p.HDOP = m.HDOP
	}
	return nil
}

// at returns the fix being put together for this time, starting a new one when the time has moved on.
func (s *nmeaReader) at(when time.Time) (*Point, error) {
	s.last = when
	if s.epoch != nil && s.epoch.Time.Equal(when) {
		return s.epoch, nil
	}
	s.flush()
	if len(s.points) >= s.opt.MaxPoints {
		return nil, fmt.Errorf("more than %d fixes: %w", s.opt.MaxPoints, ErrTooBig)
	}
	s.epoch = &Point{Time: when, Lat: math.NaN(), Lon: math.NaN(), CourseDeg: math.NaN(), SpeedMS: math.NaN(), DepthM: s.depth}
	s.depth = math.NaN()
	return s.epoch, nil
}

func (s *nmeaReader) flush() {
	if s.epoch != nil && !math.IsNaN(s.epoch.Lat) {
		s.points = append(s.points, *s.epoch)
	}
	s.epoch = nil
}

// validClock refuses what the library lets through: 12:61:00. Second 60 is a leap second.
func validClock(t nmea.Time) bool { return t.Valid && t.Hour < 24 && t.Minute < 60 && t.Second <= 60 }

func clock(t nmea.Time) time.Duration {
	return time.Duration(t.Hour)*time.Hour + time.Duration(t.Minute)*time.Minute + time.Duration(t.Second)*time.Second +
		time.Duration(t.Millisecond)*time.Millisecond
}

// nearestDay puts a time of day on the day that brings it closest to ref.
func nearestDay(ref time.Time, tod time.Duration) time.Time {
	t := ref.Truncate(24 * time.Hour).Add(tod)
	switch d := t.Sub(ref); {
	case d > 12*time.Hour:
		return t.AddDate(0, 0, -1)
	case d < -12*time.Hour:
		return t.AddDate(0, 0, 1)
	}
	return t
}
