package review

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/files"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
)

// SheetName is the contact sheet's name in a run folder.
const SheetName = "contact-sheet.pdf"

// SheetOptions say what goes on the contact sheet. The zero value takes the 300 best places, in metres.
type SheetOptions struct {
	Name         string // the run's name, in the heading
	Units        overlay.Units
	MaxPlaces    int  // 0 = 300; the sheet says how many were left out
	OnlyAccepted bool // only places with something that the reviewer accepted or drew
}

// Places on an A4 page, in millimetres.
const (
	sheetMargin = 12.0
	sheetCols   = 3
	sheetGutter = 5.0
	sheetPicH   = 38.0
	sheetCellH  = 62.0
)

// WriteContactSheet writes contact-sheet.pdf into a run folder: a close-up of each place, the best first, with what is there, how
// sure that is, where, and the captures that show it. What was rejected is in no place; a missing close-up leaves an empty frame. It
// returns an error when ctx ends, a picture can't be used or the file can't be written.
func WriteContactSheet(ctx context.Context, runDir string, atlas places.Atlas, opt SheetOptions) error {
	if opt.Units == "" {
		opt.Units = overlay.Metres
	}
	if opt.MaxPlaces <= 0 {
		opt.MaxPlaces = 300
	}
	list, left := sheetPlaces(atlas, opt)
	pdf, err := newPaper("Contact sheet of " + opt.Name)
	if err != nil {
		return fmt.Errorf("contact sheet of %s: %w", runDir, err)
	}
	pdf.SetFooterFunc(func() {
		pdf.SetXY(sheetMargin, -14)
		pdf.SetFont("go", "", 7)
		pdf.MultiCell(0, 3.5, fmt.Sprintf("%s Page %d", strings.Join(detect.Cautions(), " "), pdf.PageNo()), "", "C", false)
	})
	w, pageH := pdf.GetPageSize()
	cell := (w - 2*sheetMargin - (sheetCols-1)*sheetGutter) / sheetCols
	y := pageH
	for i, p := range list {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("contact sheet of %s: %w", runDir, err)
		}
		col := i % sheetCols
		if col == 0 {
			if y += sheetCellH; y+sheetCellH > pageH-sheetMargin-4 {
				y = sheetHeading(pdf, opt, len(list), left)
			}
		}
		if err := sheetCell(pdf, runDir, p, atlas, sheetMargin+float64(col)*(cell+sheetGutter), y, cell, opt.Units); err != nil {
			return fmt.Errorf("contact sheet of %s: place %d: %w", runDir, p.Rank, err)
		}
	}
	if len(list) == 0 {
		sheetHeading(pdf, opt, 0, left)
	}
	var b bytes.Buffer
	if err := pdf.Output(&b); err != nil {
		return fmt.Errorf("contact sheet of %s: %w", runDir, err)
	}
	return files.Write(filepath.Join(runDir, SheetName), b.Bytes())
}

// sheetPlaces picks the places and says how many did not fit under the limit.
func sheetPlaces(atlas places.Atlas, opt SheetOptions) ([]places.Place, int) {
	var out []places.Place
	for _, p := range atlas.Places {
		kept := slices.ContainsFunc(p.Sightings, func(id string) bool {
			d := atlas.Sighting(id).Decision
			return d == decided.Accepted || d == decided.Drawn
		})
		if p.Kind != places.Clutter && (kept || !opt.OnlyAccepted) {
			out = append(out, p)
		}
	}
	n := min(len(out), opt.MaxPlaces)
	return out[:n], len(out) - n
}

func sheetHeading(pdf *paper, opt SheetOptions, n, left int) float64 {
	pdf.AddPage()
	pdf.SetFont("go", "B", 12)
	pdf.SetXY(sheetMargin, sheetMargin)
	pdf.line(0, 6, "Contact sheet: "+opt.Name)
	pdf.SetFont("go", "", 8)
	pdf.SetXY(sheetMargin, sheetMargin+6)
	text := fmt.Sprintf("%d places, best first; what was rejected is left out. Positions are WGS84 degrees, ± one standard deviation.", n)
	if left > 0 {
		text += fmt.Sprintf(" %d more are not shown.", left)
	}
	pdf.line(0, 4, text)
	return sheetMargin + 13
}

func sheetCell(pdf *paper, runDir string, p places.Place, atlas places.Atlas, x, y, w float64, u overlay.Units) error {
	if err := placePicture(pdf, runDir, media.ChipOf(p.Best.Capture, p.Best.Mark), x, y, w, sheetPicH); err != nil {
		return err
	}
	best := atlas.Sighting(p.Sightings[0])
	at := y + sheetPicH + 1
	line := func(style string, size float64, text string, most int) {
		if text == "" {
			return
		}
		pdf.SetFont("go", style, size)
		lines := pdf.lines(text, w)
		if len(lines) > most {
			lines = append(lines[:most-1], pdf.fit(strings.Join(lines[most-1:], " "), w))
		}
		for _, l := range lines {
			pdf.SetXY(x, at)
			pdf.line(w, 3.5, l)
			at += 3.5
		}
	}
	line("B", 7.5, fmt.Sprintf("%d  %s.", p.Rank, p.Sentence), 3)
	how := "odds " + percent(p.Odds)
	if best.Decision != decided.Open {
		how = string(best.Decision)
	}
	if p.Position != nil {
		how = placeWords(*p.Position, u) + ", " + how
	}
	line("", 7, how, 1)
	seen := memberNames(best.Members[:1])
	if n := len(p.Captures) - 1; n > 0 {
		seen += fmt.Sprintf(" and %d more", n)
	}
	line("", 7, seen, 1)
	if p.Note != "" {
		line("", 7, "Note: "+p.Note, 1)
	}
	return nil
}
