package survey_test

import (
	"errors"
	"image"
	"image/color"
	"math"
	"testing"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"shadowgap/internal/survey"
)

func TestParseScreenText(t *testing.T) {
	tests := []struct {
		text         string
		rangeM, deep float64
		notes        int
	}{
		{"Range 30 m\nDepth 8.2 m\n5.1 kn", 30, 8.2, 0},
		{"RANGE: 100ft", 30.48, 0, 0},
		{"range 3O m", 30, 0, 0},                        // the letter O
		{"30m 15m 0 15m 30m depth 40ft", 30, 12.192, 0}, // a scale with an end on each side
		{"Range 38 m Depth 8.8 m", 0, 8.8, 1},           // a dotted 0 that passes for an 8
		{"12.5 m\n18 m", 0, 0, 1},                       // which is the range?
		{"Range 30m\nRange 60m", 0, 0, 1},
		{"range 30", 0, 0, 0},
		{"", 0, 0, 0},
		{"12:30:15 60.123 N", 0, 0, 0},
	}
	for _, tt := range tests {
		got := survey.ParseScreenText(tt.text)
		if math.Abs(got.RangeM-tt.rangeM) > 1e-9 || math.Abs(got.DepthM-tt.deep) > 1e-9 || len(got.Notes) != tt.notes {
			t.Errorf("ParseScreenText(%q) = %+v", tt.text, got)
		}
	}
}

func TestOCRReadsAScreen(t *testing.T) {
	ocr, err := survey.FindOCR()
	if errors.Is(err, survey.ErrNoOCR) {
		t.Skip(err)
	}
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		t.Fatal(err)
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: 18, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		t.Fatal(err)
	}
	img := image.NewRGBA(image.Rect(0, 0, 640, 200))
	for i := range img.Pix {
		img.Pix[i] = uint8(20 + i*7%13)
	}
	d := font.Drawer{Dst: img, Src: image.NewUniform(color.RGBA{240, 240, 200, 255}), Face: face}
	for _, s := range []struct {
		text string
		x, y int
	}{{"Range 45 m", 20, 30}, {"Depth 12.4 m", 420, 30}} {
		d.Dot = fixed.P(s.x, s.y)
		d.DrawString(s.text)
	}
	got, err := ocr.Read(t.Context(), img)
	if err != nil || got.RangeM != 45 || got.DepthM != 12.4 {
		t.Errorf("%+v, %v", got, err)
	}
}
