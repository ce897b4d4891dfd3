package pixels

import (
	"image"
	"image/color"
	"image/color/palette"
	"image/draw"
	"math/rand/v2"
	"testing"
)

// Every reader says what the image's own At says, wherever its bounds begin.
func TestReadersAgreeWithAt(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for _, b := range []image.Rectangle{image.Rect(0, 0, 23, 9), image.Rect(5, 3, 28, 12), image.Rect(-5, -3, 18, 6)} {
		src := image.NewRGBA(b)
		for i := range src.Pix {
			src.Pix[i] = uint8(rng.IntN(256)) | uint8(i%4/3*255)
		}
		images := map[string]image.Image{}
		for name, m := range map[string]draw.Image{
			"RGBA": image.NewRGBA(b), "NRGBA": image.NewNRGBA(b), "Gray": image.NewGray(b), "RGBA64": image.NewRGBA64(b),
			"NRGBA64": image.NewNRGBA64(b), "CMYK": image.NewCMYK(b), "Paletted": image.NewPaletted(b, palette.Plan9),
		} {
			draw.Draw(m, b, src, b.Min, draw.Src)
			images[name] = m
		}
		for _, ratio := range []image.YCbCrSubsampleRatio{
			image.YCbCrSubsampleRatio444, image.YCbCrSubsampleRatio422, image.YCbCrSubsampleRatio420, image.YCbCrSubsampleRatio440,
		} {
			m := image.NewYCbCr(b, ratio)
			for _, plane := range [][]uint8{m.Y, m.Cb, m.Cr} {
				for i := range plane {
					plane[i] = uint8(rng.IntN(256))
				}
			}
			images["YCbCr"+ratio.String()] = m
		}
		for name, m := range images {
			p := New(m)
			if p.W != b.Dx() || p.H != b.Dy() || p.Grey != (name == "Gray") || p.Deep() != (name == "RGBA64" || name == "NRGBA64") {
				t.Fatalf("%s: %d × %d, grey %v, deep %v", name, p.W, p.H, p.Grey, p.Deep())
			}
			const from = 3
			row := make([]uint32, b.Dx()-from)
			for y := range p.H {
				p.Read(row, from, y)
				raw := p.Raw(from, y, len(row))
				for i, got := range row {
					c := m.At(b.Min.X+from+i, b.Min.Y+y)
					r, g, bl, _ := c.RGBA()
					if want := pack(uint8(r>>8), uint8(g>>8), uint8(bl>>8)); got != want {
						t.Fatalf("%s of %v: #%06x at %d, %d, want #%06x", name, b, got, from+i, y, want)
					}
					if raw != nil && pack(raw[4*i], raw[4*i+1], raw[4*i+2]) != got {
						t.Fatalf("%s of %v: bytes %v at %d, %d, want #%06x", name, b, raw[4*i:4*i+3], from+i, y, got)
					}
				}
			}
		}
	}
}

// A 12-bit recording keeps its values, and is shown with its strongest one bright.
func TestDeepGreyIsStretched(t *testing.T) {
	m := image.NewGray16(image.Rect(0, 0, 3, 1))
	values := []uint16{0, 0x123, 0xfff}
	for x, v := range values {
		m.SetGray16(x, 0, color.Gray16{Y: v})
	}
	p := New(m)
	if !p.Grey || !p.Deep() || p.UnusedBits() != 4 {
		t.Fatalf("grey %v, deep %v, %d bits unused; want 4", p.Grey, p.Deep(), p.UnusedBits())
	}
	deep, shown := make([]uint16, 3), make([]uint32, 3)
	p.Read16(deep, 0, 0)
	p.Read(shown, 0, 0)
	for x, want := range []uint32{0, 0x121212, 0xffffff} {
		if deep[x] != values[x] || shown[x] != want {
			t.Errorf("pixel %d: %#x shown as #%06x, want %#x and #%06x", x, deep[x], shown[x], values[x], want)
		}
	}
}

func TestFlat(t *testing.T) {
	m := image.NewGray(image.Rect(0, 0, 8, 8))
	draw.Draw(m, m.Bounds(), image.NewUniform(color.Gray{Y: 9}), image.Point{}, draw.Src)
	if c, flat := New(m).Flat(); !flat || c != 0x090909 {
		t.Errorf("one colour: #%06x, flat %v", c, flat)
	}
	m.SetGray(5, 6, color.Gray{Y: 10})
	if _, flat := New(m).Flat(); flat {
		t.Error("a picture with a dot in it is flat")
	}
}

func TestBetween(t *testing.T) {
	m := image.NewRGBA(image.Rect(0, 0, 2, 2))
	for i, v := range []uint8{0, 100, 200, 40} {
		m.SetRGBA(i%2, i/2, color.RGBA{v, v, 0, 255})
	}
	b := ReadBetween(New(m))
	for _, tt := range []struct {
		x, y float64
		want uint8
	}{{0, 0, 0}, {1, 0, 100}, {0, 1, 200}, {0.5, 0, 50}, {0, 0.25, 50}, {0.5, 0.5, 85}, {-3, 9, 200}, {9, 9, 40}} {
		var got [4]uint8
		b.At(tt.x, tt.y, got[:])
		if want := [4]uint8{tt.want, tt.want, 0, 255}; got != want {
			t.Errorf("at %g, %g: %v, want %v", tt.x, tt.y, got, want)
		}
	}
}
