package survey

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/track"
	"shadowgap/internal/units"
)

// Bounds on a manifest, far beyond a million captures.
const (
	manifestMaxBytes  = 1 << 30
	manifestMaxRows   = 5_000_000
	manifestMaxErrors = 10
)

// Entry is one line of a manifest: what the user says about one capture. nil and "" mean nothing is said.
type Entry struct {
	Capture        string // as written, with forward slashes
	Line           int    // in the manifest
	RangeM         *float64
	Time           *time.Time // UTC, of the newest row
	TimeZoned      bool       // the time carried an offset
	SpeedMS        *float64   // over ground
	WaterTempC     *float64
	Salinity       *float64 // practical units
	SoundSpeedMS   *float64 // what the display assumed
	Lat, Lon       *float64 // decimal degrees, of the boat at the newest row; both or neither
	CourseDeg      *float64 // degrees true
	RowSpacingM    *float64
	RowRate        *float64 // rows a second
	DurationS      *float64 // that the panel's rows span
	Side           detect.Side
	NewestAtBottom *bool
	SlantCorrected *bool
	Extra          map[string]string // columns not known here, by header as written
}

// Manifest is a table of captures.
type Manifest struct {
	Name    string
	Unknown []string // headers of columns kept in Entry.Extra
	Notes   []string
	entries []Entry
	byPath  map[string]int
	byBase  map[string][]int
}

// column is a known header with how its cell is read.
type column struct {
	names []string
	dim   units.Dimension
	def   string // unit of a bare number; "" = the unit must be written
	check func(v float64) error
	into  func(e *Entry) **float64
}

func manifestColumns() []column {
	return []column{
		{[]string{"range", "range per side"}, units.Length, "", moreThanZero, func(e *Entry) **float64 { return &e.RangeM }},
		{[]string{"speed", "sog", "boat speed"}, units.Speed, "", between(0, 50), func(e *Entry) **float64 { return &e.SpeedMS }},
		{[]string{"water temperature", "water temp", "temperature"}, units.Temperature, "c", between(-2, 40),
			func(e *Entry) **float64 { return &e.WaterTempC }},
		{[]string{"salinity"}, units.Salinity, "psu", between(0, 40), func(e *Entry) **float64 { return &e.Salinity }},
		{[]string{"sound speed", "assumed sound speed"}, units.Speed, "m/s", between(1300, 1700),
			func(e *Entry) **float64 { return &e.SoundSpeedMS }},
		{[]string{"latitude", "lat"}, units.Angle, "deg", between(-90, 90), func(e *Entry) **float64 { return &e.Lat }},
		{[]string{"longitude", "lon", "lng"}, units.Angle, "deg", between(-180, 180), func(e *Entry) **float64 { return &e.Lon }},
		{[]string{"course", "cog"}, units.Angle, "deg", between(0, 360), func(e *Entry) **float64 { return &e.CourseDeg }},
		{[]string{"row spacing"}, units.Length, "", moreThanZero, func(e *Entry) **float64 { return &e.RowSpacingM }},
		{[]string{"row rate", "rows per second"}, units.Rate, "1/s", moreThanZero, func(e *Entry) **float64 { return &e.RowRate }},
		{[]string{"duration"}, units.Duration, "s", moreThanZero, func(e *Entry) **float64 { return &e.DurationS }},
	}
}

// wordColumns are known headers whose cells aren't quantities.
var wordColumns = [][]string{
	{"capture", "file", "filename", "file name", "image"}, {"time", "timestamp", "datetime", "date time", "utc"}, {"date"},
	{"side"}, {"newest"}, {"slant corrected"},
}

// ReadManifestFile reads a manifest. Times without an offset are in zone.
func ReadManifestFile(name string, zone *time.Location) (*Manifest, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("reading manifest: %w", err)
	}
	defer f.Close()
	return ReadManifest(f, name, zone)
}

// ReadManifest reads a CSV manifest (comma, semicolon or tab) with a header line. Only the capture column is needed. Known
// columns, in any order and case: capture, range, time, date, speed, water temperature, salinity, sound speed, latitude,
// longitude, course, side, newest (top or bottom), slant corrected (yes or no), row spacing, row rate, duration. Units stand in the header
// or in the value. Other columns are kept. Errors name the manifest, line and column; up to ten are told at once.
func ReadManifest(r io.Reader, name string, zone *time.Location) (*Manifest, error) {
	m := &Manifest{Name: name, byPath: map[string]int{}, byBase: map[string][]int{}}
	if err := m.read(r, zone); err != nil {
		return nil, fmt.Errorf("manifest %s: %w", name, err)
	}
	return m, nil
}

func (m *Manifest) read(r io.Reader, zone *time.Location) error {
	br := bufio.NewReader(io.LimitReader(r, manifestMaxBytes))
	first, err := br.Peek(4096)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	cr := csv.NewReader(br)
	cr.FieldsPerRecord = -1
	line, _, _ := strings.Cut(string(first), "\n")
	for _, sep := range ";\t" {
		if strings.Count(line, string(sep)) > strings.Count(line, string(cr.Comma)) {
			cr.Comma = sep
		}
	}
	head, err := cr.Read()
	if errors.Is(err, io.EOF) {
		return errors.New("the file is empty")
	} else if err != nil {
		return err
	}
	mr, err := newManifestReader(head, zone)
	if err != nil {
		return err
	}
	m.Unknown = mr.unknownNames()
	var problems []error
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(append(problems, err)...)
		}
		at, _ := cr.FieldPos(0)
		e, err := mr.entry(rec, at)
		if err == nil {
			err = m.add(e)
		}
		if err != nil {
			if problems = append(problems, fmt.Errorf("line %d: %w", at, err)); len(problems) == manifestMaxErrors {
				problems = append(problems, errors.New("(more may follow)"))
				break
			}
		}
	}
	if mr.unzoned > 0 {
		m.Notes = append(m.Notes, fmt.Sprintf("manifest %s: times without an offset from UTC, %d of them, were taken as %s", m.Name,
			mr.unzoned, zone))
	}
	return errors.Join(problems...)
}

func (m *Manifest) add(e Entry) error {
	key := path.Clean(e.Capture)
	if old, ok := m.byPath[key]; ok {
		return fmt.Errorf("capture %q stands on line %d already", e.Capture, m.entries[old].Line)
	}
	if len(m.entries) >= manifestMaxRows {
		return fmt.Errorf("more than %d lines", manifestMaxRows)
	}
	m.byPath[key] = len(m.entries)
	m.byBase[path.Base(key)] = append(m.byBase[path.Base(key)], len(m.entries))
	m.entries = append(m.entries, e)
	return nil
}

// Lookup finds what the manifest says of a capture, by its path relative to the input root with forward slashes, else by
// its file name when just one line has that and names no other folder. nil when nothing is said.
func (m *Manifest) Lookup(capture string) *Entry {
	if m == nil {
		return nil
	}
	key := path.Clean(strings.ReplaceAll(capture, `\`, "/"))
	if i, ok := m.byPath[key]; ok {
		return &m.entries[i]
	}
	same := m.byBase[path.Base(key)]
	if len(same) != 1 {
		return nil
	}
	e := &m.entries[same[0]]
	if written := path.Clean(e.Capture); strings.Contains(written, "/") && !strings.HasSuffix("/"+key, "/"+written) &&
		!strings.HasSuffix("/"+written, "/"+key) {
		return nil
	}
	return e
}

// Places says whether any line tells where the boat was.
func (m *Manifest) Places() bool {
	return m != nil && slices.ContainsFunc(m.entries, func(e Entry) bool { return e.Lat != nil })
}

// Entries returns every line in order.
func (m *Manifest) Entries() []Entry { return slices.Clone(m.entries) }

type manifestReader struct {
	zone    *time.Location
	head    []string
	words   map[string]int // first of wordColumns' names → column
	columns map[int]column
	unit    map[int]string
	unknown []int
	unzoned int
}

func newManifestReader(head []string, zone *time.Location) (*manifestReader, error) {
	mr := &manifestReader{zone: zone, head: slices.Clone(head), words: map[string]int{}, columns: map[int]column{}, unit: map[int]string{}}
	known := manifestColumns()
	taken := map[string]string{}
	for i, h := range head {
		field := mr.match(i, h, known)
		if field == "" {
			mr.unknown = append(mr.unknown, i)
			continue
		}
		if old, ok := taken[field]; ok {
			return nil, fmt.Errorf("header: columns %q and %q both mean %s", old, h, field)
		}
		taken[field] = h
		if c, ok := mr.columns[i]; ok && mr.unit[i] != "" && !c.dim.Known(mr.unit[i]) {
			return nil, fmt.Errorf("header: column %q: %q is not a unit of %s", h, mr.unit[i], c.dim)
		}
	}
	if _, ok := mr.words["capture"]; !ok {
		return nil, fmt.Errorf("header: no column named capture (found %s)", strings.Join(head, ", "))
	}
	return mr, nil
}

// match finds what column i means and returns that meaning's first name, "" for an unknown column.
func (mr *manifestReader) match(i int, header string, known []column) string {
	for _, names := range wordColumns {
		if name, _ := units.SplitHeader(header, units.Duration); slices.Contains(names, name) {
			mr.words[names[0]] = i
			return names[0]
		}
	}
	for _, c := range known {
		if name, unit := units.SplitHeader(header, c.dim); slices.Contains(c.names, name) {
			if unit == "" {
				unit = c.def
			}
			mr.columns[i], mr.unit[i] = c, unit
			return c.names[0]
		}
	}
	return ""
}

func (mr *manifestReader) unknownNames() []string {
	var names []string
	for _, i := range mr.unknown {
		names = append(names, mr.head[i])
	}
	return names
}

func (mr *manifestReader) word(rec []string, name string) (text, header string) {
	i, ok := mr.words[name]
	if !ok || i >= len(rec) {
		return "", ""
	}
	return strings.TrimSpace(rec[i]), mr.head[i]
}

func (mr *manifestReader) entry(rec []string, line int) (Entry, error) {
	e := Entry{Line: line, Extra: map[string]string{}}
	if len(rec) > len(mr.head) {
		return e, fmt.Errorf("%d values under %d headers", len(rec), len(mr.head))
	}
	capture, _ := mr.word(rec, "capture")
	if e.Capture = strings.ReplaceAll(capture, `\`, "/"); e.Capture == "" {
		return e, errors.New(`column "capture": empty`)
	}
	for i, c := range mr.columns {
		if i >= len(rec) || strings.TrimSpace(rec[i]) == "" {
			continue
		}
		v, err := units.Parse(rec[i], c.dim, mr.unit[i])
		if err == nil {
			err = c.check(v)
		}
		if err != nil {
			return e, fmt.Errorf("column %q: %w", mr.head[i], err)
		}
		*c.into(&e) = &v
	}
	if (e.Lat == nil) != (e.Lon == nil) {
		return e, errors.New("latitude and longitude: one is missing")
	}
	if err := mr.readWords(&e, rec); err != nil {
		return e, err
	}
	for _, i := range mr.unknown {
		if i < len(rec) && rec[i] != "" {
			e.Extra[mr.head[i]] = rec[i]
		}
	}
	return e, nil
}

func (mr *manifestReader) readWords(e *Entry, rec []string) error {
	stamp, header := mr.word(rec, "time")
	if day, h := mr.word(rec, "date"); day != "" {
		stamp, header = strings.TrimSpace(day+" "+stamp), h+" "+header
	}
	if stamp != "" {
		t, zoned, err := track.ParseTime(stamp, mr.zone)
		if err != nil {
			return fmt.Errorf("column %q: %w", strings.TrimSpace(header), err)
		}
		if !zoned {
			mr.unzoned++
		}
		e.Time, e.TimeZoned = &t, zoned
	}
	side, header := mr.word(rec, "side")
	switch strings.ToLower(side) {
	case "", "both":
	case "port", "left":
		e.Side = detect.Port
	case "starboard", "right":
		e.Side = detect.Starboard
	default:
		return fmt.Errorf("column %q: %q is neither port nor starboard", header, side)
	}
	newest, header := mr.word(rec, "newest")
	switch strings.ToLower(newest) {
	case "":
	case "top", "bottom":
		b := strings.EqualFold(newest, "bottom")
		e.NewestAtBottom = &b
	default:
		return fmt.Errorf("column %q: %q is neither top nor bottom", header, newest)
	}
	corrected, header := mr.word(rec, "slant corrected")
	switch strings.ToLower(corrected) {
	case "":
	case "yes", "no", "true", "false", "1", "0":
		b := slices.Contains([]string{"yes", "true", "1"}, strings.ToLower(corrected))
		e.SlantCorrected = &b
	default:
		return fmt.Errorf("column %q: %q is neither yes nor no", header, corrected)
	}
	return nil
}

func moreThanZero(v float64) error {
	if v <= 0 {
		return fmt.Errorf("%s: must be more than zero", strconv.FormatFloat(v, 'g', 6, 64))
	}
	return nil
}

func between(lo, hi float64) func(float64) error {
	return func(v float64) error {
		if v < lo || v > hi {
			return fmt.Errorf("%s is outside %g to %g", strconv.FormatFloat(v, 'g', 6, 64), lo, hi)
		}
		return nil
	}
}
