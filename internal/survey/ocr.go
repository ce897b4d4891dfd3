package survey

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
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

// Read reads a capture twice, enlarged differently, and keeps what both readings say: screen fonts are small, a dotted 0
// passes for an 8, and a wrong range spoils every size. img is a picture that Go has decoded; Tesseract gets its own
// re-encoding, never the user's file.
func (o *OCR) Read(ctx context.Context, img image.Image) (ScreenText, error) {
	page := textPage(img)
	var s [2]ScreenText
	for i, times := range []float64{3, 2} {
		text, err := o.text(ctx, page, min(times, ocrMaxWidth/float64(page.Bounds().Dx())))
		if err != nil {
			return ScreenText{}, fmt.Errorf("reading text on the capture: %w", err)
		}
		if s[i] = ParseScreenText(text); s[0].RangeM == 0 && s[0].DepthM == 0 {
			break // there is nothing to confirm
		}
	}
	return agreed(s[0], s[1]), nil
}

// agreed keeps what two readings of a screen have in common.
func agreed(a, b ScreenText) ScreenText {
	out := ScreenText{Notes: a.Notes}
	if out.RangeM = a.RangeM; a.RangeM > 0 && a.RangeM != b.RangeM {
		out.RangeM = 0
		out.Notes = append(out.Notes, fmt.Sprintf("the range on the screen may read %.4g m, but not for sure; give --range", a.RangeM))
	}
	if a.DepthM == b.DepthM {
		out.DepthM = a.DepthM
	}
	return out
}

// text returns the words on a page, a line of text a line.
func (o *OCR) text(ctx context.Context, page image.Image, times float64) (string, error) {
	src := page
	if times > 1 {
		src = imaging.Resize(page, int(times*float64(page.Bounds().Dx())), 0, imaging.CatmullRom)
	}
	var in, out, complaint bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&in, src); err != nil {
		return "", err
	}
	ctx, cancel := context.WithTimeout(ctx, ocrTimeout)
	defer cancel()
	cmd := exec.CommandContext(ctx, o.program, "stdin", "stdout", "--psm", "11")
	cmd.Env = append(os.Environ(), "OMP_THREAD_LIMIT=1") // workers are the parallel part
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &in, &out, &complaint
	if err := cmd.Run(); err != nil {
		line, _, _ := strings.Cut(strings.TrimSpace(complaint.String()), "\n")
		return "", fmt.Errorf("tesseract: %w (%s)", err, line)
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
	labelled = regexp.MustCompile(`(?i)\b(range|rng|depth|dpt)\b[\s:=.]{0,3}` +
		`([0-9OlI]{1,4}(?:[.,][0-9OlI]{1,2})?)\s?(ft|feet|m|metres|meters)\b`)
	twoSides = regexp.MustCompile(`(?i)\b([0-9]{1,4}(?:[.,][0-9]{1,2})?)\s?(ft|feet|m)\b`)
)

// ParseScreenText finds the range per side and the depth in the text of a capture. Only lengths with a label and a unit
// are taken as such, and a range must be a usual setting. Without a label, a length is taken as the range when it is the greatest on the
// screen and stands there twice, as at both ends of a range scale. Labelled ranges that contradict each other are told and none is taken.
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
		if into == &s.RangeM && !roundSetting(m[2]) {
			s.Notes = append(s.Notes, fmt.Sprintf("the range on the screen may read %s %s, which is no usual setting; took none, give --range",
				m[2], m[3]))
			*into = -1
			continue
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
		s.Notes = append(s.Notes, fmt.Sprintf("the screen shows lengths (the greatest is %.4g m) but none marked as the range; give --range",
			most))
	}
	return s
}

// roundSetting says whether a number is one that ranges are set to: whole below 10, 12, or a multiple of 5. A dotted 0 that
// was taken for an 8 or a 6 gives 38 or 56, which no display offers as readily.
func roundSetting(digits string) bool {
	v, err := units.Parse(putRight(digits), units.Length, "m")
	return err == nil && v == math.Trunc(v) && (v < 10 || v == 12 || math.Mod(v, 5) == 0)
}

func putRight(digits string) string {
	return strings.NewReplacer("O", "0", "o", "0", "l", "1", "I", "1", "L", "1", "i", "1").Replace(digits)
}
