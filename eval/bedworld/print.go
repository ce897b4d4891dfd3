package bedworld

import (
	"image"
	"image/color"
	"math"
	"strconv"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"shadowgap/detect"
	"shadowgap/eval"
)

// palette is a colour scale: each channel is white to the power of its exponent, clipped at its share of 255.
type palette struct {
	name   string
	power  [3]float64
	reach  [3]float64
	colour bool
}

// palettes are the displays' colours. Grey comes first.
var palettes = []palette{
	{name: "grey"},
	{name: "amber", power: [3]float64{0.75, 1.1, 2.4}, reach: [3]float64{1, 0.86, 0.45}, colour: true},
	{name: "copper", power: [3]float64{0.7, 1, 1.15}, reach: [3]float64{1, 0.7, 0.48}, colour: true},
}

// furnish draws what lies over the echo: plates with or without text, and white lines.
func (w *world) furnish() {
	if w.chance(0.3) {
		for range w.whole(1, 3) {
			w.plate()
		}
	}
	if w.chance(0.2) {
		b := detect.Box{X: w.IntN(w.w - 2), W: w.whole(1, 2), H: w.h}
		if w.chance(0.3) {
			b = detect.Box{Y: w.IntN(w.h - 2), W: w.w, H: 1}
		}
		w.line(b)
	}
	if w.swath && w.chance(0.2) {
		w.line(detect.Box{X: w.w/2 - 1, W: w.whole(1, 2), H: w.h})
	}
}

// plate draws a black block with a range label, upright or turned, and a tick beside it. It keeps off the marks, since what lies under
// a plate is not seen.
func (w *world) plate() {
	face := basicfont.Face7x13
	text := strconv.Itoa(5*w.whole(1, 12)) + [3]string{"", " m", "m"}[w.IntN(3)]
	if w.chance(0.15) {
		text = ""
	}
	long, thick := 7*max(len(text), 3)+6, 16
	block := image.NewGray(image.Rect(0, 0, long, thick))
	pen := font.Drawer{Dst: block, Src: image.NewUniform(color.Gray{Y: 250}), Face: face, Dot: fixed.P(3, 12)}
	pen.DrawString(text)
	turned := w.chance(0.5)
	b := detect.Box{W: long, H: thick}
	if turned {
		b.W, b.H = thick, long
	}
	if b.W+2 > w.w || b.H+14 > w.h {
		return
	}
	b.X, b.Y = w.IntN(w.w-b.W), w.IntN(w.h-b.H-12)
	whole := b
	whole.H += 12
	if w.covers(whole) {
		return
	}
	for y := range b.H {
		for x := range b.W {
			v := block.GrayAt(x, y)
			if turned {
				v = block.GrayAt(b.H-1-y, x)
			}
			w.set(b.X+x, b.Y+y, float32(v.Y))
		}
	}
	if w.chance(0.5) {
		w.fill(detect.Box{X: b.X + b.W/2, Y: b.Y + b.H, W: 2, H: 12}, 240)
		b = whole
	}
	w.furniture = append(w.furniture, eval.FurnitureLabel{Kind: "plate", Box: b})
}

// covers says whether a box touches a mark.
func (w *world) covers(b detect.Box) bool {
	for _, m := range w.marks {
		for _, part := range []*detect.Box{m.Highlight, m.Shadow} {
			if part != nil && part.Rect().Overlaps(b.Rect()) {
				return true
			}
		}
	}
	return false
}

// line draws a white line.
func (w *world) line(b detect.Box) {
	w.fill(b, float32(w.between(150, 255)))
	w.furniture = append(w.furniture, eval.FurnitureLabel{Kind: "line", Box: b})
}

func (w *world) fill(b detect.Box, v float32) {
	for y := b.Y; y < b.Y+b.H; y++ {
		for x := b.X; x < b.X+b.W; x++ {
			w.set(x, y, v)
		}
	}
}

func (w *world) set(x, y int, v float32) { w.with.v[y*w.w+x] = v }

// print is the finished picture in its palette, compressed and read back where the capture was stored so.
func (w *world) print() (image.Image, error) {
	p := palettes[w.tone.palette]
	plain := image.NewGray(image.Rect(0, 0, w.w, w.h))
	for k, v := range w.with.v {
		plain.Pix[k] = uint8(min(max(v+0.5, 0), 255))
	}
	var img image.Image = plain
	if p.colour {
		img = p.paint(plain)
	}
	if w.tone.compress == 0 {
		return img, nil
	}
	return eval.AsJPEG(img, w.tone.compress)
}

// paint colours a grey picture.
func (p palette) paint(plain *image.Gray) *image.RGBA {
	var table [256]color.RGBA
	for k := range table {
		f := float64(k) / 255
		channel := func(c int) uint8 { return uint8(math.Round(255 * p.reach[c] * math.Pow(f, p.power[c]))) }
		table[k] = color.RGBA{R: channel(0), G: channel(1), B: channel(2), A: 255}
	}
	out := image.NewRGBA(plain.Rect)
	for k, v := range plain.Pix {
		c := table[v]
		out.Pix[4*k], out.Pix[4*k+1], out.Pix[4*k+2], out.Pix[4*k+3] = c.R, c.G, c.B, c.A
	}
	return out
}
