package eval

import (
	"fmt"
	"io"
	"strings"

	"shadowgap/detect"
)

// SummaryLine is one score cut down to what fits a line of a table.
type SummaryLine struct {
	Name        string
	Captures    int
	Recall      Rate
	Precision   Rate     // N = 0: not measured
	False       Estimate // false marks a capture
	RightClass  Rate     // of those found
	Apart       Rate     // suspended told from bottom and bottom from suspended
	FirstReturn ProfileError
}

// Summary cuts a score down to a line.
func Summary(name string, r *Results) SummaryLine {
	return SummaryLine{name, r.Captures.Labelled, r.Detection.Recall, r.Detection.Precision, r.Detection.FalsePerCapture, r.RightClass,
		r.BottomOrNot.Both, r.FirstReturn}
}

// TileSummary cuts a score of tiles down to a line for each half. Of other marks in a tile nobody knows whether they are false, so
// they are given without a precision.
func TileSummary(name string, r TileResult) []SummaryLine {
	var out []SummaryLine
	for _, h := range []struct {
		name string
		s    TileScore
	}{{"first half", r.First}, {"second half", r.Second}} {
		out = append(out, SummaryLine{Name: name + ", " + h.name, Captures: h.s.Tiles, Recall: h.s.Found, False: h.s.Others,
			RightClass: h.s.Class})
	}
	return out
}

// TileLabels turns tiles into labels: one thing on the bottom in each.
func TileLabels(tiles []Tile) Labels {
	out := Labels{Schema: SchemaVersion}
	for _, t := range tiles {
		box := t.Mask
		out.Captures = append(out.Captures, CaptureLabel{Capture: t.Name, By: "hand", Humps: [][2]int{},
			Marks: []MarkLabel{{Class: detect.BottomObject, Highlight: &box}}})
	}
	return out
}

// WriteSummary writes lines of a Markdown table, below its head when that is wanted.
func WriteSummary(w io.Writer, head bool, lines ...SummaryLine) error {
	var b strings.Builder
	if head {
		b.WriteString("| | captures | recall | precision | false or other marks a capture | right class | " +
			"on the bottom or hanging, told right | first return, px: median, 95th percentile |\n")
		b.WriteString("|---|---|---|---|---|---|---|---|\n")
	}
	for _, l := range lines {
		edge := none
		if l.FirstReturn.Rows > 0 {
			edge = fmt.Sprintf("%.2f, %.2f", l.FirstReturn.Median.Value, l.FirstReturn.P95.Value)
		}
		name := strings.NewReplacer("|", `\|`, "\n", " ", "\r", " ").Replace(l.Name)
		fmt.Fprintf(&b, "| %s | %d | %s | %s | %s | %s | %s | %s |\n", name, l.Captures, rateText(l.Recall), rateText(l.Precision),
			estimateText(l.False, 2), rateText(l.RightClass), rateText(l.Apart), edge)
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("writing summary: %w", err)
	}
	return nil
}
