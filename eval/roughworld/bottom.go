package roughworld

import (
	"math"
	"math/rand/v2"
)

// recipe is what a bottom is made of; both sides share it. Lengths are samples.
type recipe struct {
	relief      float64 // spread of the plain relief over its longest wave
	fall        float64 // power by which its octaves fall
	lumps       []lumps
	waves       []waves
	grooves     int
	hollows     int
	pocks       int
	tufts       int
	litter      float64 // share of cells with a bright leaf or shell on them
	edge        float64 // logarithm of the step between two sediments
	raggedness  float64
	mottle      float64 // spread of the reflectivity's logarithm
	diffuse     float64
	near        float64
	patchesOnly bool // lumps end plainly at a rim
}

// lumps are heaped from a heavy-tailed continuum of radii.
type lumps struct {
	cover, least, tail, most float64
	high                     float64 // height by radius
	gain                     float64
	patchy                   float64 // threshold of the field that lets them lie, -3 = everywhere
}

// waves are crests of nearly one length; the mixing of a few bearings and lengths makes them fork, end and fade.
type waves struct {
	length, steep, bearing, band float64
	sharp                        float64
	patchy                       float64
}

func newRecipe(rng *rand.Rand) recipe {
	r := recipe{
		relief: spread(rng, 0.1, 1.2), fall: between(rng, 0.7, 1.3), mottle: spread(rng, 0.08, 0.6),
		diffuse: between(rng, 0.08, 0.5), near: between(rng, 0.5, 1.3), raggedness: between(rng, 0.4, 0.9),
	}
	for range [...]int{0, 1, 1, 2}[rng.IntN(4)] {
		l := lumps{
			cover: spread(rng, 0.05, 1.1), least: spread(rng, 0.7, 2.4), tail: between(rng, 1.7, 3.4), high: spread(rng, 0.1, 0.7),
			gain: between(rng, 0.9, 2), patchy: -3,
		}
		l.most = l.least * spread(rng, 2.5, 6)
		if chance(rng, 0.4) {
			l.patchy = between(rng, -0.5, 0.9)
		}
		r.lumps = append(r.lumps, l)
	}
	for range [...]int{0, 0, 1, 1, 2}[rng.IntN(5)] {
		w := waves{
			length: spread(rng, 4, 28), steep: spread(rng, 0.012, 0.08), bearing: rng.Float64() * math.Pi, band: between(rng, 0.06, 0.4),
			sharp: between(rng, 0, 0.6), patchy: -3,
		}
		if chance(rng, 0.4) {
			w.bearing = between(rng, -0.4, 0.4) // crests along track: the strongest bands
		}
		if chance(rng, 0.15) {
			w.length *= 3
		}
		if chance(rng, 0.35) {
			w.patchy = between(rng, -0.6, 0.5)
		}
		r.waves = append(r.waves, w)
	}
	if len(r.lumps)+len(r.waves) == 0 {
		r.relief = between(rng, 0.8, 2.2)
		r.fall = between(rng, 0.35, 0.9)
	}
	some := func(odds float64, most int) int {
		if !chance(rng, odds) {
			return 0
		}
		return 1 + rng.IntN(most)
	}
	r.grooves, r.hollows, r.pocks, r.tufts = some(0.25, 6), some(0.25, 25), some(0.2, 60), some(0.25, 140)
	if chance(rng, 0.3) {
		r.litter = spread(rng, 0.0008, 0.02)
	}
	if chance(rng, 0.45) {
		r.edge = between(rng, 0.3, 1.1)
	}
	if len(r.lumps) > 0 && chance(rng, 0.2) {
		r.patchesOnly = true
		r.relief = min(r.relief, 0.3)
		r.waves, r.tufts = nil, 0
	}
	return r
}

func newSide(rng *rand.Rand, p *plan, index int) *side {
	r := &p.bottom
	s := &side{index: index, rows: p.rows, cols: p.cols, diffuse: r.diffuse, near: r.near}
	along := p.dg / p.dr
	s.z = fractal(rng, s.cols, s.rows, 70, 2, r.fall, along)
	for i := range s.z.v {
		s.z.v[i] *= float32(r.relief * p.dg)
	}
	s.refl = fractal(rng, s.cols, s.rows, spread(rng, 15, 120), 2, between(rng, 0.3, 1), along*spread(rng, 0.4, 2.5))
	step := r.sediment(rng, s, along)
	for i, v := range s.refl.v {
		s.refl.v[i] = float32(math.Exp(r.mottle*float64(v) + float64(step[i])))
	}
	d := &digger{rng: rng, s: s, dg: p.dg, along: along}
	for _, w := range r.waves {
		d.crests(w)
	}
	if r.patchesOnly {
		d.bounded(p)
	}
	for _, l := range r.lumps {
		d.heap(l)
	}
	for range r.hollows {
		d.pit(spread(rng, 3, 11), between(rng, 0.1, 0.35), spread(rng, 0.5, 2.5), true)
	}
	for range r.pocks {
		d.pit(spread(rng, 1.5, 5), between(rng, 0.15, 0.5), 1, false)
	}
	for range r.grooves {
		d.groove()
	}
	for range r.tufts {
		d.tuft()
	}
	for range int(r.litter * float64(len(s.refl.v))) {
		i := rng.IntN(len(s.refl.v))
		s.refl.v[i] *= float32(spread(rng, 1.5, 7))
	}
	return s
}

// sediment is the logarithm of a second sediment's strength where that lies; its rim is ragged.
func (r *recipe) sediment(rng *rand.Rand, s *side, along float64) []float32 {
	out := make([]float32, len(s.refl.v))
	if r.edge == 0 {
		return out
	}
	f := fractal(rng, s.cols, s.rows, 150, 2, r.raggedness, along)
	lo := between(rng, -0.6, 0.6)
	sign := 1.0
	if chance(rng, 0.5) {
		sign = -1
	}
	for i, v := range f.v {
		out[i] = float32(sign * r.edge * gradual(float64(v), lo, lo+0.12))
	}
	return out
}
