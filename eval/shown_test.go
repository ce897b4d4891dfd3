package eval

import (
	"context"
	"errors"
	"image"
	"image/color"
	"strings"
	"testing"

	"shadowgap/detect"
)

func ramp(w, h int) image.Image {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.Set(x, y, color.NRGBA{uint8(255 * x / w), uint8(200 * x / w), uint8(100 * x / w), 255})
		}
	}
	return img
}

func TestWays(t *testing.T) {
	ways := Ways()
	if len(ways) != 29 {
		t.Errorf("%d ways, want 3 blurs, 5 scales by 4 kernels, 1 JPEG, grey, inverted and 3 palettes", len(ways))
	}
	img := ramp(200, 100)
	grey := func(c color.Color) int {
		r, g, b, _ := c.RGBA()
		return int(r/257) + int(g/257) + int(b/257)
	}
	seen := map[string]bool{}
	for _, w := range ways {
		if seen[w.Name] {
			t.Errorf("%s is there twice", w.Name)
		}
		seen[w.Name] = true
		out, err := w.show(img)
		if err != nil {
			t.Fatalf("%s: %v", w.Name, err)
		}
		b := out.Bounds()
		if want := image.Pt(scaledPx(200, w.Scale), scaledPx(100, w.Scale)); b.Size() != want || b.Min != (image.Point{}) {
			t.Errorf("%s: bounds %v, want %v from 0, 0", w.Name, b, want)
		}
		left, right := grey(out.At(2, 3)), grey(out.At(b.Max.X-3, 3))
		if brighter := right > left; brighter == (w.Name == "inverted") {
			t.Errorf("%s: %d at the dark end, %d at the bright one", w.Name, left, right)
		}
	}
}

// swathReader finds a panel as large as the picture with its lines at fixed shares of the width, off by moved pixels in pictures whose
// size is not plain.
func swathReader(plain image.Point, moved float64, refuse bool) Look {
	return func(_ context.Context, img image.Image) (*detect.Result, error) {
		size := img.Bounds().Size()
		if refuse && size != plain {
			return &detect.Result{Status: detect.StatusNoPanel}, nil
		}
		p := detect.PanelRecord{Box: detect.Box{W: size.X, H: size.Y}}
		for r := 0; r < size.Y; r += 10 {
			x := 0.25 * float64(size.X)
			if size != plain {
				x += moved
			}
			p.FirstReturn.Port = append(p.FirstReturn.Port, detect.RowX{float64(r), x - 0.5})
		}
		return &detect.Result{Status: detect.StatusRead, Panels: []detect.PanelRecord{p}}, nil
	}
}

func TestShown(t *testing.T) {
	plain, ways := image.Pt(400, 100), Ways()
	scaled := 0
	for _, w := range ways {
		if w.Scale != 1 {
			scaled++
		}
	}
	for _, tt := range []struct {
		name       string
		look       Look
		read, kept int // of len(ways), and of ten rows in each
	}{
		{"the same in all", swathReader(plain, 0, false), len(ways), 10 * len(ways)},
		// a hundredth of the width is 4 px of the picture as it is: 1.3 px at a third of its size, 10 px at 2.5 times
		{"moved by 5 px where scaled", swathReader(plain, 5, false), len(ways), 10 * (len(ways) - scaled + 12)},
		{"refused where scaled", swathReader(plain, 0, true), len(ways) - scaled, 10 * (len(ways) - scaled)},
	} {
		p, err := LookAtAll(t.Context(), ramp(plain.X, plain.Y), nil, ways, tt.look)
		if err != nil {
			t.Fatal(err)
		}
		r := Shown([]ShownPicture{p}, ways, quick())
		if r.Plain.K != 1 || r.Read.K != tt.read || r.Read.N != len(ways) || r.Kept.K != tt.kept || r.Kept.N != 10*len(ways) {
			t.Errorf("%s: read %d of %d, kept %d of %d; want %d and %d", tt.name, r.Read.K, r.Read.N, r.Kept.K, r.Kept.N, tt.read, tt.kept)
		}
		var b strings.Builder
		if err := WriteShownText(&b, r); err != nil || strings.Count(b.String(), "\n") != len(ways)+3 {
			t.Errorf("%s: table (%v)\n%s", tt.name, err, b.String())
		}
	}
	broken := errors.New("no memory")
	fail := func(context.Context, image.Image) (*detect.Result, error) { return nil, broken }
	_, err := LookAtAll(t.Context(), ramp(40, 40), nil, ways, fail)
	if !errors.Is(err, broken) {
		t.Errorf("a look that failed: %v", err)
	}
}

func TestWholeSwaths(t *testing.T) {
	_, whole := swath("a.png")
	one, half := whole, whole
	one.Side, half.FirstReturn.Port = detect.Port, nil
	l := Labels{Schema: 1, Captures: []CaptureLabel{one, whole, half}}
	if got := l.WholeSwaths(); len(got) != 1 || got[0].Side != "" || len(got[0].FirstReturn.Port) == 0 {
		t.Errorf("%+v", got)
	}
}
