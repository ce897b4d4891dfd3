package placeworld

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"strings"

	"shadowgap/detect"
	"shadowgap/eval"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// margins lays out the screen: the record's panel, and around it, in some pictures, bars of one colour with figures in them.
func (w *world) margins(s *screen, pw, ph int, img **image.RGBA) {
	var left, top, right, bottom int
	if w.chance(0.45) {
		for _, m := range []*int{&left, &top, &right, &bottom} {
			if w.chance(0.5) {
				*m = w.between(2, 90)
			}
		}
	}
	right += max(0, 500-left-right-pw)
	*img = image.NewRGBA(image.Rect(0, 0, left+pw+right, top+ph+bottom))
	s.panel = image.Rect(left, top, left+pw, top+ph)
	fillRect(*img, (*img).Bounds(), w.colour(0, 70))
	bars := []image.Rectangle{
		image.Rect(0, 0, left+pw+right, top), image.Rect(0, top+ph, left+pw+right, top+ph+bottom),
		image.Rect(0, top, left, top+ph), image.Rect(left+pw, top, left+pw+right, top+ph),
	}
	face := w.face()
	for _, b := range bars {
		if b.Dx() < 20 || b.Dy() < 14 || w.chance(0.3) {
			continue
		}
		if w.chance(0.3) {
			fillRect(*img, b, w.colour(0, 255))
		}
		for range w.between(1, 6) {
			w.write(*img, face, b.Min.X+w.IntN(b.Dx()), b.Min.Y+w.IntN(b.Dy())+8, w.words(), w.colour(120, 255), b)
		}
	}
}

func (w *world) colour(lo, hi int) color.RGBA {
	if w.chance(0.5) {
		v := uint8(w.between(lo, hi))
		return color.RGBA{v, v, v, 255}
	}
	return color.RGBA{uint8(w.between(lo, hi)), uint8(w.between(lo, hi)), uint8(w.between(lo, hi)), 255}
}

func fillRect(img *image.RGBA, r image.Rectangle, c color.RGBA) {
	draw.Draw(img, r, image.NewUniform(c), image.Point{}, draw.Src)
}

// face is one of the fonts at hand, in a size of chance.
func (w *world) face() font.Face {
	files := [][]byte{goregular.TTF, gobold.TTF, gomono.TTF}
	k := w.IntN(len(files) + 1)
	size := w.logUni(9, 34)
	if k == len(files) {
		return basicfont.Face7x13
	}
	f, err := opentype.Parse(files[k])
	if err != nil {
		return basicfont.Face7x13
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72})
	if err != nil {
		return basicfont.Face7x13
	}
	return face
}

// words are the figures and short words that screens carry.
func (w *world) words() string {
	choices := []string{
		fmt.Sprintf("%.1f", w.uni(0, 99)), fmt.Sprintf("%d m", w.between(1, 80)), fmt.Sprintf("%.1f kn", w.uni(0, 9)),
		fmt.Sprintf("%02d:%02d:%02d", w.IntN(24), w.IntN(60), w.IntN(60)), fmt.Sprintf("%.1f°C", w.uni(2, 26)),
		fmt.Sprintf("%d kHz", w.between(200, 1300)),
		fmt.Sprintf("%d M", w.between(1, 9)*10), "depth", "gain", "A", "REC", fmt.Sprint(w.between(0, 999)),
	}
	return choices[w.IntN(len(choices))]
}

// write draws text with its baseline at y, clipped, and gives the box of its ink.
func (w *world) write(img *image.RGBA, face font.Face, x, y int, text string, c color.RGBA, clip image.Rectangle) image.Rectangle {
	sub, ok := img.SubImage(clip).(*image.RGBA)
	if !ok {
		return image.Rectangle{}
	}
	d := font.Drawer{Dst: sub, Src: image.NewUniform(c), Face: face, Dot: fixed.P(x, y)}
	b, _ := d.BoundString(text)
	d.DrawString(text)
	return image.Rect(b.Min.X.Floor(), b.Min.Y.Floor(), b.Max.X.Ceil(), b.Max.Y.Ceil()).Intersect(clip)
}

func (s *screen) note(kind string, r image.Rectangle) {
	if r = r.Intersect(s.panel); !r.Empty() {
		s.furniture = append(s.furniture, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(r)})
	}
}

// fittings draws what lies over the record.
func (w *world) fittings(s *screen, img *image.RGBA) {
	p := s.panel
	face := w.face()
	anywhere := func() (int, int) { return p.Min.X + w.IntN(p.Dx()), p.Min.Y + 8 + w.IntN(p.Dy()-8) }
	if w.chance(0.4) {
		for range w.between(1, 6) {
			x, y := anywhere()
			s.note("text", w.write(img, face, x, y, w.words(), w.colour(100, 255), p))
		}
	}
	if w.chance(0.2) {
		for range w.between(1, 3) {
			w.plate(s, img, face)
		}
	}
	if w.chance(0.25) {
		w.scaleLines(s, img, face)
	}
	if w.chance(0.15) {
		x, y := anywhere()
		c := w.colour(100, 255)
		arm := w.between(4, 40)
		for _, r := range []image.Rectangle{image.Rect(x-arm, y, x+arm+1, y+w.between(1, 2)), image.Rect(x, y-arm, x+w.between(1, 2), y+arm+1)} {
			fillRect(img, r.Intersect(p), c)
		}
		s.note("cursor", image.Rect(x-arm, y-arm, x+arm+1, y+arm+1))
	}
	if w.chance(0.1) {
		x, y := anywhere()
		c := w.colour(60, 255)
		for _, r := range []image.Rectangle{image.Rect(p.Min.X, y, p.Max.X, y+1), image.Rect(x, p.Min.Y, x+1, p.Max.Y)} {
			fillRect(img, r.Intersect(p), c)
			s.note("cursor", r)
		}
	}
	if w.chance(0.15) {
		w.bar(s, img)
	}
}

// plate is text on a filled box.
func (w *world) plate(s *screen, img *image.RGBA, face font.Face) {
	p := s.panel
	text := w.words()
	wide := font.MeasureString(face, text).Ceil()
	tall := face.Metrics().Ascent.Ceil()
	pad := w.between(1, 8)
	x, y := p.Min.X+w.IntN(max(1, p.Dx()-wide)), p.Min.Y+w.IntN(max(1, p.Dy()-tall))
	if w.chance(0.4) {
		x, y = p.Min.X, p.Min.Y
	}
	r := image.Rect(x, y, x+wide+2*pad, y+tall+2*pad).Intersect(p)
	fillRect(img, r, w.colour(0, 60))
	w.write(img, face, x+pad, y+pad+tall-2, text, w.colour(150, 255), r)
	s.note("plate", r)
}

// scaleLines are thin lines at steps of range, whole or dashed, with or without their figures.
func (w *world) scaleLines(s *screen, img *image.RGBA, face font.Face) {
	p := s.panel
	c := w.colour(60, 255)
	n := w.between(2, 6)
	dash := 1
	if w.chance(0.5) {
		dash = w.between(2, 12)
	}
	figures := w.chance(0.6)
	across := w.chance(0.15)
	for k := 1; k < n; k++ {
		x, y := p.Min.X+p.Dx()*k/n, p.Min.Y+p.Dy()*k/n
		if across {
			for i := p.Min.X; i < p.Max.X; i++ {
				if (i/dash)%2 == 0 || dash == 1 {
					img.SetRGBA(i, y, c)
				}
			}
			s.note("line", image.Rect(p.Min.X, y, p.Max.X, y+1))
			continue
		}
		for i := p.Min.Y; i < p.Max.Y; i++ {
			if (i/dash)%2 == 0 || dash == 1 {
				img.SetRGBA(x, i, c)
			}
		}
		s.note("line", image.Rect(x, p.Min.Y, x+1, p.Max.Y))
		if figures {
			text := strings.TrimSuffix(fmt.Sprintf("%.1f", w.rangeM*float64(k)/float64(n)), ".0")
			s.note("text", w.write(img, face, x+2, p.Min.Y+face.Metrics().Ascent.Ceil()+1, text, c, p))
		}
	}
}

// bar is a strip of steps of brightness along a rim of the panel.
func (w *world) bar(s *screen, img *image.RGBA) {
	p := s.panel
	wide, long := w.between(5, 24), w.between(p.Dy()/6, p.Dy()/2)
	x, y := p.Min.X+w.between(0, 12), p.Min.Y+w.IntN(p.Dy()-long)
	if w.chance(0.5) {
		x = p.Max.X - wide - w.between(0, 12)
	}
	c := w.colour(100, 255)
	for i := range long {
		f := float64(i) / float64(long)
		step := color.RGBA{uint8(f * float64(c.R)), uint8(f * float64(c.G)), uint8(f * float64(c.B)), 255}
		fillRect(img, image.Rect(x, y+i, x+wide, y+i+1), step)
	}
	s.note("bar", image.Rect(x, y, x+wide, y+long))
}
