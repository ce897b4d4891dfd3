package eval

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"os"
	"path"
	"slices"
	"strings"

	"shadowgap/detect"
)

// errLabels marks every error about the content of a label file.
var errLabels = errors.New("labels can't be used")

// maxFaults bounds how many faults of one label file are listed: a file in the wrong shape has one per entry.
const maxFaults = 20

// Load reads the label file at file and checks everything that can be checked without the captures. An error names the file
// and each faulty entry, and nothing is returned then.
func Load(file string) (*Labels, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("reading labels: %w", err)
	}
	l, err := decodeLabels(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return l, nil
}

// decodeLabels reads the content of a label file and checks it as Load does. Unknown fields are faults: a misspelt "highlight"
// would otherwise turn a label into nothing.
func decodeLabels(data []byte) (*Labels, error) {
	var head struct {
		Schema *int `json:"schema"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return nil, fmt.Errorf("%w: %w", errLabels, placed(data, err))
	}
	if head.Schema == nil {
		return nil, fmt.Errorf("%w: no \"schema\" number: want %d", errLabels, SchemaVersion)
	}
	if *head.Schema != SchemaVersion {
		return nil, fmt.Errorf("%w: schema %d, this program reads schema %d", errLabels, *head.Schema, SchemaVersion)
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	var l Labels
	if err := dec.Decode(&l); err != nil {
		return nil, fmt.Errorf("%w: %w", errLabels, placed(data, err))
	}
	if err := l.Check(nil); err != nil {
		return nil, err
	}
	return &l, nil
}

// placed adds the line to a JSON error that knows its offset.
func placed(data []byte, err error) error {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	var at int64
	switch {
	case errors.As(err, &syntax):
		at = syntax.Offset
	case errors.As(err, &kind):
		at = kind.Offset
	default:
		return err
	}
	at = min(at, int64(len(data)))
	return fmt.Errorf("line %d: %w", 1+bytes.Count(data[:at], []byte{'\n'}), err)
}

// Check returns an error that names every faulty entry (the first 20). sizes holds the width and height of each known capture
// by its path; a labelled capture that is missing there is a fault, and 0 × 0 stands for a capture whose size is not known.
// With nil sizes neither existence nor edges are checked.
func (l *Labels) Check(sizes map[string]image.Point) error {
	var f faults
	if l.Schema != SchemaVersion {
		f.add("schema %d, this program reads schema %d", l.Schema, SchemaVersion)
	}
	first := map[string]int{}
	var unknown []int
	for i := range l.Captures {
		c := &l.Captures[i]
		f.where = fmt.Sprintf("capture %d (%q)", i+1, c.Capture)
		if j, again := first[c.Capture]; again {
			f.add("duplicate of capture %d", j+1)
		}
		first[c.Capture] = i
		var size image.Point
		if sizes != nil {
			var known bool
			if size, known = sizes[c.Capture]; !known {
				unknown = append(unknown, i)
			}
		}
		checkCapture(&f, c, size)
	}
	l.addUnknown(&f, unknown)
	return f.err()
}

// addUnknown adds the captures that a run has no file of, by their places: many in one line, since labels of another run know hundreds
// and what else is wrong would go under.
func (l *Labels) addUnknown(f *faults, unknown []int) {
	const named = 3
	name := func(i int) string { return fmt.Sprintf("capture %d (%q)", i+1, l.Captures[i].Capture) }
	f.where = ""
	if len(unknown) <= named {
		for _, i := range unknown {
			f.add("%s: unknown capture: the run has no such file", name(i))
		}
		return
	}
	first := make([]string, named)
	for i := range first {
		first[i] = name(unknown[i])
	}
	f.add("%d of %d captures are unknown, the run has no such files: %s and %d more", len(unknown), len(l.Captures), strings.Join(first, ", "),
		len(unknown)-named)
}

func checkCapture(f *faults, c *CaptureLabel, size image.Point) {
	if c.Capture == "" || path.IsAbs(c.Capture) || path.Clean(c.Capture) != c.Capture || c.Capture == ".." ||
		strings.HasPrefix(c.Capture, "../") || strings.Contains(c.Capture, `\`) {
		f.add("capture must be a plain path below the labels' folder with forward slashes")
	}
	if c.By != "hand" && c.By != "scene" {
		f.add("by is %q, want \"hand\" or \"scene\"", c.By)
	}
	if c.RangeM < 0 {
		f.add("range_m %v is negative", c.RangeM)
	}
	if c.Panel != nil {
		checkBox(f, "panel", *c.Panel, size)
	}
	checkSide(f, "", c.Side)
	if n := len(c.Quad); n != 0 && n != 4 {
		f.add("quad of %d corners, want 4", n)
	}
	checkProfile(f, "nadir", c.Nadir, size)
	checkProfile(f, "first_return port", c.FirstReturn.Port, size)
	checkProfile(f, "first_return starboard", c.FirstReturn.Starboard, size)
	checkStretches(f, "hump", c.Humps, size)
	checkStretches(f, "lost rows", c.LostRows, size)
	checkAreas(f, c, size)
	for i := range c.Marks {
		m := &c.Marks[i]
		what := fmt.Sprintf("mark %d", i+1)
		checkMark(f, what, m, size)
		for j := range i {
			if same(m.Highlight, c.Marks[j].Highlight) && same(m.Shadow, c.Marks[j].Shadow) {
				f.add("%s: duplicate of mark %d", what, j+1)
			}
		}
	}
}

func checkStretches(f *faults, what string, rows [][2]int, size image.Point) {
	for i, r := range rows {
		if r[0] < 0 || r[1] <= r[0] || (size.Y > 0 && r[1] > size.Y) {
			f.add("%s %d: rows %v are not a stretch of the picture", what, i+1, r)
		}
	}
}

// checkAreas looks at what is labelled beside the marks.
func checkAreas(f *faults, c *CaptureLabel, size image.Point) {
	for i, r := range c.Regions {
		if r.Kind == "" {
			f.add("region %d: no kind", i+1)
		}
		checkBox(f, fmt.Sprintf("region %d", i+1), r.Box, size)
	}
	for i, n := range c.Furniture {
		if n.Kind == "" {
			f.add("furniture %d: no kind", i+1)
		}
		checkBox(f, fmt.Sprintf("furniture %d", i+1), n.Box, size)
	}
	for i, p := range c.Panels {
		what := fmt.Sprintf("further panel %d", i+1)
		checkBox(f, what, p.Box, size)
		if p.Own != nil {
			checkSide(f, what+": ", p.Own.Side)
			checkProfile(f, what+": nadir", p.Own.Nadir, size)
			checkProfile(f, what+": first_return port", p.Own.FirstReturn.Port, size)
			checkProfile(f, what+": first_return starboard", p.Own.FirstReturn.Starboard, size)
		}
	}
}

func checkSide(f *faults, before string, s detect.Side) {
	if s != "" && s != detect.Port && s != detect.Starboard {
		f.add("%sunknown side %q", before, s)
	}
}

func checkMark(f *faults, what string, m *MarkLabel, size image.Point) {
	if !slices.Contains(detect.Classes[:], m.Class) {
		f.add("%s: unknown class %q", what, m.Class)
	}
	checkSide(f, what+": ", m.Side)
	if m.Highlight == nil && m.Shadow == nil {
		f.add("%s: neither highlight nor shadow", what)
	}
	if m.Highlight != nil {
		checkBox(f, what+": highlight", *m.Highlight, size)
	}
	if m.Shadow != nil {
		checkBox(f, what+": shadow", *m.Shadow, size)
	}
	for name, v := range map[string]*float64{"height_m": m.HeightM, "slant_m": m.SlantM} {
		if v != nil && *v < 0 {
			f.add("%s: %s %v is negative", what, name, *v)
		}
	}
}

func checkBox(f *faults, what string, b detect.Box, size image.Point) {
	switch {
	case b.W <= 0 || b.H <= 0:
		f.add("%s box is %d × %d pixels", what, b.W, b.H)
	case b.X < 0 || b.Y < 0 || (size.X > 0 && (b.X > size.X-b.W || b.Y > size.Y-b.H)):
		f.add("%s box %v lies outside the picture%s", what, b, sized(size))
	}
}

func checkProfile(f *faults, what string, p []detect.RowX, size image.Point) {
	for i, q := range p {
		switch {
		case i > 0 && q[0] <= p[i-1][0]:
			f.add("%s: row %v does not come after row %v", what, q[0], p[i-1][0])
			return
		case q[0] < -0.5 || q[1] < -0.5 || (size.X > 0 && (q[0] > float64(size.Y) || q[1] > float64(size.X))):
			f.add("%s: point %v lies outside the picture%s", what, q, sized(size))
			return
		}
	}
}

func sized(size image.Point) string {
	if size == (image.Point{}) {
		return ""
	}
	return fmt.Sprintf(" of %d × %d", size.X, size.Y)
}

func same(a, b *detect.Box) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}

// faults gathers what is wrong with a label file.
type faults struct {
	where string
	list  []error
	more  int
}

func (f *faults) add(format string, args ...any) {
	if len(f.list) == maxFaults {
		f.more++
		return
	}
	err := fmt.Errorf(format, args...)
	if f.where != "" {
		err = fmt.Errorf("%s: %w", f.where, err)
	}
	f.list = append(f.list, err)
}

func (f *faults) err() error {
	if len(f.list) == 0 {
		return nil
	}
	if f.more > 0 {
		f.list = append(f.list, fmt.Errorf("and %d more", f.more))
	}
	return fmt.Errorf("%w: %w", errLabels, errors.Join(f.list...))
}
