package roughworld

import (
	"image"
	"math"
	"math/rand/v2"

	"shadowgap/detect"
	"shadowgap/eval"
)

// plan is what is settled before anything is drawn.
type plan struct {
	size  image.Point
	panel image.Rectangle
	sides int         // sides of the swath in view
	side  detect.Side // of the first; the second is starboard
	crop  bool        // no nadir in view
	rows  int         // pings of the record
	cols  int         // samples of one side, from the boat outward
	from  int         // first sample in view
	grow  [2]float64  // pixels per sample and per ping

	rangeM   float64
	dg, dr   float64   // metres per sample and per ping
	altitude []float64 // metres, ping by ping

	things  int
	dark    bool
	bottom  recipe
	palette palette
	quality int // 0 = not stored as JPEG
}

const maxCells = 330e3 // of a record; larger pictures are enlarged ones

func newPlan(rng *rand.Rand) *plan {
	p := &plan{size: image.Pt(int(spread(rng, 330, 1600)), int(spread(rng, 260, 900))), sides: 1, side: detect.Starboard}
	switch k := rng.Float64(); {
	case k < 0.5:
		p.sides, p.side = 2, detect.Port
	case k < 0.7:
		p.crop = true
		p.size = image.Pt(int(spread(rng, 250, 640)), int(spread(rng, 250, 640)))
	}
	if p.sides == 1 && chance(rng, 0.5) {
		p.side = detect.Port
	}
	p.panel = image.Rectangle{Max: p.size}
	if !p.crop && chance(rng, 0.3) {
		p.panel.Min.Y = 14 + rng.IntN(30)
		p.panel.Max.Y -= rng.IntN(30)
		p.panel.Max.X -= rng.IntN(40)
	}
	p.quality = 0
	if chance(rng, 0.6) {
		p.quality = 60 + rng.IntN(36)
	}
	p.sample(rng)
	p.sail(rng)
	if chance(rng, 0.42) {
		p.things = 1 + rng.IntN(4)
	}
	p.bottom = newRecipe(rng)
	p.palette, p.dark = newPalette(rng)
	return p
}

// sample settles how many pixels a sample of the record takes.
func (p *plan) sample(rng *rand.Rand) {
	w, h := float64(p.panel.Dx()), float64(p.panel.Dy())
	grow := 1.0
	switch k := rng.Float64(); {
	case k < 0.35:
		grow = between(rng, 2, 3)
	case k < 0.7:
		grow = between(rng, 1.05, 2)
	}
	grow = max(grow, math.Sqrt(w*h/maxCells))
	aspect := spread(rng, 0.75, 1.33)
	p.cols = max(int(w/grow*aspect)/p.sides, 90)
	p.rows = max(int(h/grow/aspect), 90)
	view := p.cols
	if p.crop {
		p.from = int(float64(view) * between(rng, 0.35, 1.2))
		p.cols += p.from
	}
	p.grow = [2]float64{w / float64(view*p.sides), h / float64(p.rows)}
}

// sail settles the range and the boat's way over the bottom.
func (p *plan) sail(rng *rand.Rand) {
	p.rangeM = spread(rng, 10, 30)
	mean := spread(rng, 1, 3)
	if chance(rng, 0.4) {
		mean = spread(rng, 3, 15)
		p.rangeM = max(spread(rng, 15, 70), mean*2.2)
	}
	p.dg = p.rangeM / float64(p.cols)
	p.dr = p.dg * spread(rng, 0.55, 1.8)
	if p.crop {
		mean = min(mean, 0.85*p.dg*float64(p.from))
	}
	slow := fractal(rng, 1, p.rows, 160, 20, 1.2, 1)
	sway := spread(rng, 0.01, 0.14)
	p.altitude = make([]float64, p.rows)
	for y := range p.altitude {
		p.altitude[y] = mean * min(max(1+sway*float64(slow.v[y]), 0.6), 1.4)
		if p.crop {
			p.altitude[y] = min(p.altitude[y], 0.95*p.dg*float64(p.from))
		}
	}
}

// port tells whether a side runs leftwards.
func (p *plan) port(i int) bool { return i == 0 && p.side == detect.Port }

// x is where a sample of a side begins in the picture, its outer end for port.
func (p *plan) x(i int, sample float64) float64 {
	out := (sample - float64(p.from)) * p.grow[0]
	view := float64(p.cols-p.from) * p.grow[0]
	switch {
	case p.port(i):
		return float64(p.panel.Min.X) + view - out
	case p.sides == 2:
		return float64(p.panel.Min.X) + view + out
	}
	return float64(p.panel.Min.X) + out
}

// box is the pixels of samples s0 to s1 and pings r0 to r1 of a side, both half-open; nil where none are in view.
func (p *plan) box(i int, s0, s1, r0, r1 float64) *detect.Box {
	x0, x1 := p.x(i, s0), p.x(i, s1)
	if x0 > x1 {
		x0, x1 = x1, x0
	}
	y0 := float64(p.panel.Min.Y) + r0*p.grow[1]
	y1 := float64(p.panel.Min.Y) + r1*p.grow[1]
	px := func(v float64) int { return int(math.Round(v)) }
	r := image.Rect(px(x0), px(y0), max(px(x1), px(x0)+1), max(px(y1), px(y0)+1)).Intersect(p.panel)
	if r.Empty() {
		return nil
	}
	b := detect.BoxOf(r)
	return &b
}

// label is the truth of the frame.
func (p *plan) label() eval.CaptureLabel {
	box := detect.BoxOf(p.panel)
	l := eval.CaptureLabel{By: "scene", RangeM: p.rangeM, Panel: &box, DarkIsStrong: p.dark, Humps: [][2]int{}, Marks: []eval.MarkLabel{}}
	if p.sides == 1 {
		l.Side = p.side
	}
	if p.crop {
		return l
	}
	at := func(y int) {
		r := float64(p.panel.Min.Y + y)
		clip := func(x float64) float64 { return min(max(x-0.5, float64(p.panel.Min.X)), float64(p.panel.Max.X-1)) }
		l.Nadir = append(l.Nadir, detect.RowX{r, clip(p.x(0, 0))})
		ping := min(int((float64(y)+0.5)/p.grow[1]), p.rows-1)
		for i := range p.sides {
			q := detect.RowX{r, clip(p.x(i, p.altitude[ping]/p.dg))}
			if p.port(i) {
				l.FirstReturn.Port = append(l.FirstReturn.Port, q)
			} else {
				l.FirstReturn.Starboard = append(l.FirstReturn.Starboard, q)
			}
		}
	}
	const every = 8
	last := p.panel.Dy() - 1
	for y := 0; y < last; y += every {
		at(y)
	}
	at(last)
	return l
}
