package frame_test

import (
	"context"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"shadowgap/detect/frame"
)

func find(t testing.TB, img image.Image) ([]frame.Panel, string) {
	t.Helper()
	p, why, err := frame.Find(context.Background(), img, frame.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if (len(p) == 0) != (why != "") {
		t.Errorf("%d panels with reason %q: want exactly one of the two", len(p), why)
	}
	for _, q := range p {
		if q.Echo.Rows != q.Box.Dy() || q.Echo.Cols != q.Box.Dx() || len(q.Valid) != len(q.Echo.V) {
			t.Errorf("box %v, echo %d × %d, %d valid flags: they don't fit", q.Box, q.Echo.Rows, q.Echo.Cols, len(q.Valid))
		}
		if !q.Box.In(image.Rect(0, 0, img.Bounds().Dx(), img.Bounds().Dy())) {
			t.Errorf("box %v lies outside the picture", q.Box)
		}
		if q.Confidence < 0 || q.Confidence > 1 {
			t.Errorf("confidence %v", q.Confidence)
		}
		for i, v := range q.Echo.V {
			if !(v >= 0 && v <= 1) || q.Valid[i] > 1 {
				t.Fatalf("pixel %d: echo %v, valid %d", i, v, q.Valid[i])
			}
		}
	}
	return p, why
}

func TestNoSideScan(t *testing.T) {
	for seed := range uint64(2) {
		for name, img := range fakes(t, seed, 480, 360) {
			if p, _ := find(t, img); len(p) != 0 {
				t.Errorf("seed %d, %s: panel %v with confidence %.2f: %v", seed, name, p[0].Box, p[0].Confidence, p[0].Notes)
			}
		}
	}
}

func TestOddPictures(t *testing.T) {
	filled := func(w, h int, v uint8) image.Image {
		m := image.NewGray(image.Rect(0, 0, w, h))
		for i := range m.Pix {
			m.Pix[i] = v
		}
		return m
	}
	dots := image.NewGray(image.Rect(0, 0, 300, 200))
	dots.SetGray(7, 9, color.Gray{200})
	tests := []struct {
		name string
		img  image.Image
		why  string
	}{
		{"empty", image.NewGray(image.Rectangle{}), "too small"},
		{"one pixel", filled(1, 1, 9), "too small"},
		{"one row", filled(20000, 1, 9), "too small"},
		{"one column", filled(1, 20000, 9), "too small"},
		{"just too small", filled(47, 300, 9), "too small"},
		{"black", filled(640, 480, 0), "flat"},
		{"white", filled(640, 480, 255), "flat"},
		{"large and black", filled(9000, 4000, 0), "flat"},
		{"one dot", dots, ""},
		{"long and thin", filled(20000, 60, 3), "flat"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, why := find(t, tt.img)
			if len(p) != 0 || !strings.Contains(why, tt.why) {
				t.Errorf("%d panels, reason %q, want none and %q", len(p), why, tt.why)
			}
		})
	}
}

// paints are palettes of this test's own: the last two don't grow steadily in brightness.
var paints = map[string]struct {
	paint    func(v float64) color.RGBA
	inverted bool
}{
	"grey":          {greyPaint, false},
	"copper":        {copperPaint, false},
	"grey inverted": {func(v float64) color.RGBA { return greyPaint(1 - v) }, true},
	"blue to white": {func(v float64) color.RGBA {
		return color.RGBA{uint8(250 * v * v), uint8(20 + 230*v), uint8(60 + 195*math.Sqrt(v)), 255}
	}, false},
	"green": {func(v float64) color.RGBA {
		return color.RGBA{uint8(200 * v * v), uint8(255 * v), uint8(180 * v * v), 255}
	}, false},
	"paper": {func(v float64) color.RGBA {
		return color.RGBA{uint8(250 - 215*v), uint8(240 - 225*v), uint8(215 - 205*v), 255}
	}, true},
	"black red yellow green": {func(v float64) color.RGBA {
		switch {
		case v < 0.35:
			return color.RGBA{uint8(230 * v / 0.35), 0, 0, 255}
		case v < 0.7:
			return color.RGBA{230, uint8(220 * (v - 0.35) / 0.35), 0, 255}
		}
		return color.RGBA{uint8(230 * (1 - v) / 0.3), 220 - uint8(60*(v-0.7)/0.3), 0, 255}
	}, false},
}

func TestNadirOutsideThePicture(t *testing.T) {
	wide := image.NewGray(image.Rect(0, 0, 300, 200))
	panels, why, err := frame.Find(context.Background(), wide, frame.Options{NadirX: 301})
	if err != nil || len(panels) != 0 || !strings.Contains(why, "lies outside the picture") {
		t.Errorf("%d panels, %q, %v", len(panels), why, err)
	}
}

func TestPalettes(t *testing.T) {
	const w, h = 640, 400
	plain := capture(rand.New(rand.NewPCG(3, 3)), w, h, greyPaint)
	for name, tt := range paints {
		for _, quality := range []int{0, 85} {
			var img image.Image = capture(rand.New(rand.NewPCG(3, 3)), w, h, tt.paint)
			if quality > 0 {
				img = viaJPEG(t, img, quality)
			}
			p, why := find(t, img)
			if len(p) != 1 {
				t.Errorf("%s at quality %d: %d panels (%s)", name, quality, len(p), why)
				continue
			}
			q := p[0]
			if q.Inverted != tt.inverted {
				t.Errorf("%s at quality %d: inverted %v: %v", name, quality, q.Inverted, q.Notes)
			}
			if want := image.Rect(0, h/20, w, h); overlap(q.Box, want) < 0.97 {
				t.Errorf("%s at quality %d: box %v, want %v", name, quality, q.Box, want)
			}
			// rough: a cell of the map is 2.5 pixels here
			if q.Nadir == nil || math.Abs(q.Nadir[len(q.Nadir)/2]+float64(q.Box.Min.X)-w/2) > 3 {
				t.Errorf("%s at quality %d: nadir %v", name, quality, q.Nadir != nil)
			}
			var a, b []float64
			for y := q.Box.Min.Y; y < q.Box.Max.Y; y += 3 {
				for x := q.Box.Min.X; x < q.Box.Max.X; x += 5 {
					a = append(a, float64(q.Echo.At(y-q.Box.Min.Y, x-q.Box.Min.X)))
					b = append(b, float64(plain.RGBAAt(x, y).R))
				}
			}
			least := 0.99
			if quality > 0 {
				least = 0.85
			}
			if rho := rankCorrelation(a, b); rho < least {
				t.Errorf("%s at quality %d: rank correlation with true echo strength %.3f, want at least %.2f", name, quality, rho, least)
			}
		}
	}
}

func overlap(a, b image.Rectangle) float64 {
	in := a.Intersect(b)
	inter := float64(in.Dx() * in.Dy())
	return inter / (float64(a.Dx()*a.Dy()+b.Dx()*b.Dy()) - inter)
}

func ranks(v []float64) []float64 {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case v[a] < v[b]:
			return -1
		case v[a] > v[b]:
			return 1
		}
		return 0
	})
	r := make([]float64, len(v))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && v[order[j]] == v[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			r[order[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	return r
}

func rankCorrelation(a, b []float64) float64 {
	a, b = ranks(a), ranks(b)
	n := float64(len(a))
	var ma, mb, ab, aa, bb float64
	for i := range a {
		ma, mb = ma+a[i]/n, mb+b[i]/n
	}
	for i := range a {
		ab += (a[i] - ma) * (b[i] - mb)
		aa += (a[i] - ma) * (a[i] - ma)
		bb += (b[i] - mb) * (b[i] - mb)
	}
	return ab / math.Sqrt(aa*bb)
}

// TestImageTypes reads one picture through every type Go's decoders return.
func TestImageTypes(t *testing.T) {
	src := capture(rand.New(rand.NewPCG(5, 5)), 400, 300, greyPaint)
	b := src.Bounds()
	ref, _ := find(t, src)
	if len(ref) != 1 {
		t.Fatal("no panel in the reference picture")
	}
	grey := make(color.Palette, 256)
	for i := range grey {
		grey[i] = color.Gray{uint8(i)}
	}
	moved := image.NewRGBA(image.Rect(-50, 20, 350, 320))
	draw.Draw(moved, moved.Bounds(), src, image.Point{}, draw.Src)
	for name, dst := range map[string]draw.Image{
		"NRGBA": image.NewNRGBA(b), "Gray": image.NewGray(b), "Gray16": image.NewGray16(b), "NRGBA64": image.NewNRGBA64(b),
		"RGBA64": image.NewRGBA64(b), "Paletted": image.NewPaletted(b, grey), "CMYK": image.NewCMYK(b), "moved origin": moved,
	} {
		if name != "moved origin" {
			draw.Draw(dst, b, src, image.Point{}, draw.Src)
		}
		p, why := find(t, dst)
		if len(p) != 1 {
			t.Errorf("%s: %d panels (%s)", name, len(p), why)
			continue
		}
		if p[0].Box != ref[0].Box {
			t.Errorf("%s: box %v, want %v", name, p[0].Box, ref[0].Box)
			continue
		}
		for i, v := range p[0].Echo.V {
			if math.Abs(float64(v-ref[0].Echo.V[i])) > 0.004 {
				t.Errorf("%s: echo strength %v at %d, want %v", name, v, i, ref[0].Echo.V[i])
				break
			}
		}
	}
}

// TestDeepGrey keeps more than 256 levels of a 12-bit recording in a 16-bit picture.
func TestDeepGrey(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	shown := capture(rand.New(rand.NewPCG(8, 9)), 600, 400, greyPaint)
	m := image.NewGray16(shown.Bounds())
	for y := range 400 {
		for x := range 600 {
			m.SetGray16(x, y, color.Gray16{uint16(16*int(shown.RGBAAt(x, y).G) + rng.IntN(16))})
		}
	}
	p, why := find(t, m)
	if len(p) != 1 {
		t.Fatalf("%d panels (%s)", len(p), why)
	}
	levels := map[float32]bool{}
	for _, v := range p[0].Echo.V {
		levels[v] = true
	}
	if len(levels) < 1000 {
		t.Errorf("%d levels of echo strength left, want the recording's thousands", len(levels))
	}
}

// TestFurniture draws a cursor in a colour of its own and a ruled line over the panel.
func TestFurniture(t *testing.T) {
	m := capture(rand.New(rand.NewPCG(9, 9)), 640, 400, greyPaint)
	red := image.NewUniform(color.RGBA{230, 60, 50, 255})
	draw.Draw(m, image.Rect(90, 200, 111, 202), red, image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(100, 190, 102, 212), red, image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(520, 20, 521, 400), image.NewUniform(color.RGBA{235, 235, 235, 255}), image.Point{}, draw.Src)
	p, why := find(t, m)
	if len(p) != 1 {
		t.Fatalf("%d panels (%s)", len(p), why)
	}
	q := p[0]
	valid := func(x, y int) bool { return q.Valid[(y-q.Box.Min.Y)*q.Box.Dx()+x-q.Box.Min.X] == 1 }
	for _, at := range []image.Point{{95, 200}, {100, 195}, {520, 50}, {520, 333}} {
		if valid(at.X, at.Y) {
			t.Errorf("furniture at %v counts as echo", at)
		}
	}
	bad := 0
	for _, v := range q.Valid {
		if v == 0 {
			bad++
		}
	}
	if bad > 900 {
		t.Errorf("%d pixels taken for furniture, drawn were about 460", bad)
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, _, err := frame.Find(ctx, capture(rand.New(rand.NewPCG(1, 1)), 400, 300, greyPaint), frame.Options{})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want the context's", err)
	}
}
