package pixels

import (
	"image"
	"image/color"
	"testing"
)

func TestGround(t *testing.T) {
	const w = 600
	tests := []struct {
		name   string
		at     func(x int) color.RGBA
		x0, x1 int
		near   int
		colour uint32
		part   float64
	}{
		{"one colour", func(int) color.RGBA { return color.RGBA{10, 20, 30, 255} }, 0, w, 0, 0x0a141e, 1},
		{"a pixel", func(int) color.RGBA { return color.RGBA{10, 20, 30, 255} }, 7, 8, 0, 0x0a141e, 1},
		{"letters on a fifth", func(x int) color.RGBA {
			if x%5 == 0 {
				return color.RGBA{250, 250, 250, 255}
			}
			return color.RGBA{0, 0, 0, 255}
		}, 0, w, 6, 0, 0.8},
		{"compression's noise", func(x int) color.RGBA { v := uint8(20 + x%3); return color.RGBA{v, v, v, 255} }, 0, w, 3, 0x151515, 1},
		{"the same, held to less", func(x int) color.RGBA { v := uint8(20 + x%3); return color.RGBA{v, v, v, 255} }, 0, w, 0, 0x151515, 1. / 3},
		{"only the columns asked for", func(x int) color.RGBA {
			if x < 100 || x >= 200 {
				return color.RGBA{255, 0, 0, 255}
			}
			return color.RGBA{0, 0, 9, 255}
		}, 100, 200, 6, 0x000009, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := image.NewRGBA(image.Rect(0, 0, w, 3))
			for x := range w {
				m.SetRGBA(x, 1, tt.at(x))
			}
			c, part := New(m).Ground(tt.x0, tt.x1, 1, tt.near)
			if c != tt.colour || part < tt.part-0.02 || part > tt.part+0.02 {
				t.Errorf("colour %06x over %.2f of the row, want %06x over %.2f", c, part, tt.colour, tt.part)
			}
		})
	}
}
