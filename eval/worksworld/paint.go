package worksworld

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"strconv"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// palette runs from no echo to the strongest through evenly spaced colours.
type palette struct {
	name  string
	stops []color.RGBA
}

var palettes = []palette{
	{"grey", []color.RGBA{{0, 0, 0, 255}, {255, 255, 255, 255}}},
	{"resin", []color.RGBA{{4, 2, 0, 255}, {104, 54, 6, 255}, {206, 134, 24, 255}, {255, 220, 120, 255}, {255, 252, 232, 255}}},
	{"rust", []color.RGBA{{0, 0, 0, 255}, {92, 36, 18, 255}, {188, 92, 50, 255}, {244, 180, 128, 255}, {255, 244, 232, 255}}},
	{"moss", []color.RGBA{{0, 4, 0, 255}, {18, 76, 28, 255}, {72, 160, 60, 255}, {190, 230, 120, 255}, {250, 255, 226, 255}}},
	{"frost", []color.RGBA{{0, 0, 14, 255}, {16, 50, 118, 255}, {60, 128, 196, 255}, {164, 212, 240, 255}, {255, 255, 255, 255}}},
	{"meadow", []color.RGBA{{52, 4, 70, 255}, {56, 70, 132, 255}, {34, 138, 132, 255}, {116, 200, 88, 255}, {248, 230, 52, 255}}},
	{"sepia", []color.RGBA{{10, 8, 6, 255}, {120, 100, 78, 255}, {214, 192, 156, 255}, {255, 250, 236, 255}}},
	{"coal fire", []color.RGBA{{0, 0, 0, 255}, {96, 12, 60, 255}, {206, 60, 40, 255}, {250, 160, 40, 255}, {255, 250, 190, 255}}},
}

func (p palette) at(u float64) color.RGBA {
	u = min(max(u, 0), 1) * float64(len(p.stops)-1)
	k := min(int(u), len(p.stops)-2)
	f := u - float64(k)
	a, b := p.stops[k], p.stops[k+1]
	mix := func(x, y uint8) uint8 { return uint8(math.Round(float64(x)*(1-f) + float64(y)*f)) }
	return color.RGBA{mix(a.R, b.R), mix(a.G, b.G), mix(a.B, b.B), 255}
}

// paint draws the panel with its furniture and stores it as a reader would have it. A rim moves everything in the label.
func (c *chain) paint(v []float32, l *eval.CaptureLabel) (image.Image, error) {
	p := c.plan
	r := p.rng
	img := image.NewRGBA(image.Rect(0, 0, p.dw, p.dh))
	var lut [256]color.RGBA
	for i := range lut {
		u := float64(i) / 255
		if c.dark {
			u = 1 - u
		}
		lut[i] = c.shades.at(u)
	}
	for i, s := range v {
		q := lut[uint8(s+0.5)]
		img.Pix[4*i], img.Pix[4*i+1], img.Pix[4*i+2], img.Pix[4*i+3] = q.R, q.G, q.B, 255
	}
	if chance(r, 0.4) {
		img = c.furnish(img, l)
	}
	if chance(r, 0.4) {
		return img, nil
	}
	return eval.AsJPEG(img, between(r, 60, 95))
}

func (c *chain) furnish(img *image.RGBA, l *eval.CaptureLabel) *image.RGBA {
	p := c.plan
	r := p.rng
	ink := color.RGBA{255, 255, 255, 255}
	if chance(r, 0.5) {
		ink = color.RGBA{uint8(between(r, 90, 255)), uint8(between(r, 90, 255)), uint8(between(r, 60, 255)), 255}
	}
	if chance(r, 0.55) {
		c.rangeMarks(img, ink, l)
	}
	if chance(r, 0.6) {
		text := strconv.FormatFloat(span(r, 1, 40), 'f', 1, 64)
		if chance(r, 0.4) {
			text += " m"
		}
		c.write(img, ink, text, between(r, 3, max(4, p.dw-70)), [...]int{4, p.dh - 24}[r.IntN(2)], chance(r, 0.4), l)
	}
	if !chance(r, 0.3) {
		return img
	}
	rim := between(r, 2, 14)
	out := image.NewRGBA(image.Rect(0, 0, p.dw+2*rim, p.dh+2*rim))
	tone := color.RGBA{uint8(between(r, 0, 90)), uint8(between(r, 0, 90)), uint8(between(r, 0, 90)), 255}
	draw.Draw(out, out.Bounds(), image.NewUniform(tone), image.Point{}, draw.Src)
	draw.Draw(out, img.Bounds().Add(image.Pt(rim, rim)), img, image.Point{}, draw.Src)
	shift(l, rim)
	for _, b := range [...]image.Rectangle{image.Rect(0, 0, p.dw+2*rim, rim), image.Rect(0, p.dh+rim, p.dw+2*rim, p.dh+2*rim),
		image.Rect(0, rim, rim, p.dh+rim), image.Rect(p.dw+rim, rim, p.dw+2*rim, p.dh+rim)} {
		l.Furniture = append(l.Furniture, eval.FurnitureLabel{Kind: "bar", Box: detect.BoxOf(b)})
	}
	return out
}

// rangeMarks draws thin lines or ticks at even slant ranges, with figures at times.
func (c *chain) rangeMarks(img *image.RGBA, ink color.RGBA, l *eval.CaptureLabel) {
	p := c.plan
	r := p.rng
	step := span(r, 50, 160)
	zero := (p.nadir+0.5)*p.zx - 0.5
	long := p.dh
	if chance(r, 0.5) {
		long = between(r, 4, 12)
	}
	figures, dash := chance(r, 0.6), between(r, 1, 3)
	for k := int(-zero/step) - 1; k < int((float64(p.dw)-zero)/step)+1; k++ {
		x := int(zero + float64(k)*step)
		if k == 0 || x < 0 || x >= p.dw {
			continue
		}
		for y := range long {
			if y/4%dash == 0 {
				img.SetRGBA(x, y, ink)
			}
		}
		l.Furniture = append(l.Furniture, eval.FurnitureLabel{Kind: "line", Box: detect.Box{X: x, Y: 0, W: 1, H: long}})
		if figures && x+24 < p.dw {
			c.write(img, ink, strconv.Itoa(5*max(k, -k)), x+3, 2, false, l)
		}
	}
}

func (c *chain) write(img *image.RGBA, ink color.RGBA, text string, x, y int, plate bool, l *eval.CaptureLabel) {
	face := basicfont.Face7x13
	w := font.MeasureString(face, text).Ceil()
	b := image.Rect(x, y, x+w, y+13)
	kind := "text"
	if plate {
		kind = "plate"
		b = b.Inset(-3)
		draw.Draw(img, b, image.NewUniform(color.RGBA{20, 20, 26, 255}), image.Point{}, draw.Src)
	}
	d := font.Drawer{Dst: img, Src: image.NewUniform(ink), Face: face, Dot: fixed.P(x, y+11)}
	d.DrawString(text)
	b = b.Intersect(img.Bounds())
	l.Furniture = append(l.Furniture, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(b)})
}

// shift moves a label by d pixels right and down.
func shift(l *eval.CaptureLabel, d int) {
	move := func(b *detect.Box) {
		if b != nil {
			b.X, b.Y = b.X+d, b.Y+d
		}
	}
	move(l.Panel)
	for _, line := range [...][]detect.RowX{l.Nadir, l.FirstReturn.Port, l.FirstReturn.Starboard} {
		for i := range line {
			line[i][0] += float64(d)
			line[i][1] += float64(d)
		}
	}
	for i := range l.Marks {
		move(l.Marks[i].Highlight)
		move(l.Marks[i].Shadow)
	}
	for i := range l.Regions {
		move(&l.Regions[i].Box)
	}
	for i := range l.Furniture {
		move(&l.Furniture[i].Box)
	}
	for i := range l.LostRows {
		l.LostRows[i][0] += d
		l.LostRows[i][1] += d
	}
}
