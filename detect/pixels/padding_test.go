package pixels_test

import (
	"image"
	"image/color"
	"image/draw"
	"testing"

	"shadowgap/detect/pixels"
)

// A record that ends before its picture does is padded with rows of one colour.
func TestWithoutPadding(t *testing.T) {
	const wide, high = 40, 30
	padded := func(from, to int) *image.RGBA {
		m := image.NewRGBA(image.Rect(0, 0, wide, high))
		draw.Draw(m, m.Rect, image.Black, image.Point{}, draw.Src)
		for y := from; y < to; y++ {
			for x := range wide {
				m.SetRGBA(x, y, color.RGBA{uint8(5*x + y), uint8(3 * x), 90, 255})
			}
		}
		return m
	}
	for _, tt := range []struct {
		name     string
		from, to int
		want     image.Rectangle
	}{
		{"none", 0, high, image.Rect(2, 0, wide, high)},
		{"under it", 0, 20, image.Rect(2, 0, wide, 20)},
		{"over it and under it", 4, 25, image.Rect(2, 4, wide, 25)},
		{"nothing else", 0, 0, image.Rect(2, high-1, wide, high)},
	} {
		if got := pixels.New(padded(tt.from, tt.to)).WithoutPadding(image.Rect(2, 0, wide, high)); got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}
