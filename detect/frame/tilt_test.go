package frame

import (
	"image"
	"math"
	"testing"

	"shadowgap/detect/pixels"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// mapOf is a map of a capture of w × h pixels whose panel lies between four corners; notch cells are not panel.
func mapOf(w, h int, c [4]features.Point, notch image.Rectangle) *reader.Map {
	m := &reader.Map{Inverted: make([]float32, reader.Rows*reader.Cols), Sonar: 1}
	for k := range m.P {
		m.P[k] = make([]float32, reader.Rows*reader.Cols)
	}
	cw, ch := float64(w)/reader.Cols, float64(h)/reader.Rows
	for y := range reader.Rows {
		for x := range reader.Cols {
			q := features.Point{X: (float64(x) + 0.5) * cw, Y: (float64(y) + 0.5) * ch}
			deep := math.Inf(1) // cells inside the nearest edge
			for i := range c {
				a, b := c[i], c[(i+1)%4]
				deep = min(deep, ((b.X-a.X)*(q.Y-a.Y)-(b.Y-a.Y)*(q.X-a.X))/math.Hypot(b.X-a.X, b.Y-a.Y)/cw)
			}
			p := float32(1 / (1 + math.Exp(-4*deep)))
			if image.Pt(x, y).In(notch) {
				p = 0
			}
			m.P[reader.Outside][y*reader.Cols+x], m.P[reader.BottomPort][y*reader.Cols+x] = 1-p, p
		}
	}
	return m
}

func TestTilt(t *testing.T) {
	const w, h = 1600, 900
	turned := func(deg float64) [4]features.Point {
		var c [4]features.Point
		sin, cos := math.Sincos(deg * math.Pi / 180)
		for i, p := range [4]features.Point{{X: -500, Y: -250}, {X: 500, Y: -250}, {X: 500, Y: 250}, {X: -500, Y: 250}} {
			c[i] = features.Point{X: w/2 + cos*p.X - sin*p.Y, Y: h/2 + sin*p.X + cos*p.Y}
		}
		return c
	}
	keystone := [4]features.Point{{X: 200, Y: 90}, {X: 1450, Y: 180}, {X: 1440, Y: 760}, {X: 180, Y: 820}}
	for _, tt := range []struct {
		name   string
		c      [4]features.Point
		notch  image.Rectangle
		askew  bool
		within float64 // pixels of its corners
	}{
		{"upright", turned(0), image.Rectangle{}, false, 0},
		{"hardly turned", turned(0.3), image.Rectangle{}, false, 0},
		{"turned by 3°", turned(3), image.Rectangle{}, true, 4},
		{"turned by 15°", turned(15), image.Rectangle{}, true, 4},
		{"turned by -15°", turned(-15), image.Rectangle{}, true, 4},
		{"seen from one side", keystone, image.Rectangle{}, true, 4},
		{"with a plate over its edge", keystone, image.Rect(60, 0, 90, 25), true, 4},
		{"a quarter of it gone", turned(8), image.Rect(128, 72, 256, 144), false, 0},
	} {
		m := mapOf(w, h, tt.c, tt.notch)
		inside, _ := insidePanel(m)
		areas := components(inside)
		if len(areas) == 0 {
			t.Fatalf("%s: no area", tt.name)
		}
		got, ok := tilt(m, &pixels.Picture{W: w, H: h}, areas[0])
		if ok != tt.askew {
			t.Errorf("%s: askew %v, want %v (%v)", tt.name, ok, tt.askew, got)
			continue
		}
		for i := range got {
			if ok && math.Hypot(got[i].X-tt.c[i].X, got[i].Y-tt.c[i].Y) > tt.within {
				t.Errorf("%s: corner %d at %.1f, want %.1f", tt.name, i, got[i], tt.c[i])
			}
		}
	}
}

func TestUprightThereAndBack(t *testing.T) {
	to := [4]features.Point{{X: 0, Y: 0}, {X: 4, Y: 0}, {X: 3, Y: 2}, {X: 1, Y: 2}}
	square := [4]features.Point{{X: 0, Y: 0}, {X: 1, Y: 0}, {X: 1, Y: 1}, {X: 0, Y: 1}}
	u := newUpright(features.ProjectionOf(square, to), image.Rect(0, 0, 1, 1))
	for i, got := range u.Corners {
		if math.Hypot(got.X-to[i].X, got.Y-to[i].Y) > 1e-9 {
			t.Errorf("corner %d at %v, want %v", i, got, to[i])
		}
	}
	want := features.Point{X: 0.3, Y: 0.8}
	if got := u.FromCapture(u.ToCapture(want)); math.Hypot(got.X-want.X, got.Y-want.Y) > 1e-9 {
		t.Errorf("there and back: %v, want %v", got, want)
	}
}

// The map's corners are off by a cell or two; the edges in the picture itself aren't.
func TestStraight(t *testing.T) {
	const w, h = 640, 360
	const within = 1.5 // pixels
	box := image.Rect(16, 12, 624, 348)
	leaning := [4]features.Point{{X: 10, Y: 7}, {X: 630, Y: 16}, {X: 619, Y: 351}, {X: 22, Y: 343}}
	for _, tt := range []struct {
		name    string
		c       [4]features.Point
		dark    bool // the panel is as dark as what is around it on its left
		furnish image.Rectangle
	}{
		{"leaning", leaning, false, image.Rectangle{}},
		{"a plate over its edge", leaning, false, image.Rect(400, 0, 500, 30)},
		{"no edge on its left", [4]features.Point{{X: 16, Y: 12}, {X: 630, Y: 12}, {X: 630, Y: 348}, {X: 16, Y: 348}}, true, image.Rectangle{}},
	} {
		img := image.NewGray(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				inside := true
				for i := range tt.c {
					a, b := tt.c[i], tt.c[(i+1)%4]
					inside = inside && (b.X-a.X)*(float64(y)+0.5-a.Y)-(b.Y-a.Y)*(float64(x)+0.5-a.X) > 0
				}
				if inside && (!tt.dark || x >= w/4) && !image.Pt(x, y).In(tt.furnish) {
					img.Pix[y*img.Stride+x] = 90 + uint8(x*y%41)
				}
			}
		}
		for i, got := range straight(pixels.New(img), box) {
			if math.Hypot(got.X-tt.c[i].X, got.Y-tt.c[i].Y) > within {
				t.Errorf("%s: corner %d at %.1f, want %.1f", tt.name, i, got, tt.c[i])
			}
		}
	}
}
