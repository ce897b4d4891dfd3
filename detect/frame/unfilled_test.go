package frame_test

import (
	"image"
	"image/color"
	"image/draw"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"shadowgap/eval/scene"
	"shadowgap/features"
)

// A record, bar and all, that has begun.
const w, h = 800, 400

// begun is such a record with rows of a colour under it and, if foot is above 0, a bar of another.
func begun(rows, foot int, empty color.Color) *image.RGBA {
	return begunIn(greyPaint, rows, foot, empty)
}

// begunIn is begun with a record in other colours.
func begunIn(paint func(float64) color.RGBA, rows, foot int, empty color.Color) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h+rows+foot))
	draw.Draw(m, m.Rect, image.NewUniform(empty), image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(0, h+rows, w, h+rows+foot), image.NewUniform(color.RGBA{30, 34, 42, 255}), image.Point{}, draw.Src)
	record := capture(rand.New(rand.NewPCG(5, 5)), w, h, paint)
	draw.Draw(m, record.Rect, record, image.Point{}, draw.Src)
	return m
}

// speckle draws a down-looking record in a box: dark water with faint specks, its bottom in the lower half.
func speckle(m *image.RGBA, box image.Rectangle) {
	rng := rand.New(rand.NewPCG(6, 6))
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			v := 0.03 * rng.ExpFloat64()
			if 2*y > box.Min.Y+box.Max.Y {
				v = 0.3 * rng.ExpFloat64()
			}
			m.SetRGBA(x, y, greyPaint(min(1, v)))
		}
	}
}

func TestRecordsBegun(t *testing.T) {
	black := color.RGBA{A: 255}
	ruled := begun(200, 40, black)
	for x := 100; x < w; x += 100 {
		for y := h; y < h+200; y++ {
			ruled.SetRGBA(x, y, color.RGBA{140, 140, 140, 255})
		}
	}
	icy := func(v float64) color.RGBA {
		return color.RGBA{uint8(40 + 200*v), uint8(70 + 180*v), uint8(100 + 155*v), 255}
	}
	strip := begun(200, 0, black)
	speckle(strip, image.Rect(0, h, w, h+200))
	padded := begun(200, 0, black).SubImage(image.Rect(0, h/20, w, h+200)) // no bar: a picture of the record alone
	tests := []struct {
		name string
		img  image.Image
		foot int // where the panel ends
	}{
		{"filled", begun(0, 40, black), h},
		{"begun", begun(200, 40, black), h + 200},
		{"begun, down to the picture's end", begun(200, 0, black), h + 200},
		{"none of the record as dark", begunIn(icy, 200, 40, black), h + 200},
		{"range lines over it", ruled, h + 200},
		{"stored as JPEG", viaJPEG(t, ruled, 80), h + 200},
		{"a bar in another colour", begun(80, 0, color.RGBA{60, 64, 72, 255}), h},
		{"as little as a bar", begun(24, 0, black), h},
		{"a down-looking record", strip, h},
		{"padding", padded, h - h/20},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, why := find(t, tt.img)
			if len(p) != 1 {
				t.Fatalf("%d panels (%s), want one", len(p), why)
			}
			if got := p[0].Whole.Max.Y; got < tt.foot-3 || got > tt.foot+3 {
				t.Errorf("panel %v of the record %v: it ends at row %d, want %d", p[0].Whole, p[0].Box, got, tt.foot)
			}
			whole := p[0].Whole
			if whole.Max.Y = p[0].Box.Max.Y; whole != p[0].Box {
				t.Errorf("panel %v of the record %v: want no other side moved", p[0].Whole, p[0].Box)
			}
			told := slices.ContainsFunc(p[0].Notes, func(n string) bool { return strings.HasPrefix(n, "the record fills") })
			if told != (p[0].Whole != p[0].Box) {
				t.Errorf("notes %q of the panel %v with the record %v", p[0].Notes, p[0].Whole, p[0].Box)
			}
		})
	}
}

// Screens whose record has only begun, drawn and photographed: each was taken for a lower panel. The last fills its panel, at the foot of a
// screen in a dark room.
func TestScenesBegun(t *testing.T) {
	if testing.Short() {
		t.Skip("renders captures")
	}
	for _, seed := range []int64{140164, 140228, 140281, 140487, 140618, 146383} {
		spec := scene.Wide(seed)
		c, img := shown(t, spec)
		p, why := find(t, img)
		if len(p) == 0 {
			t.Errorf("seed %d: %s", seed, why)
			continue
		}
		whole := p[0].Whole
		if u := p[0].Upright; u != nil {
			lo := u.ToCapture(features.Point{X: float64(whole.Min.X), Y: float64(whole.Min.Y)})
			hi := u.ToCapture(features.Point{X: float64(whole.Max.X), Y: float64(whole.Max.Y)})
			whole = image.Rect(int(lo.X), int(lo.Y), int(hi.X), int(hi.Y))
		}
		if o := overlap(whole, c.Label.Panel.Rect()); o < 0.9 || (p[0].Whole == p[0].Box) != (spec.Pings == spec.Rows) {
			t.Errorf("seed %d: panel %v of the record %v, want %v (overlap %.2f)", seed, whole, p[0].Box, c.Label.Panel.Rect(), o)
		}
	}
}
