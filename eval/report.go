package eval

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"shadowgap/detect"
)

// WriteText writes the results as plain tables for a terminal.
func WriteText(w io.Writer, r *Results) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%d labelled captures (%d without a panel found, %d unreadable); %d captures without labels are not scored\n",
		r.Captures.Labelled, r.Captures.NoPanel, r.Captures.Unreadable, r.Captures.Unlabelled)
	if n := r.Captures.Lacking; n > 0 {
		fmt.Fprintf(&b, "%d labelled captures are not in the run and are not scored\n", n)
	}
	fmt.Fprintf(&b, "%d labels, %d count (left out: %d too small, %d too faint, %d unsure, %d clutter)\n",
		r.Labels.Total, r.Labels.Counted, r.Labels.TooSmall, r.Labels.TooFaint, r.Labels.Unsure, r.Labels.Clutter)
	for _, part := range []func(*bytes.Buffer, *Results){
		foundText, classesText, confusionText, chancesText, readingText, profilesText, valuesText, worstText, breakdownsText,
	} {
		part(&b, r)
	}
	fmt.Fprintf(&b, "\nIntervals are 95 %%: Wilson for rates, bootstrap over captures for the rest.\n%s\n",
		strings.Join(detect.Cautions(), " "))
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing score table: %w", err)
	}
	return nil
}

func foundText(b *bytes.Buffer, r *Results) {
	d := r.Detection
	t := section(b, "Found or not")
	row(t, "recall", rateText(d.Recall))
	row(t, "precision", rateText(d.Precision))
	row(t, "F1", estimateText(d.F1, 3))
	row(t, "false marks a capture", estimateText(d.FalsePerCapture, 2))
	row(t, "marks a capture inside labelled regions, counted apart", estimateText(d.InRegionPerCapture, 2))
	row(t, fmt.Sprintf("marks a capture where nothing is (%d captures)", d.EmptyCaptures), estimateText(d.MarksPerEmpty, 2))
	for _, p := range r.FROC.At {
		row(t, fmt.Sprintf("recall at up to %g false marks a capture", p.FalsePerCapture), rateText(p.Recall))
	}
	t.Flush()
}

func classesText(b *bytes.Buffer, r *Results) {
	t := section(b, "Classes")
	row(t, "class", "labels", "recall", "precision", "F1", "average precision", "Brier", "calibration error")
	for _, c := range r.Classes {
		row(t, string(c.Class), fmt.Sprint(c.Labels), rateText(c.Recall), rateText(c.Precision), numberText(c.F1, 3),
			estimateText(c.AP, 3), numberText(c.Brier, 3), numberText(c.ECE, 3))
	}
	t.Flush()
	t = tabbed(b)
	row(t, "mean average precision", estimateText(r.MeanAP, 3))
	row(t, "right class, of those found", rateText(r.RightClass))
	row(t, fmt.Sprintf("suspended told from bottom, true gap ≥ %g px", r.Options.MinGapPx), rateText(r.BottomOrNot.Suspended))
	row(t, "bottom told from suspended", rateText(r.BottomOrNot.Bottom))
	row(t, "both together", rateText(r.BottomOrNot.Both))
	row(t, fmt.Sprintf("suspended called so, true gap ≥ %d px", smallGapPx), rateText(r.Hanging.Suspended))
	row(t, "bottom objects called so", rateText(r.Hanging.Bottom))
	row(t, fmt.Sprintf("suspended found, true gap %d to %d px", smallGapPx, largeGapPx), rateText(r.Hanging.SmallGaps))
	t.Flush()
}

func confusionText(b *bytes.Buffer, r *Results) {
	t := section(b, "What was taken for what (rows: truth)")
	row(t, append([]string{""}, r.Confusion.Given...)...)
	for i, name := range r.Confusion.Truth {
		cells := []string{name}
		for j, n := range r.Confusion.Count[i] {
			if name == NothingThere && r.Confusion.Given[j] == Missed {
				cells = append(cells, "")
				continue
			}
			cells = append(cells, fmt.Sprint(n))
		}
		row(t, cells...)
	}
	t.Flush()
}

func chancesText(b *bytes.Buffer, r *Results) {
	t := section(b, "Chance of being real, believed or not")
	row(t, "marks", fmt.Sprint(r.Calibration.Marks))
	row(t, "Brier score", numberText(r.Calibration.Brier, 3))
	row(t, "expected calibration error", estimateText(r.Calibration.ECE, 3))
	row(t, "area under the receiver operating characteristic", numberText(r.Calibration.ROCAUC, 3))
	t.Flush()
}

func readingText(b *bytes.Buffer, r *Results) {
	t := section(b, "Reading")
	row(t, "captures refused", rateText(r.Reading.Refused))
	row(t, fmt.Sprintf("panels overlapped by %g", panelIoU), rateText(r.Reading.Panel))
	row(t, "the same, of the rows that pings fill", rateText(r.Reading.PanelFilled))
	row(t, fmt.Sprintf("photographed panels overlapped by %g", photoIoU), rateText(r.Reading.Photo))
	row(t, "the same by their outlines", rateText(r.Reading.PhotoOutline))
	row(t, "sides of whole swaths called by the other's name", rateText(r.Reading.SidesWrong))
	row(t, "pictures of one side called the other", rateText(r.Reading.OneSideWrong))
	row(t, fmt.Sprintf("first returns of %d whole swaths within 10 px of a width of 1,024", r.Reading.Swaths),
		shareText(r.Reading.FirstReturn))
	row(t, "nadirs within 3 px", shareText(r.Reading.Nadir))
	row(t, "first returns to be seen that get no answer", shareText(r.Reading.VisibleAbsent))
	t.Flush()
}

func profilesText(b *bytes.Buffer, r *Results) {
	t := section(b, "Profiles")
	row(t, "", "rows", "median error", "95th percentile", "bias", "within 2 px (2 %)", "no answer")
	for _, p := range []struct {
		name   string
		e      ProfileError
		digits int
	}{
		{"nadir, px", r.Nadir, 2}, {"first return, px", r.FirstReturn, 2}, {"the same where it is to be seen", r.Reading.VisibleReturn, 2},
		{"altitude, px", r.Altitude, 2}, {"altitude, share of it", r.Relative, 4},
	} {
		row(t, p.name, fmt.Sprint(p.e.Rows), estimateText(p.e.Median, p.digits), estimateText(p.e.P95, p.digits),
			estimateText(p.e.Bias, p.digits), percent(p.e.Within2), percent(p.e.Absent))
	}
	t.Flush()
}

func valuesText(b *bytes.Buffer, r *Results) {
	t := section(b, "Measured values")
	row(t, "", "pairs", "no value", "median error", "share of it", "95th percentile", "bias", "within 1 deviation", "within 2")
	for _, v := range []struct {
		name string
		e    ValueError
	}{{"height, m", r.Height}, {"off bottom, m", r.OffBottom}, {"gap, px", r.Gap}} {
		row(t, v.name, fmt.Sprint(v.e.N), fmt.Sprint(v.e.Absent), numberText(v.e.Median, 2), estimateText(v.e.Relative, 2),
			numberText(v.e.P95, 2), numberText(v.e.Bias, 2), rateText(v.e.Within1SD), rateText(v.e.Within2SD))
	}
	t.Flush()
	t = tabbed(b)
	row(t, "humps found", rateText(r.Humps.Recall))
	row(t, "humps that are humps", rateText(r.Humps.Precision))
	t.Flush()
}

func worstText(b *bytes.Buffer, r *Results) {
	if len(r.WorstLines) == 0 {
		return
	}
	t := section(b, "First returns farthest off")
	row(t, "capture", "side", "rows off by more than 6 px or without an answer", "without an answer", "median error, px")
	for _, m := range r.WorstLines {
		row(t, m.Capture, string(m.Side), rateText(m.Off), fmt.Sprint(m.Absent), numberText(m.Median, 1))
	}
	t.Flush()
}

func breakdownsText(b *bytes.Buffer, r *Results) {
	for _, bd := range r.Breakdowns {
		title := "Recall by " + bd.By
		if bd.Unit != "" {
			title += " (" + bd.Unit + ")"
		}
		t := section(b, title)
		for _, bin := range bd.Bins {
			cells := []string{bin.Name, rateText(bin.Recall), "class right " + rateText(bin.RightClass)}
			if bin.FalsePerCapture != nil {
				cells = append(cells, numberText(*bin.FalsePerCapture, 2)+" false marks a capture")
			}
			row(t, cells...)
		}
		t.Flush()
	}
}

// WriteTilesText writes the score of the open tiles as a plain table.
func WriteTilesText(w io.Writer, r TileResult) error {
	var b bytes.Buffer
	t := tabbed(&b)
	row(t, "tiles by name", "tiles", "found", "other marks a tile", "called bottom-object", "median overlap")
	for _, h := range []struct {
		name string
		s    TileScore
	}{{"first half", r.First}, {"second half", r.Second}, {"all", r.All}} {
		row(t, h.name, fmt.Sprint(h.s.Tiles), rateText(h.s.Found), estimateText(h.s.Others, 2), rateText(h.s.Class), numberText(h.s.BestIoU, 2))
	}
	t.Flush()
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing tile table: %w", err)
	}
	return nil
}

// WriteShownText writes what showing swaths differently does as a plain table.
func WriteShownText(w io.Writer, r ShownResult) error {
	var b bytes.Buffer
	t := tabbed(&b)
	row(t, fmt.Sprintf("%d whole swaths shown", r.Pictures), "read",
		fmt.Sprintf("first returns moved by no more than %g of the width", keptShare))
	row(t, "as they are", rateText(r.Plain), "")
	for _, way := range r.Ways {
		row(t, way.Name, rateText(way.Read), shareText(way.Kept))
	}
	row(t, "in all these ways", shareText(r.Read), shareText(r.Kept))
	t.Flush()
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing table of swaths shown differently: %w", err)
	}
	return nil
}

// WriteComparisonText writes a comparison of two runs as a plain table.
func WriteComparisonText(w io.Writer, list []Comparison) error {
	var b bytes.Buffer
	t := tabbed(&b)
	row(t, "statistic", "A", "B", "B - A", "p (paired permutation, two-sided)")
	for _, c := range list {
		row(t, c.Statistic, numberText(c.A, 3), numberText(c.B, 3), numberText(c.Diff, 3), numberText(c.P, 4))
	}
	t.Flush()
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing comparison: %w", err)
	}
	return nil
}

// WriteJSON writes results (or any other value of this package) to file, indented. The file is there whole or not at all.
func WriteJSON(file string, v any) error {
	data, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return fmt.Errorf("writing %s: %w", file, err)
	}
	return writeWhole(file, append(data, '\n'))
}

// writeWhole writes under a temporary name in the same folder and renames.
func writeWhole(file string, data []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+"-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", file, err)
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
			err = fmt.Errorf("writing %s: %w", file, err)
		}
	}()
	if _, err = f.Write(data); err != nil {
		f.Close()
		return err
	}
	if err = f.Chmod(0o644); err != nil {
		f.Close()
		return err
	}
	if err = f.Sync(); err != nil {
		f.Close()
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), file)
}

func section(b *bytes.Buffer, title string) *tabwriter.Writer {
	fmt.Fprintf(b, "\n%s\n", title)
	return tabbed(b)
}

func tabbed(b *bytes.Buffer) *tabwriter.Writer { return tabwriter.NewWriter(b, 0, 0, 2, ' ', 0) }

func row(t *tabwriter.Writer, cells ...string) { fmt.Fprintf(t, "  %s\n", strings.Join(cells, "\t")) }

// none stands where there was nothing to measure.
const none = "–"

func rateText(r Rate) string {
	if r.N == 0 {
		return none
	}
	return fmt.Sprintf("%.3f [%.3f, %.3f] (%d/%d)", r.Value, r.Low, r.High, r.K, r.N)
}

func shareText(s PointShare) string {
	if s.N == 0 {
		return none
	}
	return fmt.Sprintf("%s (%d/%d)", estimateText(s.Estimate, 3), s.K, s.N)
}

func percent(r Rate) string {
	if r.N == 0 {
		return none
	}
	return fmt.Sprintf("%.1f %%", 100*r.Value)
}

func estimateText(e Estimate, digits int) string {
	if math.IsNaN(e.Value) {
		return none
	}
	if math.IsNaN(e.Low) || math.IsNaN(e.High) {
		return numberText(Number(e.Value), digits)
	}
	return fmt.Sprintf("%.*f [%.*f, %.*f]", digits, e.Value, digits, e.Low, digits, e.High)
}

func numberText(n Number, digits int) string {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return none
	}
	return fmt.Sprintf("%.*f", digits, float64(n))
}
