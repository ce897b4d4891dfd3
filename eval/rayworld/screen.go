package rayworld

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/font/inconsolata"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is one drawn picture with its truth.
type Capture struct {
	Image image.Image // the decoded picture, after any JPEG
	Label eval.CaptureLabel
}

// Render draws the capture of a seed; the same seed gives the same picture. It fails only when ctx ends or the picture can't be coded.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	d := newDice(seed)
	sc, err := newScene(ctx, d)
	if err != nil {
		return nil, fmt.Errorf("laying out scene %d: %w", seed, err)
	}
	found := sc.truth()
	v := sc.newView()
	r := sc.listen()
	sc.tone(r, v)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("drawing scene %d: %w", seed, err)
	}
	soft := 1.0
	if d.chance(0.35) {
		soft = d.in(1, 2)
	}
	method := d.intIn(0, 2)
	if soft > 1 {
		method = 1
	}
	shown := resample(r.amp, r.w, v.c0, newTaps(v.c1-v.c0, v.w, method, soft), newTaps(r.h, v.h, method, soft))
	roughen(d, shown, v.w)
	scr := newScreen(d, v)
	scr.panel(shown)
	scr.furnish(sc)
	img, err := scr.stored()
	if err != nil {
		return nil, fmt.Errorf("storing scene %d: %w", seed, err)
	}
	label := sc.label(v, r, scr, img, found)
	label.Capture = fmt.Sprintf("rayworld-%d.png", seed)
	return &Capture{Image: img, Label: label}, nil
}

// roughen does now and then what viewers do to a finished panel: sharpen it, cut it to few levels, or add noise of single pixels.
func roughen(d dice, shown []float32, w int) {
	if d.chance(0.1) {
		k := float32(d.in(0.2, 1.2))
		above := append([]float32(nil), shown[:w]...)
		was := make([]float32, w)
		for y := w; y+w < len(shown); y += w {
			row, below := shown[y:y+w], shown[y+w:y+2*w]
			copy(was, row)
			for x := 1; x < w-1; x++ {
				row[x] += k * (was[x] - (was[x-1]+was[x+1]+above[x]+below[x])/4)
			}
			above, was = was, above
		}
	}
	if d.chance(0.1) {
		amp := float32(d.logIn(0.01, 0.1))
		for i := range shown {
			shown[i] += amp * (d.Float32() + d.Float32() - 1)
		}
	}
	if d.chance(0.08) {
		levels := float32(d.intIn(7, 40))
		for i, v := range shown {
			shown[i] = float32(int(max(v, 0)*levels+0.5)) / levels
		}
	}
}

// screen is the picture being drawn.
type screen struct {
	d         dice
	v         view
	img       *image.RGBA
	ramp      [256]color.RGBA
	palette   string
	inverted  bool
	furniture []eval.FurnitureLabel
}

func newScreen(d dice, v view) *screen {
	s := &screen{d: d, v: v, img: image.NewRGBA(image.Rect(0, 0, v.fullW, v.fullH))}
	s.pickRamp()
	bar := s.ramp[d.IntN(256)]
	if d.chance(0.6) {
		g := uint8(d.IntN(256) * d.IntN(2))
		bar = color.RGBA{g, g, g, 255}
	}
	draw.Draw(s.img, s.img.Bounds(), image.NewUniform(bar), image.Point{}, draw.Src)
	return s
}

// pickRamp computes a palette whose luminance never falls (or, inverted, never rises).
func (s *screen) pickRamp() {
	d := s.d
	kind := d.IntN(10)
	var f func(t float64) (r, g, b float64)
	switch {
	case kind < 4:
		s.palette = "grey"
		f = func(t float64) (float64, float64, float64) { return t, t, t }
	case kind < 8:
		s.palette = "ramp"
		a, b, c := d.logIn(0.35, 1), d.logIn(0.8, 2), d.logIn(1, 5)
		p, q, w := d.in(0.7, 1), d.in(0.5, 1), d.in(0.1, 1)
		turn := d.IntN(3)
		if d.chance(0.6) {
			turn = 0
		}
		f = func(t float64) (float64, float64, float64) {
			x, y, z := p*math.Pow(t, a), q*math.Pow(t, b), w*math.Pow(t, c)
			switch turn {
			case 1:
				return y, z + 0.6*x, x
			case 2:
				return z, x, y
			}
			return x, y, z
		}
	default:
		// Cubehelix: D. A. Green, Bull. Astr. Soc. India 39 (2011) 289; start, turns and hue drawn.
		s.palette = "helix"
		start, turns, hue := d.in(0, 3), d.in(-1.2, 1.2), d.in(0.4, 1.2)
		f = func(t float64) (float64, float64, float64) {
			phi := 2 * math.Pi * (start/3 + turns*t)
			a := hue * t * (1 - t) / 2
			c, n := math.Cos(phi), math.Sin(phi)
			return t + a*(-0.14861*c+1.78277*n), t + a*(-0.29227*c-0.90649*n), t + a*1.97294*c
		}
	}
	s.inverted = d.chance(0.12)
	for i := range s.ramp {
		t := float64(i) / 255
		if s.inverted {
			t = 1 - t
		}
		r, g, b := f(t)
		s.ramp[i] = color.RGBA{byte255(r), byte255(g), byte255(b), 255}
	}
}

func byte255(v float64) uint8 { return uint8(min(max(v, 0), 1)*255 + 0.5) }

// panel puts the shown echo, 0..1, into the picture.
func (s *screen) panel(shown []float32) {
	for y := range s.v.h {
		row := shown[y*s.v.w : (y+1)*s.v.w]
		at := s.img.PixOffset(s.v.x, s.v.y+y)
		for _, t := range row {
			c := s.ramp[int(min(max(t, 0), 1)*255+0.5)]
			s.img.Pix[at], s.img.Pix[at+1], s.img.Pix[at+2], s.img.Pix[at+3] = c.R, c.G, c.B, 255
			at += 4
		}
	}
}

// furnish draws letters, figures, plates, bars and lines over the panel and beside it.
func (s *screen) furnish(sc *scene) {
	d := s.d
	if d.chance(0.35) {
		for range d.intIn(1, 5) {
			s.text(d.chance(0.4))
		}
	}
	if d.chance(0.15) {
		s.ticks(sc)
	}
	if d.chance(0.12) {
		x, y := s.v.x+d.IntN(s.v.w), s.v.y+d.IntN(s.v.h)
		c := s.ink()
		if d.chance(0.7) {
			s.fill(image.Rect(x, s.v.y, x+1, s.v.y+s.v.h), c)
			s.note("cursor", image.Rect(x, s.v.y, x+1, s.v.y+s.v.h))
		}
		if d.chance(0.7) {
			s.fill(image.Rect(s.v.x, y, s.v.x+s.v.w, y+1), c)
			s.note("cursor", image.Rect(s.v.x, y, s.v.x+s.v.w, y+1))
		}
	}
	if d.chance(0.1) && s.v.side < 0 {
		x := int(s.v.px(float64(sc.bins)))
		w := d.intIn(1, 3)
		s.fill(image.Rect(x-w/2, s.v.y, x-w/2+w, s.v.y+s.v.h), s.ink())
	}
	if d.chance(0.1) {
		w := d.intIn(4, 24)
		x := s.v.x
		if d.chance(0.5) {
			x += s.v.w - w
		}
		top := s.v.y + d.IntN(s.v.h/3+1)
		box := image.Rect(x, top, x+w, min(top+d.intIn(60, 400), s.v.y+s.v.h))
		for y := box.Min.Y; y < box.Max.Y; y++ {
			t := 255 * (y - box.Min.Y) / box.Dy()
			s.fill(image.Rect(box.Min.X, y, box.Max.X, y+1), s.ramp[t])
		}
		s.note("bar", box)
	}
}

func (s *screen) ink() color.RGBA {
	d := s.d
	switch d.IntN(4) {
	case 0:
		return color.RGBA{255, 255, 255, 255}
	case 1:
		return color.RGBA{0, 0, 0, 255}
	case 2:
		return color.RGBA{uint8(d.IntN(256)), uint8(d.IntN(256)), uint8(d.IntN(256)), 255}
	}
	return color.RGBA{255, uint8(d.intIn(120, 255)), 0, 255}
}

func (s *screen) fill(r image.Rectangle, c color.Color) {
	draw.Draw(s.img, r, image.NewUniform(c), image.Point{}, draw.Src)
}

func (s *screen) note(kind string, r image.Rectangle) {
	r = r.Intersect(s.v.rect())
	if !r.Empty() {
		s.furniture = append(s.furniture, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(r)})
	}
}

func (v view) rect() image.Rectangle { return image.Rect(v.x, v.y, v.x+v.w, v.y+v.h) }

// text writes a few figures or letters somewhere, with or without a plate under them.
func (s *screen) text(plate bool) {
	d := s.d
	words := []string{
		fmt.Sprintf("%.1f m", d.in(1, 60)), fmt.Sprintf("%d", d.IntN(100)), fmt.Sprintf("%02d:%02d:%02d", d.IntN(24), d.IntN(60), d.IntN(60)),
		fmt.Sprintf("%.1f kn", d.in(0, 9)), fmt.Sprintf("%.1f C", d.in(2, 25)), "PORT", "STBD",
		fmt.Sprintf("%d kHz", d.IntN(12)*100+200), "DEPTH", "R", "L",
	}
	s.write(words[d.IntN(len(words))], d.IntN(s.v.fullW), d.IntN(s.v.fullH), plate, d.intIn(1, 3), s.ink())
}

// write draws a string with its upper left corner at (x, y), enlarged by whole pixels.
func (s *screen) write(word string, x, y int, plate bool, scale int, ink color.RGBA) {
	face := font.Face(basicfont.Face7x13)
	if s.d.chance(0.5) {
		face = inconsolata.Regular8x16
	}
	w, h := font.MeasureString(face, word).Ceil(), face.Metrics().Height.Ceil()
	mask := image.NewAlpha(image.Rect(0, 0, w, h))
	(&font.Drawer{Dst: mask, Src: image.Opaque, Face: face, Dot: fixed.P(0, face.Metrics().Ascent.Ceil())}).DrawString(word)
	box := image.Rect(x-2, y-2, x+w*scale+2, y+h*scale+2)
	kind := "text"
	if plate {
		kind = "plate"
		bg := color.RGBA{0, 0, 0, 255}
		if ink.R == 0 {
			bg = color.RGBA{230, 230, 230, 255}
		}
		s.fill(box, bg)
	}
	for j := range h * scale {
		for i := range w * scale {
			if mask.AlphaAt(i/scale, j/scale).A > 100 && image.Pt(x+i, y+j).In(s.img.Rect) {
				s.img.SetRGBA(x+i, y+j, ink)
			}
		}
	}
	s.note(kind, box)
}

// ticks draws range figures along a rim, and now and then range lines.
func (s *screen) ticks(sc *scene) {
	d := s.d
	ink := s.ink()
	n := d.intIn(2, 6)
	y := s.v.y + 2
	if d.chance(0.5) {
		y = s.v.y + s.v.h - 18
	}
	lines := d.chance(0.4)
	for side := range 2 {
		if s.v.side >= 0 && s.v.side != side {
			continue
		}
		for i := 1; i < n; i++ {
			b := float64(i) / float64(n) * float64(sc.bins)
			x := int(s.v.px(sc.column(side, b)))
			if x < s.v.x || x > s.v.x+s.v.w-8 {
				continue
			}
			s.write(fmt.Sprintf("%.0f", b*sc.binM), x, y, false, 1, ink)
			if lines {
				r := image.Rect(x, s.v.y, x+1, s.v.y+s.v.h)
				s.fill(r, ink)
				s.note("line", r)
			}
		}
	}
}

// stored is the picture as a file would give it back.
func (s *screen) stored() (image.Image, error) {
	if s.d.chance(0.4) {
		return s.img, nil
	}
	return eval.AsJPEG(s.img, s.d.intIn(60, 95))
}
