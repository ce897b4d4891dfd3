package trialworld

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// layOut makes the canvas: the panel alone, with bars at its rims, or beside other panels.
func (s *screen) layOut(w, h int) {
	r := s.r
	var left, right, top, bottom int
	if chance(r, 0.45) {
		rim := func(most float64) int {
			if chance(r, 0.5) {
				return 0
			}
			return int(logUni(r, 4, most))
		}
		left, right, top, bottom = rim(200), rim(260), rim(80), rim(80)
	}
	if short := 500 - w - left - right; short > 0 && chance(r, 0.5) {
		right += short
	}
	if over := w + left + right - 1900; over > 0 {
		right = max(right-over, 0)
	}
	s.rgba = image.NewRGBA(image.Rect(0, 0, w+left+right, h+top+bottom))
	ground := color.RGBA{uint8(r.IntN(60)), uint8(r.IntN(60)), uint8(r.IntN(60)), 255}
	if chance(r, 0.2) {
		ground = color.RGBA{uint8(200 + r.IntN(56)), uint8(200 + r.IntN(56)), uint8(200 + r.IntN(56)), 255}
	}
	s.fill(s.rgba.Bounds(), ground)
	s.panel = image.Rect(left, top, left+w, top+h)
	if right > 12 {
		s.aside(image.Rect(left+w+r.IntN(4), top, left+w+right, top+h))
	}
	if left > 12 {
		s.aside(image.Rect(0, top, left-r.IntN(4), top+h))
	}
	if top > 14 {
		s.fill(image.Rect(0, 0, w+left+right, top-r.IntN(3)), color.RGBA{uint8(r.IntN(120)), uint8(r.IntN(120)), uint8(r.IntN(120)), 255})
		s.text(s.figure(), image.Pt(4+r.IntN(100), 2), 1, color.RGBA{230, 230, 230, 255})
	}
}

func (s *screen) fill(to image.Rectangle, c color.RGBA) {
	draw.Draw(s.rgba, to, image.NewUniform(c), image.Point{}, draw.Src)
}

// aside fills a strip beside the panel: the palette's ramp, a column of figures, a blank chart, or a record of the bottom straight below.
func (s *screen) aside(at image.Rectangle) {
	r := s.r
	switch k := r.Float64(); {
	case k < 0.2:
		for y := at.Min.Y; y < at.Max.Y; y++ {
			s.fill(image.Rect(at.Min.X, y, at.Max.X, y+1), s.ramp[255-(y-at.Min.Y)*255/at.Dy()])
		}
	case k < 0.5:
		for y := at.Min.Y + r.IntN(30); y < at.Max.Y-14; y += 20 + r.IntN(50) {
			s.text(s.figure(), image.Pt(at.Min.X+3, y), 1+r.IntN(2), color.RGBA{220, 220, 220, 255})
		}
	case k < 0.7:
		s.fill(at, color.RGBA{uint8(120 + r.IntN(100)), uint8(140 + r.IntN(100)), uint8(150 + r.IntN(100)), 255})
		for range 4 {
			y := at.Min.Y + r.IntN(at.Dy())
			s.fill(image.Rect(at.Min.X, y, at.Max.X, y+1), color.RGBA{90, 100, 110, 255})
		}
	default:
		s.downward(at)
	}
}

// downward is a strip looking straight down: water over a bottom that thins out.
func (s *screen) downward(at image.Rectangle) {
	r := s.r
	line := smooth1(r, at.Dx(), uni(r, 15, 80))
	depth := uni(r, 0.3, 0.7)
	noise := newSpeckler(r, 2)
	for x := at.Min.X; x < at.Max.X; x++ {
		edge := float64(at.Min.Y) + float64(at.Dy())*(depth+0.05*line[x-at.Min.X])
		for y := at.Min.Y; y < at.Max.Y; y++ {
			v := 0.05
			if d := float64(y) - edge; d > 0 {
				v = 0.9 * math.Exp(-d/(0.25*float64(at.Dy())))
			}
			s.rgba.SetRGBA(x, y, s.ramp[min(int(255*v*float64(noise.next())), 255)])
		}
	}
}

// figure is a made-up reading.
func (s *screen) figure() string {
	r := s.r
	switch r.IntN(5) {
	case 0:
		return fmt.Sprintf("%.1f m", uni(r, 1, 60))
	case 1:
		return fmt.Sprintf("%d M", 5*(1+r.IntN(12)))
	case 2:
		return fmt.Sprintf("%.1f kn", uni(r, 0, 6))
	case 3:
		return fmt.Sprintf("%02d:%02d:%02d", r.IntN(24), r.IntN(60), r.IntN(60))
	default:
		return fmt.Sprintf("T %.1f", uni(r, 2, 25))
	}
}

// text writes in the basic face, enlarged a whole number of times, and gives the box that is inked.
func (s *screen) text(what string, at image.Point, times int, c color.RGBA) image.Rectangle {
	face := basicfont.Face7x13
	w := font.MeasureString(face, what).Ceil()
	mask := image.NewAlpha(image.Rect(0, 0, w, 14))
	d := font.Drawer{Dst: mask, Src: image.Opaque, Face: face, Dot: fixed.P(0, 11)}
	d.DrawString(what)
	var inked image.Rectangle
	for y := range 14 {
		for x := range w {
			if mask.AlphaAt(x, y).A > 127 {
				px := image.Rect(at.X+x*times, at.Y+y*times, at.X+(x+1)*times, at.Y+(y+1)*times)
				s.fill(px, c)
				inked = inked.Union(px)
			}
		}
	}
	return inked.Intersect(s.rgba.Bounds())
}

// note books what lies over the panel.
func (s *screen) note(kind string, box image.Rectangle) {
	if box = box.Intersect(s.panel); !box.Empty() {
		s.furniture = append(s.furniture, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(box)})
	}
}

// furnish lays text, plates, bars, range lines and a cursor over the panel.
func (s *screen) furnish(rangeM float64) {
	r := s.r
	spot := func() image.Point {
		return image.Pt(s.panel.Min.X+r.IntN(max(s.panel.Dx()-90, 1)), s.panel.Min.Y+r.IntN(max(s.panel.Dy()-30, 1)))
	}
	if chance(r, 0.35) {
		for range 1 + r.IntN(5) {
			s.note("text", s.text(s.figure(), spot(), 1+r.IntN(2), s.ink))
		}
	}
	if chance(r, 0.25) {
		s.plate(spot())
	}
	if chance(r, 0.2) {
		n := 2 + r.IntN(4)
		for i := 1; i < n; i++ {
			x := s.panel.Min.X + s.panel.Dx()*i/n
			s.line(image.Rect(x, s.panel.Min.Y, x+1, s.panel.Max.Y))
			if chance(r, 0.6) {
				s.note("text", s.text(fmt.Sprintf("%.0f", rangeM*math.Abs(2*float64(i)/float64(n)-1)), image.Pt(x+3, s.panel.Min.Y+2), 1, s.ink))
			}
		}
	}
	if chance(r, 0.12) {
		p := spot()
		across := image.Rect(s.panel.Min.X, p.Y, s.panel.Max.X, p.Y+1)
		down := image.Rect(p.X, s.panel.Min.Y, p.X+1, s.panel.Max.Y)
		if chance(r, 0.5) {
			across, down = image.Rect(p.X-9, p.Y, p.X+10, p.Y+1), image.Rect(p.X, p.Y-9, p.X+1, p.Y+10)
		}
		for _, b := range []image.Rectangle{across, down} {
			b = b.Intersect(s.panel)
			s.fill(b, s.ink)
			s.note("cursor", b)
		}
	}
	if chance(r, 0.12) {
		wide, high := int(logUni(r, 4, 24)), int(uni(r, 0.3, 1)*float64(s.panel.Dy()))
		b := image.Rect(s.panel.Max.X-wide, s.panel.Min.Y, s.panel.Max.X, s.panel.Min.Y+high)
		for y := b.Min.Y; y < b.Max.Y; y++ {
			s.fill(image.Rect(b.Min.X, y, b.Max.X, y+1), s.ramp[255-(y-b.Min.Y)*255/b.Dy()])
		}
		s.note("bar", b)
	}
}

// line draws a whole or dotted line over the panel.
func (s *screen) line(b image.Rectangle) {
	step := 1 + s.r.IntN(2)*s.r.IntN(8)
	for y := b.Min.Y; y < b.Max.Y; y += step {
		s.fill(image.Rect(b.Min.X, y, b.Max.X, y+1), s.ink)
	}
	s.note("line", b)
}

// plate is a figure on a filled box, with a bar of scale under it at times.
func (s *screen) plate(at image.Point) {
	r := s.r
	times := 1 + r.IntN(2)
	what := s.figure()
	box := image.Rect(at.X-3, at.Y-2, at.X+7*times*len(what)+4, at.Y+14*times+2).Intersect(s.panel)
	s.fill(box, color.RGBA{uint8(r.IntN(40)), uint8(r.IntN(40)), uint8(r.IntN(40)), 255})
	s.text(what, at, times, color.RGBA{240, 240, 240, 255})
	if chance(r, 0.4) {
		bar := image.Rect(box.Min.X, box.Max.Y+3, box.Max.X, box.Max.Y+5).Intersect(s.panel)
		s.fill(bar, color.RGBA{240, 240, 240, 255})
		s.note("bar", bar)
	}
	s.note("plate", box)
}
