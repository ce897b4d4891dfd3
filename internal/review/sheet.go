package review

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"shadowgap/detect"
	"shadowgap/internal/overlay"
)

// SheetName is the contact sheet's name in a run folder.
const SheetName = "contact-sheet.pdf"

// SheetOptions say what goes on the contact sheet. The zero value takes the 300 foremost marks, in metres.
type SheetOptions struct {
	Name         string // the run's name, in the heading
	Units        overlay.Units
	MaxMarks     int  // 0 = 300; the sheet says how many were left out
	OnlyAccepted bool // only marks that the reviewer accepted
}

// Places on an A4 page, in millimetres.
const (
	sheetMargin = 12.0
	sheetCols   = 3
	sheetGutter = 5.0
	sheetPicH   = 38.0
	sheetCellH  = 62.0
)

// WriteContactSheet writes contact-sheet.pdf into a run folder: the close-ups that WriteMedia made, by rank of their capture,
// each with its number, class, odds, main numbers and decision. Rejected marks are left out; a missing close-up leaves an empty
// frame. It returns an error when ctx ends, a picture can't be used or the file can't be written.
func WriteContactSheet(ctx context.Context, runDir string, caps []detect.CaptureRecord, marks []detect.MarkRecord, ds []Decision, opt SheetOptions) error {
	if opt.Units == "" {
		opt.Units = overlay.Metres
	}
	if opt.MaxMarks <= 0 {
		opt.MaxMarks = 300
	}
	entries, left := sheetEntries(caps, marks, Fold(ds), opt)
	pdf := fpdf.New("P", "mm", "A4", "")
	pdf.SetTitle("Contact sheet of "+opt.Name, true)
	pdf.SetAutoPageBreak(false, sheetMargin)
	pdf.AddUTF8FontFromBytes("go", "", goregular.TTF)
	pdf.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	pdf.SetFooterFunc(func() {
		pdf.SetXY(sheetMargin, -14)
		pdf.SetFont("go", "", 7)
		pdf.MultiCell(0, 3.5, fmt.Sprintf("%s Page %d", strings.Join(detect.Cautions(), " "), pdf.PageNo()), "", "C", false)
	})
	w, pageH := pdf.GetPageSize()
	cell := (w - 2*sheetMargin - (sheetCols-1)*sheetGutter) / sheetCols
	y := pageH
	for i, e := range entries {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("contact sheet of %s: %w", runDir, err)
		}
		col := i % sheetCols
		if col == 0 {
			if y += sheetCellH; y+sheetCellH > pageH-sheetMargin-4 {
				y = sheetHeading(pdf, opt, len(entries), left)
			}
		}
		if err := sheetCell(pdf, runDir, e, sheetMargin+float64(col)*(cell+sheetGutter), y, cell, opt.Units); err != nil {
			return fmt.Errorf("contact sheet of %s: mark %d of %s: %w", runDir, e.number, e.mark.Capture, err)
		}
	}
	if len(entries) == 0 {
		sheetHeading(pdf, opt, 0, left)
	}
	var b bytes.Buffer
	if err := pdf.Output(&b); err != nil {
		return fmt.Errorf("contact sheet of %s: %w", runDir, err)
	}
	return writeFile(filepath.Join(runDir, SheetName), b.Bytes())
}

type sheetEntry struct {
	mark   detect.MarkRecord
	number int // within its capture
	state  MarkState
}

// sheetEntries orders the marks by their capture's interest and says how many did not fit under the limit.
func sheetEntries(caps []detect.CaptureRecord, marks []detect.MarkRecord, st *State, opt SheetOptions) ([]sheetEntry, int) {
	interest := make(map[string]float64, len(caps))
	for _, c := range caps {
		interest[c.Capture] = c.Interest
	}
	number := map[string]int{}
	var out []sheetEntry
	for _, m := range marks {
		number[m.Capture]++
		s := st.Mark(m.Capture, m.Mark)
		if opt.OnlyAccepted && s.Verdict != Accept || s.Verdict == Reject {
			continue
		}
		out = append(out, sheetEntry{m, number[m.Capture], s})
	}
	slices.SortStableFunc(out, func(a, b sheetEntry) int {
		return cmp.Or(cmp.Compare(interest[b.mark.Capture], interest[a.mark.Capture]), cmp.Compare(a.mark.Capture, b.mark.Capture), cmp.Compare(a.number, b.number))
	})
	n := min(len(out), opt.MaxMarks)
	return out[:n], len(out) - n
}

func sheetHeading(pdf *fpdf.Fpdf, opt SheetOptions, n, left int) float64 {
	pdf.AddPage()
	pdf.SetFont("go", "B", 12)
	pdf.SetXY(sheetMargin, sheetMargin)
	pdf.CellFormat(0, 6, "Contact sheet "+opt.Name, "", 0, "L", false, 0, "")
	pdf.SetFont("go", "", 8)
	pdf.SetXY(sheetMargin, sheetMargin+6)
	text := fmt.Sprintf("%d marks; rejected ones are left out. Lengths with one standard deviation.", n)
	if left > 0 {
		text += fmt.Sprintf(" %d more of less interesting captures are not shown.", left)
	}
	pdf.CellFormat(0, 4, text, "", 0, "L", false, 0, "")
	return sheetMargin + 13
}

func sheetCell(pdf *fpdf.Fpdf, runDir string, e sheetEntry, x, y, w float64, u overlay.Units) error {
	name := ChipOf(e.mark.Capture, e.mark.Mark)
	b, err := os.ReadFile(filepath.Join(runDir, filepath.FromSlash(name)))
	switch {
	case err == nil:
		info := pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPG"}, bytes.NewReader(b))
		if err := pdf.Error(); err != nil {
			return fmt.Errorf("close-up %s: %w", name, err)
		}
		k := min(w/info.Width(), sheetPicH/info.Height())
		pw, ph := k*info.Width(), k*info.Height()
		pdf.ImageOptions(name, x+(w-pw)/2, y+(sheetPicH-ph)/2, pw, ph, false, fpdf.ImageOptions{ImageType: "JPG"}, 0, "")
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	pdf.SetDrawColor(120, 120, 120)
	pdf.SetLineWidth(0.2)
	pdf.Rect(x, y, w, sheetPicH, "D")
	line := func(n int, style string, size float64, text string) {
		pdf.SetFont("go", style, size)
		pdf.SetXY(x, y+sheetPicH+1+float64(n)*4)
		for r := []rune(text); len(r) > 0 && pdf.GetStringWidth(text) > w; r = r[:len(r)-1] {
			text = string(r[:len(r)-1]) + "…"
		}
		pdf.CellFormat(w, 4, text, "", 0, "L", false, 0, "")
	}
	class := e.mark.Class
	decided := map[Action]string{Accept: ", accepted", Unsure: ", unsure"}[e.state.Verdict]
	odds := "odds " + percent(e.mark.Odds[class])
	if e.state.Class != "" {
		class, odds = e.state.Class, "class by hand"
	}
	line(0, "B", 8, fmt.Sprintf("%d  %s%s", e.number, overlay.StyleOf(class).Name, decided))
	line(1, "", 7, odds+", "+string(e.mark.Side))
	rest := []string{sheetNumbers(e.mark, u), e.mark.Capture}
	if e.state.Note != "" {
		rest = append(rest, "Note: "+e.state.Note)
	}
	n := 2
	for _, text := range rest {
		if text != "" {
			line(n, "", 7, text)
			n++
		}
	}
	return nil
}

func sheetNumbers(m detect.MarkRecord, u overlay.Units) string {
	var parts []string
	if v := number(m.GapM, m.GapPx, u); v != "" {
		parts = append(parts, "gap "+v)
	}
	if v := number(m.HeightM, nil, u); v != "" {
		parts = append(parts, "height "+v)
	}
	return strings.Join(parts, ", ")
}
