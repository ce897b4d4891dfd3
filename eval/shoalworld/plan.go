package shoalworld

import (
	"math"

	"shadowgap/detect"
)

// plan is what is settled before anything is drawn. Lengths in the record are bins across and rows along.
type plan struct {
	width, height int // of the picture, pixels
	panel         detect.Box
	sides         []detect.Side
	crop          bool
	empty         bool

	rows, bins int     // of one side's record
	first      int     // first bin that is shown; 0 but for crops
	fx, fy     float64 // pixels of the picture a bin and a row take
	metres     float64 // a bin's length
	alt        []float64
	beam       float64 // half length of the beam along track at the end of the range, rows
	nadirPx    int     // half width of the band of the pulse itself, bins

	look look
}

// look is how the record turns into a picture.
type look struct {
	looks     float64 // of the speckle
	spiky     float64 // share of K-distributed spread
	along     float64 // correlation of speckle with the row before
	power     float64 // strength to level
	mid       float64 // level of a common bottom, 0-255
	blurX     int     // radius in bins
	blurY     int
	darkFirst bool // dark is strong
	palette   palette
	jpeg      int // quality; 0 = none
	floor     float64
	falloff   float64 // how much the gain falls short at the end of the range
	near      float64 // how bright bottom is under the boat
	leak      float64 // what is left of an echo within a shadow
	stripes   float64
}

const recordMost = 1_100_000 // cells in all, which bounds the time a render takes

func (d dice) plan() *plan {
	p := &plan{width: int(d.uni(350, 1400)), height: int(d.uni(250, 1100))}
	p.empty = d.chance(0.25)
	p.panel = detect.Box{W: p.width, H: p.height}
	if d.chance(0.15) {
		l, t := d.between(0, 30), d.between(0, 30)
		p.panel = detect.Box{X: l, Y: t, W: p.width - l - d.between(0, 30), H: p.height - t - d.between(0, 30)}
	}
	one := detect.Port
	if d.chance(0.5) {
		one = detect.Starboard
	}
	p.sides = []detect.Side{one}
	switch x := d.Float64(); {
	case x < 0.7:
		p.sides = []detect.Side{detect.Port, detect.Starboard}
	case x >= 0.9:
		p.crop = true
	}
	p.fx, p.fy = d.logUni(0.7, 1.8), d.logUni(0.7, 1.8)
	if d.chance(0.4) {
		p.fx, p.fy = 1, 1
	}
	sideW := float64(p.panel.W) / float64(len(p.sides))
	if cells := float64(p.panel.W) * float64(p.panel.H) / (p.fx * p.fy); cells > recordMost {
		k := math.Sqrt(cells / recordMost)
		p.fx, p.fy = p.fx*k, p.fy*k
	}
	shown := int(math.Ceil(sideW / p.fx))
	p.bins, p.rows = shown, int(math.Ceil(float64(p.panel.H)/p.fy))
	water := d.logUni(0.05, 0.6)
	if d.chance(0.1) {
		water = d.uni(0.03, 0.06)
	}
	if p.crop {
		water = d.uni(0.06, 0.25)
		p.first = int(float64(shown) * (water*1.6 + d.uni(0.05, 0.6)))
		p.bins += p.first
		water *= float64(shown) / float64(p.bins)
	}
	p.altitudes(d, water)
	p.metres = d.logUni(1.5, 14) / (water * float64(p.bins))
	p.beam = d.logUni(0.4, 4) / p.fy
	p.nadirPx = max(1, int(d.logUni(1.5, 8)/p.fx))
	p.look = d.look()
	return p
}

// altitudes draws the height of the boat over the mean bottom, row by row, in bins.
func (p *plan) altitudes(d dice, water float64) {
	h := water * float64(p.bins)
	swing := d.logUni(0.01, 0.12)
	p.alt = d.wander(p.rows, d.uni(0.5, 2)*float64(p.rows))
	for r := range p.alt {
		p.alt[r] = min(max(h*(1+swing*p.alt[r]), 6), 0.72*float64(p.bins))
	}
}

func (d dice) look() look {
	l := look{
		looks: d.logUni(1.2, 5), along: d.uni(0, 0.3), power: d.uni(0.35, 0.75), mid: d.uni(60, 120),
		floor: d.logUni(0.002, 0.12), falloff: d.uni(0, 1.3), near: d.logUni(0.3, 3), leak: d.logUni(0.01, 0.12), stripes: d.uni(0, 0.06),
	}
	if d.chance(0.5) {
		l.spiky = d.uni(0.15, 0.6)
	}
	switch d.weighted(40, 35, 25) {
	case 1:
		l.blurX, l.blurY = d.between(0, 1), d.between(0, 1)
	case 2:
		l.blurX, l.blurY = d.between(1, 2), d.between(1, 2)
		l.along = d.uni(0.2, 0.5)
	}
	l.darkFirst = d.chance(0.06)
	l.palette = d.palette()
	if d.chance(0.6) {
		l.jpeg = d.between(60, 95)
	}
	return l
}

// reach is the end of the range, bins.
func (p *plan) reach() float64 { return float64(p.bins) }

// x is the column of a place at slant s (bins) on a side, in pixels of the picture.
func (p *plan) x(side detect.Side, s float64) float64 {
	w := float64(p.panel.W)
	px := (s - float64(p.first)) * p.fx
	switch {
	case len(p.sides) == 2 && side == detect.Port:
		return float64(p.panel.X) + w/2 - px - 0.5
	case len(p.sides) == 2:
		return float64(p.panel.X) + w/2 + px - 0.5
	case side == detect.Port:
		return float64(p.panel.X) + w - px - 0.5
	}
	return float64(p.panel.X) + px - 0.5
}
