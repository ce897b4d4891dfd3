package seam_test

import (
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"testing"

	"shadowgap/detect/pixels"
	"shadowgap/detect/seam"
)

const (
	rows, cols = 144, 256
	wide, high = 1000, 500 // pixels
)

// Paths through colour space, from no echo, 0, to the strongest, 1.
var (
	copper = path(color.RGBA{0, 0, 0, 255}, color.RGBA{150, 80, 20, 255}, color.RGBA{255, 230, 170, 255})
	grey   = path(color.RGBA{0, 0, 0, 255}, color.RGBA{255, 255, 255, 255})
	steel  = path(color.RGBA{20, 60, 95, 255}, color.RGBA{90, 135, 170, 255}, color.RGBA{190, 225, 255, 255})
	hues   = path(color.RGBA{0, 0, 140, 255}, color.RGBA{0, 200, 220, 255}, color.RGBA{240, 240, 0, 255}, color.RGBA{200, 0, 0, 255})
)

func path(stops ...color.RGBA) func(v float64) color.RGBA {
	return func(v float64) color.RGBA {
		at := min(max(v, 0), 1) * float64(len(stops)-1)
		i := min(int(at), len(stops)-2)
		mix := func(a, b uint8) uint8 { return uint8(math.Round(float64(a) + (at-float64(i))*(float64(b)-float64(a)))) }
		a, b := stops[i], stops[i+1]
		return color.RGBA{mix(a.R, b.R), mix(a.G, b.G), mix(a.B, b.B), 255}
	}
}

// screen draws speckled bottom, fainter from left to right as range gains on it, in one palette before a line and another behind it.
func screen(before, behind func(float64) color.RGBA, isBefore func(x, y float64) bool) *pixels.Picture {
	m := image.NewRGBA(image.Rect(0, 0, wide, high))
	rng := rand.New(rand.NewPCG(1, 2))
	for y := range high {
		for x := range wide {
			v := 0.35 * rng.ExpFloat64() * (1.6 - float64(x)/wide)
			paint := behind
			if isBefore(float64(x)+0.5, float64(y)+0.5) {
				paint = before
			}
			m.SetRGBA(x, y, paint(v))
		}
	}
	return pixels.New(m)
}

func TestParts(t *testing.T) {
	under := func(at, slope float64) func(x, y float64) bool {
		return func(x, y float64) bool { return y < at*high+slope*(x-wide/2) }
	}
	across := func(at, slope float64) func(x, y float64) bool {
		return func(x, y float64) bool { return x < at*wide+slope*(y-high/2) }
	}
	tests := []struct {
		name           string
		before, behind func(float64) color.RGBA
		line           func(x, y float64) bool
		parts          int
	}{
		{"one above the other", copper, grey, under(0.4, 0), 2},
		{"beside each other", hues, copper, across(0.7, 0), 2},
		{"photographed askew", grey, hues, under(0.5, 0.12), 2},
		{"askew, beside each other", copper, hues, across(0.3, -0.12), 2},
		// what parts these would be too little along a line that leans
		{"a narrow chart of little hue", grey, steel, across(0.9, 0), 2},
		{"the same, askew", grey, steel, across(0.9, 0.1), 1},
		{"one palette", copper, copper, under(0.5, 0), 1},
		// the far side has other hues than the near one, but none that the near one lacks
		{"one palette of many hues", hues, hues, under(0.5, 0), 1},
		{"a thin strip", copper, grey, under(0.04, 0), 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := make([]uint8, rows*cols)
			for i := range in {
				if y, x := i/cols, i%cols; y >= 4 && y < rows-4 && x >= 4 && x < cols-4 {
					in[i] = 1
				}
			}
			parts := seam.Parts(screen(tt.before, tt.behind, tt.line), in, rows, cols)
			if len(parts) != tt.parts {
				t.Fatalf("%d parts, want %d", len(parts), tt.parts)
			}
			wrong, all := 0, 0
			for i := range in {
				sum := uint8(0)
				for _, p := range parts {
					sum += p[i]
				}
				if sum != in[i] {
					t.Fatalf("cell %d is in %d parts, and %d in the area", i, sum, in[i])
				}
				if in[i] == 0 || tt.parts == 1 {
					continue
				}
				all++
				x, y := (float64(i%cols)+0.5)*wide/cols, (float64(i/cols)+0.5)*high/rows
				if (parts[0][i] > 0) != tt.line(x, y) {
					wrong++
				}
			}
			if all > 0 && float64(wrong) > 0.015*float64(all) {
				t.Errorf("%d of %d cells on the wrong side", wrong, all)
			}
		})
	}
}

// A small area of one palette in a noisy picture: a few cells have colours of their own by chance.
func TestNoise(t *testing.T) {
	const side = 40 // cells of the area
	rng := rand.New(rand.NewPCG(5, 6))
	for range 8 {
		m := image.NewRGBA(image.Rect(0, 0, cols, rows))
		for i := range rows * cols {
			c := hues(0.35 * rng.ExpFloat64())
			noisy := func(v uint8) uint8 { return uint8(min(max(float64(v)+25*rng.NormFloat64(), 0), 255)) }
			m.SetRGBA(i%cols, i/cols, color.RGBA{noisy(c.R), noisy(c.G), noisy(c.B), 255})
		}
		in := make([]uint8, rows*cols)
		for i := range in {
			if i/cols < side && i%cols < side {
				in[i] = 1
			}
		}
		if parts := seam.Parts(pixels.New(m), in, rows, cols); len(parts) != 1 {
			t.Errorf("%d parts of one palette", len(parts))
		}
	}
}

// An area of a few cells has no seam to be told.
func TestFewCells(t *testing.T) {
	in := make([]uint8, rows*cols)
	for i := range 20 {
		in[i*cols+40] = 1
	}
	px := screen(copper, grey, func(_, y float64) bool { return y < 30 })
	if parts := seam.Parts(px, in, rows, cols); len(parts) != 1 {
		t.Errorf("%d parts, want the area alone", len(parts))
	}
}
