package screenworld

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"math/rand/v2"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/inconsolata"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// lettering is a type to write in; bitmap types have one size.
type lettering struct {
	outline *opentype.Font
	bitmap  font.Face
}

var outlines = sync.OnceValue(func() []*opentype.Font {
	var out []*opentype.Font
	for _, ttf := range [][]byte{goregular.TTF, gobold.TTF, gomono.TTF} {
		if f, err := opentype.Parse(ttf); err == nil {
			out = append(out, f)
		}
	}
	return out
})

func newLettering(r *rand.Rand) lettering {
	all := outlines()
	k := r.IntN(len(all) + 2)
	switch k {
	case len(all):
		return lettering{bitmap: basicfont.Face7x13}
	case len(all) + 1:
		return lettering{bitmap: inconsolata.Bold8x16}
	}
	return lettering{outline: all[k]}
}

// face is the type at a height in pixels.
func (l lettering) face(px float64) font.Face {
	if l.outline == nil {
		return l.bitmap
	}
	f, err := opentype.NewFace(l.outline, &opentype.FaceOptions{Size: math.Max(px, 7), DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return basicfont.Face7x13
	}
	return f
}

// write draws a text with its upper left corner at a point and returns the box of its letters.
func (s *screen) write(text string, l lettering, px float64, at image.Point, col color.Color) image.Rectangle {
	f := l.face(px)
	d := font.Drawer{Dst: s.img, Src: image.NewUniform(col), Face: f,
		Dot: fixed.Point26_6{X: fixed.I(at.X), Y: fixed.I(at.Y) + f.Metrics().Ascent}}
	b, _ := d.BoundString(text)
	d.DrawString(text)
	return image.Rect(b.Min.X.Floor(), b.Min.Y.Floor(), b.Max.X.Ceil(), b.Max.Y.Ceil()).Intersect(s.img.Bounds())
}

// extent is the width and height of a text in pixels.
func extent(text string, l lettering, px float64) image.Point {
	f := l.face(px)
	m := f.Metrics()
	return image.Pt(font.MeasureString(f, text).Ceil(), (m.Ascent + m.Descent).Ceil())
}

func (s *screen) fill(r image.Rectangle, col color.RGBA) {
	draw.Draw(s.img, r, image.NewUniform(col), image.Point{}, draw.Src)
}

// shade lays a colour over a rectangle that lets through what lies under it.
func (s *screen) shade(r image.Rectangle, col color.RGBA, opacity float64) {
	mask := image.NewUniform(color.Alpha{uint8(opacity * 255)})
	draw.DrawMask(s.img, r, image.NewUniform(col), image.Point{}, mask, image.Point{}, draw.Over)
}

// edge draws a rectangle's rim inside it.
func (s *screen) edge(r image.Rectangle, wide int, col color.RGBA) {
	for _, side := range []image.Rectangle{
		{r.Min, image.Pt(r.Max.X, r.Min.Y+wide)}, {image.Pt(r.Min.X, r.Max.Y-wide), r.Max},
		{r.Min, image.Pt(r.Min.X+wide, r.Max.Y)}, {image.Pt(r.Max.X-wide, r.Min.Y), r.Max},
	} {
		s.fill(side.Intersect(r), col)
	}
}

// dot fills a disc.
func (s *screen) dot(in image.Rectangle, x, y, radius float64, col color.RGBA) {
	for py := int(y - radius); py <= int(y+radius); py++ {
		for px := int(x - radius); px <= int(x+radius); px++ {
			if math.Hypot(float64(px)-x, float64(py)-y) <= radius && image.Pt(px, py).In(in) {
				s.img.SetRGBA(px, py, col)
			}
		}
	}
}

// stroke draws a straight line inside a rectangle.
func (s *screen) stroke(in image.Rectangle, x0, y0, x1, y1, wide float64, col color.RGBA) {
	n := max(int(math.Max(math.Abs(x1-x0), math.Abs(y1-y0))), 1)
	for i := range n + 1 {
		t := float64(i) / float64(n)
		x, y := x0+(x1-x0)*t, y0+(y1-y0)*t
		if wide <= 1.5 {
			if p := image.Pt(int(x), int(y)); p.In(in) {
				s.img.SetRGBA(p.X, p.Y, col)
			}
			continue
		}
		s.dot(in, x, y, wide/2, col)
	}
}

// words are what figures and keys are called.
var words = []string{"Depth", "Speed", "Water", "Gain", "Range", "Course", "Volts", "Log", "Trip", "Drift", "Noise", "Rate", "Tone",
	"Level", "Pulse", "Clock", "Wind", "Air", "Slope", "Fix"}

var units = []string{"m", "kn", "C", "%", "V", "dB", "kHz", "h", ""}

// figure is a number as a display shows it.
func figure(r *rand.Rand) string {
	v := math.Pow(10, between(r, -0.3, 3))
	if v < 30 {
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.0f", v)
}
