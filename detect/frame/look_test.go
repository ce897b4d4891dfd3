package frame

import (
	"bytes"
	"fmt"
	"image"
	"math/rand/v2"
	"testing"

	"shadowgap/detect/pixels"
	"shadowgap/models/reader"
)

const planesSize = channels * reader.InputRows * reader.InputCols // of all planes

// A picture shrunk without OpenCV is, byte for byte, what OpenCV makes of it: noise, and patterns of few values whose means often lie
// in the middle between two, where rounding decides.
func TestShrunkIsOpenCVs(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 4))
	for _, size := range [][2]int{
		{1920, 1080}, {1280, 800}, {1366, 768}, {513, 289}, {800, 480}, {1600, 300}, {700, 1500}, {4000, 3000},
		{1024, 768}, {512, 300}, {600, 576}, {1536, 700}, {1100, 288},
	} {
		for name, pixel := range map[string]func(x, y int) uint8{
			"noise":   func(int, int) uint8 { return uint8(rng.Uint32()) },
			"checks":  func(x, y int) uint8 { return uint8((x + y) % 2) },
			"stripes": func(x, y int) uint8 { return uint8(x/2%2*3 + y%2) },
			"white":   func(int, int) uint8 { return 255 },
		} {
			m := image.NewRGBA(image.Rect(0, 0, size[0], size[1]))
			colour := image.NewYCbCr(m.Rect, image.YCbCrSubsampleRatio420)
			for y := range size[1] {
				for x := range size[0] {
					at := m.PixOffset(x, y)
					m.Pix[at], m.Pix[at+1], m.Pix[at+2], m.Pix[at+3] = pixel(x, y), pixel(x+1, y), pixel(x, y+1), 255
					colour.Y[colour.YOffset(x, y)], colour.Cb[colour.COffset(x, y)], colour.Cr[colour.COffset(x, y)] =
						pixel(x, y), 128+pixel(x, y)/8, 120
				}
			}
			for _, img := range []image.Image{m, colour} {
				t.Run(fmt.Sprintf("%s of %d × %d as %T", name, size[0], size[1], img), func(t *testing.T) {
					px := pixels.New(img)
					got, want := make([]uint8, planesSize), make([]uint8, planesSize)
					if !px.Shrink(got, reader.InputRows, reader.InputCols) {
						t.Fatal("not shrunk")
					}
					if err := stretch(want, px); err != nil {
						t.Fatal(err)
					}
					if !bytes.Equal(got, want) {
						differ := 0
						for i, v := range want {
							if got[i] != v {
								differ++
							}
						}
						t.Errorf("%d of %d bytes differ", differ, len(want))
					}
				})
			}
		}
	}
	for _, size := range [][2]int{{512, 288}, {1024, 576}, {2560, 1440}, {400, 900}, {900, 200}, {5001, 4000}} {
		px := pixels.New(image.NewGray(image.Rect(0, 0, size[0], size[1])))
		if px.Shrink(make([]uint8, planesSize), reader.InputRows, reader.InputCols) {
			t.Errorf("%d × %d was shrunk", size[0], size[1])
		}
	}
}

func BenchmarkShrink(b *testing.B) {
	m := image.NewRGBA(image.Rect(0, 0, 1920, 1080))
	for i := range m.Pix {
		m.Pix[i] = uint8(i * 2654435761 >> 13)
	}
	px, planes := pixels.New(m), make([]uint8, planesSize)
	b.Run("shrink", func(b *testing.B) {
		for b.Loop() {
			px.Shrink(planes, reader.InputRows, reader.InputCols)
		}
	})
	b.Run("stretch", func(b *testing.B) {
		for b.Loop() {
			if err := stretch(planes, px); err != nil {
				b.Fatal(err)
			}
		}
	})
}
