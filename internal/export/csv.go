package export

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"shadowgap/detect"
	"shadowgap/features"
)

// Length is the unit that lengths are written in. The zero value is metres.
type Length struct {
	Suffix   string  // of the column's name, "m" or "ft"
	PerMetre float64 // this many units in one metre
}

// Metres writes lengths as they are measured.
func Metres() Length { return Length{"m", 1} }

// Feet is the international foot, exactly 0.3048 m.
func Feet() Length { return Length{"ft", 1 / 0.3048} }

func (l Length) orMetres() Length {
	if l.PerMetre == 0 {
		return Metres()
	}
	return l
}

// markColumn is one or more neighbouring columns of marks.csv.
type markColumn struct {
	names []string
	cells func(*detect.MarkRecord) []string
}

// MarksCSV writes marks.csv (RFC 4180): a header, then one mark a line. Unknown values are empty cells. A path or
// reason that a spreadsheet would take for a formula is defused.
func MarksCSV(w io.Writer, marks Marks, unit Length) error {
	cols := markColumns(unit.orMetres())
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

func markColumns(unit Length) []markColumn {
	text := func(name string, cell func(*detect.MarkRecord) string) markColumn {
		return markColumn{[]string{name}, func(m *detect.MarkRecord) []string { return []string{cell(m)} }}
	}
	measured := func(name string, k float64, of func(*detect.MarkRecord) *features.Measured) markColumn {
		return markColumn{[]string{name, name + "_sd"}, func(m *detect.MarkRecord) []string {
			v := of(m)
			if v == nil {
				return []string{"", ""}
			}
			return []string{number(v.Value * k), number(v.SD * k)}
		}}
	}
	pixels := func(name string, of func(*detect.MarkRecord) *features.Measured) markColumn {
		return measured(name+"_px", 1, of)
	}
	length := func(name string, of func(*detect.MarkRecord) *features.Measured) markColumn {
		return measured(name+"_"+unit.Suffix, unit.PerMetre, of)
	}
	box := func(name string, of func(*detect.MarkRecord) *detect.Box) markColumn {
		return markColumn{[]string{name + "_x", name + "_y", name + "_w", name + "_h"}, func(m *detect.MarkRecord) []string {
			b := of(m)
			if b == nil {
				return []string{"", "", "", ""}
			}
			return []string{strconv.Itoa(b.X), strconv.Itoa(b.Y), strconv.Itoa(b.W), strconv.Itoa(b.H)}
		}}
	}

	cols := []markColumn{
		text("capture", func(m *detect.MarkRecord) string { return defusePath(m.Capture) }),
		text("mark", func(m *detect.MarkRecord) string { return m.Mark }),
		text("class", func(m *detect.MarkRecord) string { return string(m.Class) }),
	}
	for _, c := range detect.Classes {
		cols = append(cols, text("odds_"+strings.ReplaceAll(string(c), "-", "_"), func(m *detect.MarkRecord) string { return number(m.Odds[c]) }))
	}
	return append(cols,
		text("side", func(m *detect.MarkRecord) string { return string(m.Side) }),
		text("panel", func(m *detect.MarkRecord) string { return strconv.Itoa(m.Panel) }),
		box("box", func(m *detect.MarkRecord) *detect.Box { return &m.Box }),
		box("highlight", func(m *detect.MarkRecord) *detect.Box { return m.Highlight }),
		box("shadow", func(m *detect.MarkRecord) *detect.Box { return m.Shadow }),
		text("row_first", func(m *detect.MarkRecord) string { return strconv.Itoa(m.Rows[0]) }),
		text("row_end", func(m *detect.MarkRecord) string { return strconv.Itoa(m.Rows[1]) }),
		pixels("slant", func(m *detect.MarkRecord) *features.Measured { return &m.SlantPx }),
		pixels("gap", func(m *detect.MarkRecord) *features.Measured { return m.GapPx }),
		pixels("shadow", func(m *detect.MarkRecord) *features.Measured { return m.ShadowPx }),
		length("slant", func(m *detect.MarkRecord) *features.Measured { return m.SlantM }),
		length("ground", func(m *detect.MarkRecord) *features.Measured { return m.GroundM }),
		length("altitude", func(m *detect.MarkRecord) *features.Measured { return m.AltitudeM }),
		length("gap", func(m *detect.MarkRecord) *features.Measured { return m.GapM }),
		length("shadow", func(m *detect.MarkRecord) *features.Measured { return m.ShadowM }),
		length("height", func(m *detect.MarkRecord) *features.Measured { return m.HeightM }),
		length("off_bottom", func(m *detect.MarkRecord) *features.Measured { return m.OffBottomM }),
		length("length", func(m *detect.MarkRecord) *features.Measured { return m.LengthM }),
		markColumn{[]string{"axis_deg", "axis_sd_deg"}, func(m *detect.MarkRecord) []string {
			if m.AxisDeg == nil {
				return []string{"", ""}
			}
			return []string{number(m.AxisDeg.Value), number(m.AxisDeg.SD)}
		}},
		markColumn{[]string{"lat", "lon", "position_error_" + unit.Suffix}, func(m *detect.MarkRecord) []string {
			if m.Position == nil {
				return []string{"", "", ""}
			}
			// Seven decimals are about a centimetre.
			return []string{
				strconv.FormatFloat(m.Position.Lat, 'f', 7, 64), strconv.FormatFloat(m.Position.Lon, 'f', 7, 64),
				number(m.Position.ErrorM * unit.PerMetre),
			}
		}},
		text("on_hump", func(m *detect.MarkRecord) string { return strconv.FormatBool(m.OnHump) }),
		text("hold", func(m *detect.MarkRecord) string {
			if m.Hold == nil {
				return ""
			}
			return *m.Hold
		}),
		text("contrast", func(m *detect.MarkRecord) string { return number(m.Contrast) }),
		text("reasons", func(m *detect.MarkRecord) string { return defuse(strings.Join(m.Reasons, "; ")) }),
		text("sha256", func(m *detect.MarkRecord) string { return m.SHA256 }),
	)
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
			line = append(line, strconv.Itoa(c.Counts[class]))
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
