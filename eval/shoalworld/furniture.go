package shoalworld

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"strings"

	"shadowgap/detect"
	"shadowgap/eval"
)

// glyphs are figures of three by five dots, each row's bits from the left.
var glyphs = map[rune][5]uint8{
	'0': {7, 5, 5, 5, 7}, '1': {2, 6, 2, 2, 7}, '2': {7, 1, 7, 4, 7}, '3': {7, 1, 3, 1, 7}, '4': {5, 5, 7, 1, 1},
	'5': {7, 4, 7, 1, 7}, '6': {7, 4, 7, 5, 7}, '7': {7, 1, 2, 2, 2}, '8': {7, 5, 7, 5, 7}, '9': {7, 5, 7, 1, 7},
	'.': {0, 0, 0, 0, 2}, 'm': {0, 7, 7, 5, 5}, ':': {0, 2, 0, 2, 0}, 'C': {7, 4, 4, 4, 7}, '-': {0, 0, 7, 0, 0},
}

// item is one piece of furniture: a filled box, a frame of it, or figures, on a plate or not.
type item struct {
	kind   string
	box    detect.Box
	ink    color.RGBA
	plate  color.RGBA
	text   string
	size   int // pixels a dot of a figure takes
	dashed bool
}

func (it item) draw(img *image.RGBA) {
	if it.text == "" {
		for y := it.box.Y; y < it.box.Y+it.box.H; y++ {
			for x := it.box.X; x < it.box.X+it.box.W; x++ {
				if (!it.dashed || (x+y)/4%2 == 0) && (image.Point{x, y}).In(img.Rect) {
					img.SetRGBA(x, y, it.ink)
				}
			}
		}
		return
	}
	if it.kind == "plate" {
		draw.Draw(img, it.box.Rect(), image.NewUniform(it.plate), image.Point{}, draw.Src)
	}
	x, pad := it.box.X+it.size, it.size
	for _, ch := range it.text {
		for r, bits := range glyphs[ch] {
			for c := range 3 {
				if bits>>(2-c)&1 == 0 {
					continue
				}
				at := image.Rect(0, 0, it.size, it.size).Add(image.Pt(x+c*it.size, it.box.Y+pad+r*it.size))
				draw.Draw(img, at, image.NewUniform(it.ink), image.Point{}, draw.Src)
			}
		}
		x += 4 * it.size
	}
}

// written is a text with its upper left corner at x, y, moved into the panel where it would stick out.
func (d dice) written(p *plan, text string, x, y, size int, plate bool, ink color.RGBA) item {
	it := item{kind: "text", text: text, size: size, ink: ink, plate: color.RGBA{uint8(d.IntN(50)), uint8(d.IntN(50)), uint8(d.IntN(60)), 255}}
	if plate {
		it.kind = "plate"
	}
	it.box = detect.Box{X: x, Y: y, W: size * (4*len(text) + 1), H: size * 7}
	it.box.X = max(min(it.box.X, p.panel.X+p.panel.W-it.box.W), p.panel.X)
	it.box.Y = max(min(it.box.Y, p.panel.Y+p.panel.H-it.box.H), p.panel.Y)
	return it
}

// furniture is what the display draws over the panel, if anything.
func (d dice) furniture(p *plan) []item {
	if !d.chance(0.45) {
		return nil
	}
	inks := []color.RGBA{{255, 255, 255, 255}, {235, 235, 120, 255}, {120, 230, 240, 255}, {20, 20, 20, 255}, {240, 120, 90, 255}}
	ink := inks[d.IntN(len(inks))]
	size := d.between(1, 3)
	q := p.panel
	var out []item
	if d.chance(0.6) {
		out = append(out, d.ranges(p, size, ink)...)
	}
	if len(out) == 0 || d.chance(0.7) {
		depth := p.alt[0] * p.metres
		text := fmt.Sprintf("%.1f", depth)
		if d.chance(0.5) {
			text += "m"
		}
		if d.chance(0.3) {
			text += strings.Repeat("-", d.between(1, 2)) + fmt.Sprintf("%d:%02d", d.IntN(24), d.IntN(60))
		}
		x, y := q.X+4, q.Y+4
		if d.chance(0.4) {
			x = q.X + q.W
		}
		if d.chance(0.3) {
			y = q.Y + q.H
		}
		out = append(out, d.written(p, text, x, y, size+d.between(0, 2), d.chance(0.4), ink))
	}
	if d.chance(0.3) {
		t := d.between(1, 3)
		for _, b := range []detect.Box{{X: q.X, Y: q.Y, W: q.W, H: t}, {X: q.X, Y: q.Y + q.H - t, W: q.W, H: t},
			{X: q.X, Y: q.Y, W: t, H: q.H}, {X: q.X + q.W - t, Y: q.Y, W: t, H: q.H}} {
			out = append(out, item{kind: "bar", box: b, ink: ink})
		}
	}
	return out
}

// ranges are lines or ticks at even slant ranges with their figures.
func (d dice) ranges(p *plan, size int, ink color.RGBA) []item {
	q := p.panel
	total := p.reach() * p.metres
	each := math.Pow(10, math.Floor(math.Log10(total/2)))
	if total/each > 8 {
		each *= 2.5
	}
	ticks, dashed, plate, low := d.chance(0.5), d.chance(0.4), d.chance(0.2), d.chance(0.5)
	var out []item
	for _, side := range p.sides {
		for k := 1; float64(k)*each < total; k++ {
			s := float64(k) * each / p.metres
			if s < float64(p.first)+4 || s > p.reach()-4 {
				continue
			}
			x := int(math.Round(p.x(side, s)))
			line := detect.Box{X: x, Y: q.Y, W: 1, H: q.H}
			y := q.Y + 2
			if ticks {
				line.H = 4 + 3*size
			}
			if low {
				line.Y, y = q.Y+q.H-line.H, q.Y+q.H-8*size
			}
			out = append(out, item{kind: "line", box: line, ink: ink, dashed: dashed && !ticks})
			out = append(out, d.written(p, fmt.Sprintf("%g", float64(k)*each), x+2, y, size, plate, ink))
		}
	}
	return out
}

func labelsOf(items []item) []eval.FurnitureLabel {
	var out []eval.FurnitureLabel
	for _, it := range items {
		out = append(out, eval.FurnitureLabel{Kind: it.kind, Box: it.box})
	}
	return out
}
