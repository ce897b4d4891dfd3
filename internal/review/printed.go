package review

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"shadowgap/detect"
	"shadowgap/internal/files"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
)

// PrintedName is the name of the printed page in a run folder.
const PrintedName = "places.pdf"

// printedPlaces is how many places fit the printed page.
const printedPlaces = 10

// Places on the printed A4 page, in millimetres.
const (
	printMargin = 10.0
	printTop    = 21.0
	printCellH  = 50.5
	printPic    = 36.0
	printGap    = 6.0
)

// WritePlaces writes places.pdf into a run folder: the ten places to go to first on one A4 page, each with its picture, what is
// there, how deep, where and why. It returns an error when ctx ends, a picture can't be used or the file can't be written.
func WritePlaces(ctx context.Context, runDir, name string, atlas places.Atlas, u overlay.Units) error {
	list := atlas.Top(printedPlaces)
	pdf, err := newPaper("Go here first: " + name)
	if err != nil {
		return fmt.Errorf("printed page of %s: %w", runDir, err)
	}
	pdf.AddPage()
	w, h := pdf.GetPageSize()
	pdf.SetFont("go", "B", 14)
	pdf.SetXY(printMargin, printMargin)
	pdf.line(0, 6, pdf.fit("Go here first: "+name, w-2*printMargin))
	pdf.SetFont("go", "", 8)
	pdf.SetXY(printMargin, printMargin+6)
	head := fmt.Sprintf("The best %d of %d places, best first. Positions are WGS84 degrees; ± is one standard deviation.",
		len(list), len(atlas.Top(len(atlas.Places))))
	if len(list) == 0 {
		head = "Nothing that is there at better than even odds was found."
	}
	pdf.line(0, 4, head)
	cell := (w - 2*printMargin - printGap) / 2
	for i, p := range list {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("printed page of %s: %w", runDir, err)
		}
		x, y := printMargin+float64(i%2)*(cell+printGap), printTop+float64(i/2)*(printCellH+1)
		if err := printPlace(pdf, runDir, i, p, atlas, x, y, cell, u); err != nil {
			return fmt.Errorf("printed page of %s: place %d: %w", runDir, i+1, err)
		}
	}
	pdf.SetFont("go", "", 7)
	pdf.SetXY(printMargin, h-printMargin-7)
	pdf.MultiCell(w-2*printMargin, 3.2, strings.Join(detect.Cautions(), " "), "T", "L", false)
	var b bytes.Buffer
	if err := pdf.Output(&b); err != nil {
		return fmt.Errorf("printed page of %s: %w", runDir, err)
	}
	return files.Write(filepath.Join(runDir, PrintedName), b.Bytes())
}

func printPlace(pdf *paper, runDir string, i int, p places.Place, atlas places.Atlas, x, y, w float64, u overlay.Units) error {
	best := atlas.Sighting(p.Sightings[0])
	if err := placePicture(pdf, runDir, media.ChipOf(p.Best.Capture, p.Best.Mark), x, y, printPic, printPic); err != nil {
		return err
	}
	left, width := x+printPic+2.5, w-printPic-2.5
	at := y
	write := func(style string, size, line float64, text string, most int) {
		pdf.SetFont("go", style, size)
		lines := pdf.lines(text, width)
		if len(lines) > most {
			lines = lines[:most]
			lines[most-1] = pdf.fit(lines[most-1]+"…", width)
		}
		for _, l := range lines {
			pdf.SetXY(left, at)
			pdf.line(width, line, l)
			at += line
		}
	}
	write("B", 8.5, 3.8, fmt.Sprintf("%d  %s.", i+1, p.Sentence), 5)
	if p.Name != "" {
		write("", 7.5, 3.3, p.Name, 1)
	}
	var numbers []string
	for _, f := range placeFacts(p, *best, u) {
		numbers = append(numbers, strings.ToLower(f.Name[:1])+f.Name[1:]+" "+f.Value)
	}
	write("", 7.5, 3.3, strings.Join(numbers, ", "), 2)
	if p.Position != nil {
		write("B", 7.5, 3.4, placeWords(*p.Position, u), 1)
	} else {
		write("", 7.5, 3.4, "place unknown", 1)
	}
	if t := timeWords(p.Time); t != "" {
		write("", 7.5, 3.3, "seen "+t, 1)
	}
	room := int((y + printCellH - 4.5 - at) / 3)
	if why := strings.Join(p.Why, "; "); why != "" && room > 0 {
		write("", 6.8, 3, "Why: "+why, room)
	}
	if p.Note != "" {
		write("", 7, 3.2, "Note: "+p.Note, 1)
	}
	pdf.SetFont("go", "", 6.5)
	pdf.SetXY(x, y+printPic+0.5)
	pdf.line(printPic, 3, pdf.fit(memberNames(best.Members), printPic))
	return nil
}

// placePicture puts a picture of the run into a frame; one that is not there leaves the frame empty.
func placePicture(pdf *paper, runDir, name string, x, y, w, h float64) error {
	b, err := os.ReadFile(filepath.Join(runDir, filepath.FromSlash(name)))
	switch {
	case err == nil:
		info := pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPG"}, bytes.NewReader(b))
		if err := pdf.Error(); err != nil {
			return fmt.Errorf("picture %s: %w", name, err)
		}
		k := min(w/info.Width(), h/info.Height())
		pw, ph := k*info.Width(), k*info.Height()
		pdf.ImageOptions(name, x+(w-pw)/2, y+(h-ph)/2, pw, ph, false, fpdf.ImageOptions{ImageType: "JPG"}, 0, "")
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	pdf.SetDrawColor(120, 120, 120)
	pdf.SetLineWidth(0.2)
	pdf.Rect(x, y, w, h, "D")
	return nil
}
