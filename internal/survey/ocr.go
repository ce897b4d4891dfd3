package survey

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"os/exec"
	"regexp"
	"strings"
	"time"

	"github.com/disintegration/imaging"

	"shadowgap/internal/units"
)

// ErrNoOCR says that Tesseract is not installed. Reading text is optional: tell the user once and go on.
var ErrNoOCR = errors.New("tesseract is not installed (Debian: apt-get install tesseract-ocr), so text on captures is not read")

// Bounds on one call of Tesseract.
const (
	ocrTimeout  = 20 * time.Second
	ocrMaxWidth = 4096 // pixels after enlarging
	ocrMaxText  = 1 << 20
)

// OCR reads the text on a capture by the program Tesseract.
type OCR struct{ program string }

// FindOCR looks for Tesseract on the search path; ErrNoOCR when it isn't there.
func FindOCR() (*OCR, error) {
	p, err := exec.LookPath("tesseract")
	if err != nil {
		return nil, ErrNoOCR
	}
	return &OCR{program: p}, nil
}

// Text returns the words on a picture that Go has already decoded, a line of text a line. Tesseract gets the picture
// re-encoded, never the user's file.
func (o *OCR) Text(ctx context.Context, img image.Image) (string, error) {
	grey := image.NewGray(image.Rect(0, 0, img.Bounds().Dx(), img.Bounds().Dy()))
	draw.Draw(grey, grey.Bounds(), img, img.Bounds().Min, draw.Src)
	var src image.Image = grey
	if w := grey.Bounds().Dx(); 3*w <= ocrMaxWidth { // screen fonts are too small for Tesseract as they are
		src = imaging.Resize(grey, 3*w, 0, imaging.CatmullRom)
	} else if 2*w <= ocrMaxWidth {
		src = imaging.Resize(grey, 2*w, 0, imaging.CatmullRom)
	}
	var in, out, complaint bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&in, src); err != nil {
		return "", fmt.Errorf("reading text: %w", err)
	}
	ctx, cancel := context.WithTimeout(ctx, ocrTimeout)
	defer cancel()
	cmd := exec.CommandContext(ctx, o.program, "stdin", "stdout", "--psm", "11")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &in, &out, &complaint
	if err := cmd.Run(); err != nil {
		line, _, _ := strings.Cut(strings.TrimSpace(complaint.String()), "\n")
		return "", fmt.Errorf("reading text by tesseract: %w (%s)", err, line)
	}
	return string(out.Next(ocrMaxText)), nil
}

// ScreenText is what the text on a capture says; 0 means nothing was found.
type ScreenText struct {
	RangeM float64
	DepthM float64
	Notes  []string // why something that looked like a range was not taken
}

// A label, up to three other signs, and a length with its unit. Tesseract reads l and O for 1 and 0 now and then, so these
// are let through and put right, but only between digits or in front of a unit.
var (
	labelled = regexp.MustCompile(`(?i)\b(range|rng|depth|dpt)\b[\s:=.]{0,3}([0-9OlI]{1,4}(?:[.,][0-9OlI]{1,2})?)\s?(ft|feet|m|metres|meters)\b`)
	twoSides = regexp.MustCompile(`(?i)\b([0-9]{1,4}(?:[.,][0-9]{1,2})?)\s?(ft|feet|m)\b`)
)

// ParseScreenText finds the range per side and the depth in the text of a capture. Only lengths with a label and a unit
// are taken as such. Without a label, a length is taken as the range when it is the greatest on the screen and stands there
// twice, as at both ends of a range scale. Labelled ranges that contradict each other are told and none is taken.
func ParseScreenText(text string) ScreenText {
	var s ScreenText
	for _, m := range labelled.FindAllStringSubmatch(text, -1) {
		v, err := units.Parse(putRight(m[2])+m[3], units.Length, "")
		if err != nil || v <= 0 {
			continue
		}
		into, what := &s.RangeM, "range"
		if strings.HasPrefix(strings.ToLower(m[1]), "d") {
			into, what = &s.DepthM, "depth"
		}
		if *into > 0 && *into != v {
			s.Notes = append(s.Notes, fmt.Sprintf("the screen shows two %ss, %.4g m and %.4g m; took neither", what, *into, v))
			*into = -1
			continue
		}
		if *into == 0 {
			*into = v
		}
	}
	s.RangeM, s.DepthM = max(s.RangeM, 0), max(s.DepthM, 0)
	if s.RangeM > 0 || len(s.Notes) > 0 {
		return s
	}
	count, most := map[float64]int{}, 0.0
	for _, m := range twoSides.FindAllStringSubmatch(labelled.ReplaceAllString(text, " "), -1) {
		if v, err := units.Parse(m[1]+m[2], units.Length, ""); err == nil {
			count[v]++
			most = max(most, v)
		}
	}
	switch {
	case most > 0 && count[most] == 2:
		s.RangeM = most
	case most > 0:
		s.Notes = append(s.Notes, fmt.Sprintf("the screen shows lengths (the greatest is %.4g m) but none marked as the range; give --range", most))
	}
	return s
}

func putRight(digits string) string {
	return strings.NewReplacer("O", "0", "o", "0", "l", "1", "I", "1", "L", "1", "i", "1").Replace(digits)
}
