package roughworld

import (
	"image"
	"image/color"
	"image/draw"
	"math/rand/v2"
	"strconv"

	"shadowgap/detect"
	"shadowgap/eval"
)

type palette [256]color.RGBA

// ramps are this package's own, from weak to strong.
var ramps = [][]color.RGBA{
	{{0, 0, 0, 255}, {255, 255, 255, 255}},
	{{12, 12, 14, 255}, {120, 122, 120, 255}, {250, 250, 244, 255}},
	{{8, 4, 0, 255}, {120, 62, 8, 255}, {226, 150, 40, 255}, {255, 240, 190, 255}},
	{{0, 0, 0, 255}, {96, 30, 10, 255}, {205, 110, 60, 255}, {255, 222, 190, 255}},
	{{0, 8, 4, 255}, {10, 84, 44, 255}, {110, 190, 100, 255}, {238, 255, 210, 255}},
	{{2, 4, 22, 255}, {20, 54, 120, 255}, {90, 150, 210, 255}, {240, 250, 255, 255}},
	{{40, 6, 60, 255}, {56, 84, 140, 255}, {36, 150, 130, 255}, {140, 206, 70, 255}, {250, 232, 60, 255}},
	{{10, 0, 24, 255}, {110, 24, 90, 255}, {220, 80, 60, 255}, {252, 210, 120, 255}},
	{{14, 10, 8, 255}, {98, 84, 66, 255}, {206, 190, 150, 255}, {255, 252, 236, 255}},
}

// newPalette also tells whether strong echoes are drawn dark.
func newPalette(rng *rand.Rand) (palette, bool) {
	ramp := ramps[rng.IntN(len(ramps))]
	dark := chance(rng, 0.12)
	var p palette
	for i := range p {
		t := float64(i) / 255
		if dark {
			t = 1 - t
		}
		t *= float64(len(ramp) - 1)
		k := min(int(t), len(ramp)-2)
		u := t - float64(k)
		mix := func(a, b uint8) uint8 { return uint8(float64(a) + u*(float64(b)-float64(a)) + 0.5) }
		a, b := ramp[k], ramp[k+1]
		p[i] = color.RGBA{mix(a.R, b.R), mix(a.G, b.G), mix(a.B, b.B), 255}
	}
	return p, dark
}

// paint enlarges grey levels to the panel and colours them.
func (p *plan) paint(f *field) *image.RGBA {
	img := image.NewRGBA(image.Rectangle{Max: p.size})
	draw.Draw(img, img.Rect, image.NewUniform(color.RGBA{18, 20, 24, 255}), image.Point{}, draw.Src)
	w, h := p.panel.Dx(), p.panel.Dy()
	at, part := make([]int, w), make([]float32, w)
	for x := range at {
		u := min(max((float64(x)+0.5)*float64(f.w)/float64(w)-0.5, 0), float64(f.w-1)-1e-6)
		at[x], part[x] = int(u), float32(u-float64(int(u)))
	}
	line := make([]float32, f.w)
	for y := range h {
		u := min(max((float64(y)+0.5)*float64(f.h)/float64(h)-0.5, 0), float64(f.h-1)-1e-6)
		k, t := int(u), float32(u-float64(int(u)))
		a, b := f.row(k), f.row(k+1)
		for x := range line {
			line[x] = 255 * (a[x] + (b[x]-a[x])*t)
		}
		o := img.PixOffset(p.panel.Min.X, p.panel.Min.Y+y)
		for x, i := range at {
			c := &p.palette[uint8(line[i]+(line[i+1]-line[i])*part[x]+0.5)]
			img.Pix[o], img.Pix[o+1], img.Pix[o+2], img.Pix[o+3] = c.R, c.G, c.B, 255
			o += 4
		}
	}
	return img
}

// pen draws a screen's furniture and notes it.
type pen struct {
	img   *image.RGBA
	in    image.Rectangle
	ink   color.RGBA
	size  int
	drawn []eval.FurnitureLabel
}

func (q *pen) fill(r image.Rectangle) { q.fillWith(r, q.ink) }

func (q *pen) fillWith(r image.Rectangle, c color.RGBA) {
	draw.Draw(q.img, r.Intersect(q.in), image.NewUniform(c), image.Point{}, draw.Src)
}

func (q *pen) note(kind string, r image.Rectangle) {
	if r = r.Intersect(q.in); !r.Empty() {
		q.drawn = append(q.drawn, eval.FurnitureLabel{Kind: kind, Box: detect.BoxOf(r)})
	}
}

// figures are drawn in cells of three by five, a row of bits each.
var figures = map[rune][5]uint8{
	'0': {7, 5, 5, 5, 7}, '1': {2, 6, 2, 2, 7}, '2': {7, 1, 7, 4, 7}, '3': {7, 1, 3, 1, 7}, '4': {5, 5, 7, 1, 1},
	'5': {7, 4, 7, 1, 7}, '6': {7, 4, 7, 5, 7}, '7': {7, 1, 2, 2, 2}, '8': {7, 5, 7, 5, 7}, '9': {7, 5, 7, 1, 7},
	'.': {0, 0, 0, 0, 2}, 'm': {0, 0, 7, 7, 5}, 'C': {7, 4, 4, 4, 7}, ' ': {},
}

func (q *pen) text(x, y int, s string, plate bool) {
	k := q.size
	box := image.Rect(x, y, x+4*k*len(s), y+5*k)
	kind := "text"
	if plate {
		kind = "plate"
		box = box.Inset(-k)
		q.fillWith(box, color.RGBA{16, 18, 22, 255})
	}
	for n, r := range s {
		for v, bits := range figures[r] {
			for u := range 3 {
				if bits>>(2-u)&1 == 1 {
					q.fill(image.Rect(0, 0, k, k).Add(image.Pt(x+(4*n+u)*k, y+v*k)))
				}
			}
		}
	}
	q.note(kind, box)
}

// furnish draws what a screen lays over the record.
func (p *plan) furnish(rng *rand.Rand, img *image.RGBA) []eval.FurnitureLabel {
	inks := []color.RGBA{{255, 255, 255, 255}, {240, 220, 30, 255}, {230, 50, 40, 255}, {60, 220, 240, 255}, {20, 20, 20, 255}}
	q := &pen{img: img, in: p.panel, ink: inks[rng.IntN(len(inks))], size: 1 + p.size.X/500 + rng.IntN(2)}
	if chance(rng, 0.35) {
		q.ranges(rng, p)
	}
	if chance(rng, 0.3) {
		q.cursor(rng)
	}
	plate := chance(rng, 0.5)
	if chance(rng, 0.35) {
		corner := image.Pt(p.panel.Min.X+2*q.size+2, p.panel.Min.Y+2*q.size+2)
		if chance(rng, 0.3) {
			corner.Y = p.panel.Max.Y - 20*q.size
		}
		large := *q
		q.size++
		q.text(corner.X, corner.Y, strconv.FormatFloat(p.altitude[0]*1.05, 'f', 1, 64)+"m", plate)
		q.size = large.size
		if chance(rng, 0.6) {
			q.text(corner.X, corner.Y+8*(q.size+1), strconv.FormatFloat(between(rng, 4, 25), 'f', 1, 64)+"C", plate)
		}
	}
	if chance(rng, 0.2) {
		q.dots(rng)
	}
	if chance(rng, 0.12) {
		q.bar(rng, p)
	}
	return q.drawn
}

// ranges draws lines of equal range and their numbers.
func (q *pen) ranges(rng *rand.Rand, p *plan) {
	n := 2 + rng.IntN(4)
	lines, dashed, y := chance(rng, 0.7), chance(rng, 0.4), q.in.Min.Y+3
	if chance(rng, 0.4) {
		y = q.in.Max.Y - 7*q.size - 2
	}
	for i := range p.sides {
		for k := 1; k < n; k++ {
			part := float64(k) / float64(n)
			x := int(p.x(i, part*float64(p.cols)))
			if x <= q.in.Min.X || x >= q.in.Max.X {
				continue
			}
			for y := q.in.Min.Y; lines && y < q.in.Max.Y; y++ {
				if !dashed || y/4%2 == 0 {
					q.fill(image.Rect(x, y, x+1, y+1))
				}
			}
			if lines {
				q.note("line", image.Rect(x, q.in.Min.Y, x+1, q.in.Max.Y))
			}
			q.text(x+3, y, strconv.Itoa(int(part*p.rangeM+0.5)), chance(rng, 0.2))
		}
	}
}

// cursor is a cross in one of several fashions.
func (q *pen) cursor(rng *rand.Rand) {
	at := image.Pt(q.in.Min.X+rng.IntN(q.in.Dx()), q.in.Min.Y+rng.IntN(q.in.Dy()))
	thick := 1 + rng.IntN(2)
	arm, hole := 6+rng.IntN(18), 0
	switch rng.IntN(4) {
	case 0:
		arm = max(q.in.Dx(), q.in.Dy()) // from edge to edge
	case 1:
		hole = 2 + rng.IntN(4)
	case 2:
		r := image.Rect(-arm/2, -arm/2, arm/2, arm/2).Add(at)
		q.fill(image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Min.Y+1))
		q.fill(image.Rect(r.Min.X, r.Max.Y, r.Max.X, r.Max.Y+1))
	}
	q.fill(image.Rect(-arm, 0, -hole, thick).Add(at))
	q.fill(image.Rect(hole, 0, arm, thick).Add(at))
	q.fill(image.Rect(0, -arm, thick, -hole).Add(at))
	q.fill(image.Rect(0, hole, thick, arm).Add(at))
	q.note("cursor", image.Rect(-arm, -arm, arm, arm+1).Add(at))
}

// dots are places that somebody noted: small squares or discs, some with a rim.
func (q *pen) dots(rng *rand.Rand) {
	for range 1 + rng.IntN(3) {
		r := 2 + rng.IntN(5)
		at := image.Pt(q.in.Min.X+rng.IntN(q.in.Dx()), q.in.Min.Y+rng.IntN(q.in.Dy()))
		round, hollow := chance(rng, 0.5), chance(rng, 0.3)
		for y := -r; y <= r; y++ {
			for x := -r; x <= r; x++ {
				far, inner := max(x, -x, y, -y)*max(x, -x, y, -y), (r-1)*(r-1)
				if round {
					far = x*x + y*y
				}
				if far <= r*r && (!hollow || far > inner) {
					q.fill(image.Rect(x, y, x+1, y+1).Add(at))
				}
			}
		}
		q.note("cursor", image.Rect(-r, -r, r+1, r+1).Add(at))
	}
}

// bar shows the palette.
func (q *pen) bar(rng *rand.Rand, p *plan) {
	w, h := 5+rng.IntN(8), q.in.Dy()/2+rng.IntN(q.in.Dy()/3)
	x := q.in.Max.X - w - 2
	if chance(rng, 0.3) {
		x = q.in.Min.X + 2
	}
	y := q.in.Min.Y + (q.in.Dy()-h)/2
	for k := range h {
		q.fillWith(image.Rect(x, y+k, x+w, y+k+1), p.palette[255-255*k/h])
	}
	q.note("bar", image.Rect(x, y, x+w, y+h))
}
