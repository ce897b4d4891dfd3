package frame_test

import (
	"context"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"testing"

	"shadowgap/detect/frame"
)

// capture draws a simple screen: a bar on top, speckle on both sides of a dark water column with a bright nadir line,
// in the colours of paint.
func capture(rng *rand.Rand, w, h int, paint func(v float64) color.RGBA) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	bar := h / 20
	alt := float64(w) / 9
	for y := range h {
		alt += 0.4 * rng.NormFloat64()
		alt = min(float64(w)/6, max(float64(w)/14, alt))
		for x := range w {
			if y < bar {
				m.SetRGBA(x, y, color.RGBA{30, 34, 42, 255})
				continue
			}
			r := math.Abs(float64(x) - float64(w)/2)
			v := 0.03 * math.Sqrt(2*rng.ExpFloat64())
			switch {
			case r < 3:
				v = 0.85 + 0.1*rng.Float64()
			case r > alt:
				v = (0.2 + 0.1*math.Exp(-(r-alt)/200)) * math.Sqrt(2*rng.ExpFloat64())
			}
			m.SetRGBA(x, y, paint(min(1, v)))
		}
	}
	return m
}

func greyPaint(v float64) color.RGBA {
	k := uint8(255*v + 0.5)
	return color.RGBA{k, k, k, 255}
}

// copperPaint runs from black over brown to a light orange.
func copperPaint(v float64) color.RGBA {
	return color.RGBA{uint8(255 * min(1, 1.24*v)), uint8(199 * v), uint8(127 * v), 255}
}

func BenchmarkFind1080p(b *testing.B) {
	for name, paint := range map[string]func(float64) color.RGBA{"grey": greyPaint, "copper": copperPaint} {
		rgba := capture(rand.New(rand.NewPCG(1, 1)), 1920, 1080, paint)
		nrgba := &image.NRGBA{Pix: rgba.Pix, Stride: rgba.Stride, Rect: rgba.Rect}
		pics := map[string]image.Image{"RGBA": rgba, "NRGBA": nrgba, "JPEG": viaJPEG(b, rgba, 88)}
		for kind, img := range pics {
			b.Run(name+"/"+kind, func(b *testing.B) {
				for b.Loop() {
					p, why, err := frame.Find(context.Background(), img, frame.Options{})
					if err != nil || len(p) != 1 {
						b.Fatalf("%d panels (%s), %v", len(p), why, err)
					}
				}
			})
		}
	}
}
