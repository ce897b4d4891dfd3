package export

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/decided"
	"shadowgap/internal/units"
	"shadowgap/internal/words"
)

// markColumn is one or more neighbouring columns of marks.csv.
type markColumn struct {
	names []string
	cells func(*decided.Mark) []string
}

// MarksCSV writes marks.csv (RFC 4180): a header, then one mark a line. Unknown values are empty cells. A path or
// reason that a spreadsheet would take for a formula is defused.
func MarksCSV(w io.Writer, marks Marks, unit units.Lengths) error {
	cols := markColumns(unit)
	out := csv.NewWriter(w)
	out.UseCRLF = true
	var header []string
	for _, c := range cols {
		header = append(header, c.names...)
	}
	if err := out.Write(header); err != nil {
		return err
	}
	line := make([]string, 0, len(header))
	for m, err := range marks {
		if err != nil {
			return err
		}
		line = line[:0]
		for _, c := range cols {
			line = append(line, c.cells(m)...)
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// text is a column of words or whole numbers.
func text(name string, cell func(*decided.Mark) string) markColumn {
	return markColumn{[]string{name}, func(m *decided.Mark) []string { return []string{cell(m)} }}
}

// orEmpty is a cell of what may be missing.
func orEmpty(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// measured are the columns of a value and of its error, both times k.
func measured(name, sdName string, k float64, of func(*decided.Mark) *features.Measured) markColumn {
	return markColumn{[]string{name, sdName}, func(m *decided.Mark) []string {
		v := of(m)
		if v == nil {
			return []string{"", ""}
		}
		return []string{number(v.Value * k), number(v.SD * k)}
	}}
}

func pixels(name string, of func(*decided.Mark) *features.Measured) markColumn {
	return measured(name+"_px", name+"_px_sd", 1, of)
}

func box(name string, of func(*decided.Mark) *detect.Box) markColumn {
	return markColumn{[]string{name + "_x", name + "_y", name + "_w", name + "_h"}, func(m *decided.Mark) []string {
		b := of(m)
		if b == nil {
			return []string{"", "", "", ""}
		}
		return []string{strconv.Itoa(b.X), strconv.Itoa(b.Y), strconv.Itoa(b.W), strconv.Itoa(b.H)}
	}}
}

func position(unit units.Lengths) markColumn {
	return markColumn{[]string{"lat", "lon", "position_error_" + unit.Symbol()}, func(m *decided.Mark) []string {
		if m.Position == nil {
			return []string{"", "", ""}
		}
		return []string{degrees(m.Position.Lat), degrees(m.Position.Lon), number(unit.FromMetres(m.Position.ErrorM))}
	}}
}

func markColumns(unit units.Lengths) []markColumn {
	return slices.Concat(whatColumns(), whereColumns(), sizeColumns(unit), toldColumns(unit))
}

// whatColumns name a mark and say what it is.
func whatColumns() []markColumn {
	cols := []markColumn{
		text("capture", func(m *decided.Mark) string { return defusePath(m.Capture) }),
		text("mark", func(m *decided.Mark) string { return m.Mark }),
		text("class", func(m *decided.Mark) string { return string(m.Class) }),
	}
	for _, c := range detect.Classes {
		cols = append(cols, text("odds_"+strings.ReplaceAll(string(c), "-", "_"),
			func(m *decided.Mark) string { return number(m.Odds[c]) }))
	}
	return cols
}

// whereColumns say where in its capture a mark is.
func whereColumns() []markColumn {
	return []markColumn{
		text("side", func(m *decided.Mark) string { return string(m.Side) }),
		text("panel", func(m *decided.Mark) string { return strconv.Itoa(m.Panel) }),
		box("box", func(m *decided.Mark) *detect.Box { return &m.Box }),
		box("highlight", func(m *decided.Mark) *detect.Box { return m.Highlight }),
		box("shadow", func(m *decided.Mark) *detect.Box { return m.Shadow }),
		text("row_first", func(m *decided.Mark) string { return strconv.Itoa(m.Rows[0]) }),
		text("row_end", func(m *decided.Mark) string { return strconv.Itoa(m.Rows[1]) }),
	}
}

// sizeColumns hold what is measured.
func sizeColumns(unit units.Lengths) []markColumn {
	length := func(name string, of func(*decided.Mark) *features.Measured) markColumn {
		name += "_" + unit.Symbol()
		return measured(name, name+"_sd", unit.FromMetres(1), of)
	}
	return []markColumn{
		pixels("slant", func(m *decided.Mark) *features.Measured { return &m.SlantPx }),
		pixels("gap", func(m *decided.Mark) *features.Measured { return m.GapPx }),
		pixels("shadow", func(m *decided.Mark) *features.Measured { return m.ShadowPx }),
		length("slant", func(m *decided.Mark) *features.Measured { return m.SlantM }),
		length("ground", func(m *decided.Mark) *features.Measured { return m.GroundM }),
		length("altitude", func(m *decided.Mark) *features.Measured { return m.AltitudeM }),
		length("gap", func(m *decided.Mark) *features.Measured { return m.GapM }),
		length("shadow", func(m *decided.Mark) *features.Measured { return m.ShadowM }),
		length("height", func(m *decided.Mark) *features.Measured { return m.HeightM }),
		length("off_bottom", func(m *decided.Mark) *features.Measured { return m.OffBottomM }),
		length("length", func(m *decided.Mark) *features.Measured { return m.LengthM }),
		measured("axis_deg", "axis_sd_deg", 1, func(m *decided.Mark) *features.Measured { return m.AxisDeg }),
	}
}

// toldColumns hold where on the map a mark is, what belongs to it, what a person decided, and what is told of it.
func toldColumns(unit units.Lengths) []markColumn {
	return []markColumn{
		position(unit),
		text("on_hump", func(m *decided.Mark) string { return strconv.FormatBool(m.OnHump) }),
		text("hold", func(m *decided.Mark) string { return orEmpty(m.Hold) }),
		text("sighting", func(m *decided.Mark) string { return orEmpty(m.Sighting) }),
		text("decision", func(m *decided.Mark) string { return decision(m) }),
		text("name", func(m *decided.Mark) string { return defuse(m.Name) }),
		text("note", func(m *decided.Mark) string { return defuse(m.Note) }),
		text("summary", func(m *decided.Mark) string { return words.Mark(told(m), unit) }),
		text("contrast", func(m *decided.Mark) string { return number(m.Contrast) }),
		text("reasons", func(m *decided.Mark) string { return defuse(strings.Join(words.Why(&m.MarkRecord, unit), "; ")) }),
		text("sha256", func(m *decided.Mark) string { return m.SHA256 }),
	}
}

// CSV writes points as a table (RFC 4180): a header, then one point a line, its facts and its position. Unknown values are empty
// cells, and text that a spreadsheet would take for a formula is defused. columns are those of such points; see Columns.
func CSV(w io.Writer, columns []string, points Points) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(append(slices.Clone(columns), "lat", "lon")); err != nil {
		return err
	}
	for p, err := range points {
		if err != nil {
			return err
		}
		line := make([]string, 0, len(p.facts)+2)
		for _, f := range p.facts {
			text := cell(f.value)
			if _, is := f.value.(string); is {
				text = defuse(text)
			}
			line = append(line, text)
		}
		lat, lon := "", ""
		if p.position != nil {
			lat, lon = degrees(p.position.Lat), degrees(p.position.Lon)
		}
		if err := out.Write(append(line, lat, lon)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// Columns names the facts of points, by the first of them.
func Columns(points Points) []string {
	var out []string
	for p, err := range points {
		if err == nil {
			for _, f := range p.facts {
				out = append(out, f.name)
			}
		}
		break
	}
	return out
}

// degrees writes a coordinate to seven decimals, about a centimetre.
func degrees(v float64) string { return strconv.FormatFloat(v, 'f', 7, 64) }

// cell writes a fact's value as text, "" for an unknown one.
func cell(value any) string {
	switch v := value.(type) {
	case nil:
		return ""
	case string:
		return v
	case float64:
		return number(v)
	case time.Time:
		return v.UTC().Format(time.RFC3339Nano)
	}
	return fmt.Sprint(value)
}

// CapturesCSV writes captures.csv (RFC 4180): a header, then one capture a line. picture names a capture's annotated picture.
func CapturesCSV(w io.Writer, captures Captures, picture func(*detect.CaptureRecord) string) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	header := []string{"capture", "status", "why", "interest", "width", "height", "panels", "humps", "holds"}
	for _, c := range detect.Classes {
		header = append(header, strings.ReplaceAll(string(c), "-", "_"))
	}
	if err := out.Write(append(header, "picture", "sha256")); err != nil {
		return err
	}
	for c, err := range captures {
		if err != nil {
			return err
		}
		why := ""
		if c.Why != nil {
			why = *c.Why
		}
		humps := 0
		for _, p := range c.Panels {
			humps += len(p.Humps)
		}
		line := []string{
			defusePath(c.Capture), string(c.Status), defuse(why), number(c.Interest), strconv.Itoa(c.Width), strconv.Itoa(c.Height),
			strconv.Itoa(len(c.Panels)), strconv.Itoa(humps), strconv.Itoa(len(c.Holds)),
		}
		for _, class := range detect.Classes {
			n, known := c.Counts[class]
			if class == detect.Clutter && !known {
				line = append(line, "") // left out of the run's lists: no count is not a count of none
				continue
			}
			line = append(line, strconv.Itoa(n))
		}
		if err := out.Write(append(line, picture(c), c.SHA256)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// number writes up to four decimals, as Measured does in JSON.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 4, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func looksLikeFormula(s string) bool { return s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) }

// defusePath keeps the path a path: "./=x.png" is the same file as "=x.png".
func defusePath(s string) string {
	if looksLikeFormula(s) {
		return "./" + s
	}
	return s
}

func defuse(s string) string {
	if looksLikeFormula(s) {
		return "'" + s
	}
	return s
}
