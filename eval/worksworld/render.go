// Package worksworld renders side-scan sonar captures of what people and water left lying and standing on the bottom, with their truth:
// thin and long things, piles, heaps, wreckage, rocks, and the bottoms on which they are missed or mistaken. Things are heights over a
// bottom with relief; highlights, shadows and gaps follow from slant range and altitude. Range runs outward from the nadir and the newest
// rows are on top (common practice, no source).
package worksworld

import (
	"context"
	"image"
	"math"
	"math/rand/v2"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a rendered picture and what is really in it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// view is how much of the swath a capture shows.
type view int

const (
	wholeSwath view = iota
	oneSide
	bareBottom
)

// plan is what is settled about a capture before anything is drawn. Native pixels are samples of the record, display pixels those of the
// panel.
type plan struct {
	rng    *rand.Rand
	view   view
	dw, dh int     // panel, display pixels
	zx, zy float64 // display pixels per native pixel
	nw, nh int     // record, native pixels
	nadir  float64 // native x of the nadir; outside the record in crops of bare bottom
	side   detect.Side
	ay     float64 // rows per native pixel of ground at the scale that things are drawn in
	unit   float64 // native pixels per display pixel across
	alt    []float64
	empty  bool
	soft   bool
}

// Render draws the capture of a seed: the same seed gives the same picture and label.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	p := newPlan(rand.New(rand.NewPCG(uint64(seed), 0x776f726b73)))
	w := newWorld(p)
	w.layBottom()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if !p.empty {
		w.layThings()
	}
	with, owners := w.echo(true)
	without, _ := w.echo(false)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c := newChain(p, w, without)
	a, b := c.show(c.native(with)), c.show(c.plain)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	l := w.label(c, a, b, owners)
	img, err := c.paint(a, &l)
	if err != nil {
		return nil, err
	}
	return &Capture{Image: img, Label: l}, nil
}

// maxNative bounds the native pixels of a record, and with them what a render costs.
const maxNative = 900_000

func newPlan(r *rand.Rand) *plan {
	p := &plan{rng: r, dw: between(r, 250, 1400), dh: between(r, 250, 1100), empty: r.Float64() < 0.25, soft: r.Float64() < 0.5}
	switch u := r.Float64(); {
	case u < 0.65:
		p.dw = max(p.dw, 320)
	case u < 0.85:
		p.view = oneSide
	default:
		p.view = bareBottom
	}
	p.zx = span(r, 0.6, 1.15)
	if p.soft {
		p.zx = span(r, 1.2, 2.5)
	}
	p.zx = max(p.zx, math.Sqrt(float64(p.dw*p.dh)/maxNative))
	p.zy = p.zx * span(r, 0.8, 1.25)
	p.nw, p.nh = int(math.Ceil(float64(p.dw)/p.zx)), int(math.Ceil(float64(p.dh)/p.zy))
	p.unit = 1 / p.zx
	aspect := span(r, 0.8, 1.25)
	if u := r.Float64(); u < 0.12 {
		aspect = span(r, 2, 4)
	} else if u < 0.22 {
		aspect = 1 / span(r, 2, 4)
	}
	p.ay = aspect * p.zx / p.zy
	p.placeNadir()
	return p
}

// placeNadir settles which sides are seen and the altitude of every row, in native pixels.
func (p *plan) placeNadir() {
	r := p.rng
	w := float64(p.nw)
	if p.view != wholeSwath {
		p.side = detect.Starboard
		if r.Float64() < 0.5 {
			p.side = detect.Port
		}
	}
	reach, share := w, span(r, 0.03, 0.45)
	if r.Float64() < 0.6 {
		share = span(r, 0.06, 0.28)
	}
	switch p.view {
	case wholeSwath:
		p.nadir = w / 2
		if r.Float64() < 0.15 {
			p.nadir = w * span(r, 0.4, 0.6)
		}
		reach = max(p.nadir, w-p.nadir)
	case oneSide:
		p.nadir = span(r, 0, 4)
	case bareBottom:
		out := w * span(r, 0.25, 0.9)
		p.nadir = -out
		reach += out
		share = min(share, 0.7*out/reach)
	}
	if p.side == detect.Port {
		p.nadir = w - 1 - p.nadir
	}
	mean := max(reach*share, 6)
	slow, chop := walk(r, p.nh, 90), walk(r, p.nh, 7)
	sway := mean * span(r, 0.005, 0.09)
	p.alt = make([]float64, p.nh)
	for i := range p.alt {
		p.alt[i] = max(mean+sway*slow[i]+0.25*chop[i], mean*0.6)
	}
}

func span(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func between(r *rand.Rand, lo, hi int) int { return lo + r.IntN(hi-lo+1) }

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }
