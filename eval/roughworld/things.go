package roughworld

import (
	"math"
	"math/rand/v2"

	"shadowgap/detect"
)

// thing is what a careful person would mark. Places and sizes are samples and pings, heights metres.
type thing struct {
	kind   string
	class  detect.Class
	side   int
	x0, y0 int
	w, h   int
	up     []float32 // heights over the bottom of what stands there
	bright float32
	high   float64 // of the thing itself

	hang       float64 // of its middle over the bottom, 0 = stands or lies
	ground     float64 // metres from the boat's track
	wide       float64 // half of its length across
	lean       float64 // samples outward by ping
	lit, shade trace
}

// trace is where something shows, by sample and by ping.
type trace struct{ across, along []float64 }

func (t *trace) note(s float64, y int, e float64) {
	if i := int(s); i >= 0 && i < len(t.across) && y < len(t.along) {
		t.across[i] += e
		t.along[y] += e
	}
}

// span is where all but a little of it lies; ok is false where there is hardly any.
func span(v []float64) (lo, hi float64, ok bool) {
	sum := 0.0
	for _, e := range v {
		sum += e
	}
	if sum < 0.5 {
		return 0, 0, false
	}
	const cut = 0.03
	first, last, run := -1, 0, 0.0
	for i, e := range v {
		run += e
		if first < 0 && run > cut*sum {
			first = i
		}
		if e > 0 && run-e < (1-cut)*sum {
			last = i
		}
	}
	return float64(first), float64(last + 1), true
}

// line is a thing's heights along one ping, from its first sample on.
func (t *thing) line(y int) []float32 {
	if y < t.y0 || y >= t.y0+t.h {
		return nil
	}
	return t.up[(y-t.y0)*t.w : (y-t.y0+1)*t.w]
}

// across is how long what hangs is in a ping, 1 = at its longest.
func (t *thing) across(y int) float64 {
	d := (float64(y-t.y0) + 0.5 - float64(t.h)/2) / (float64(t.h) / 2)
	return math.Sqrt(max(1-d*d, 0))
}

// dims is how much what hangs takes from a ray of a slope to the ground g.
func (t *thing) dims(y int, g, slope, h float64) float64 {
	if g <= t.ground || y < t.y0 || y >= t.y0+t.h {
		return 0
	}
	off := math.Abs(slope*t.ground+h-t.hang) / (t.high/2*t.across(y) + 1e-9)
	return 0.92 * (1 - gradual(off, 0.8, 1.2))
}

// placeThings settles what stands out, each in pings of its own on its side.
func placeThings(rng *rand.Rand, p *plan, sides []*side) []thing {
	var out []thing
	for tries := 0; len(out) < p.things && tries < 60; tries++ {
		s := sides[rng.IntN(len(sides))]
		t, ok := newThing(rng, p, s)
		if !ok {
			continue
		}
		const clear = 6
		for _, o := range out {
			if o.side == t.side && t.y0 < o.y0+o.h+clear && o.y0 < t.y0+t.h+clear {
				ok = false
			}
		}
		if ok {
			for _, tr := range []*trace{&t.lit, &t.shade} {
				tr.across, tr.along = make([]float64, p.cols), make([]float64, p.rows)
			}
			out = append(out, t)
		}
	}
	return out
}

// newThing makes one thing; ok is false where it finds no room.
func newThing(rng *rand.Rand, p *plan, s *side) (thing, bool) {
	view := p.cols - p.from
	x := float64(p.from) + float64(view)*between(rng, 0.15, 0.75)
	y := float64(p.rows) * between(rng, 0.06, 0.94)
	h := p.altitude[int(y)]
	if x*p.dg < 0.5*h {
		x = max(0.5*h/p.dg, x)
	}
	u := min(max(3.5, 2.6*s.coarse)*between(rng, 1, 1.5), float64(p.cols)/11)
	g := x * p.dg
	most := max(0.8*h*(1-g/(0.99*p.rangeM)), 0.12*h)
	k := carver{rng: rng, p: p, x: x, y: y, u: u, most: min(most, 0.6*h)}
	t := thing{side: s.index, bright: float32(between(rng, 1, 2.4))}
	switch n := rng.IntN(10); {
	case n < 3:
		k.boulder(&t)
	case n < 5:
		k.log(&t)
	case n < 6:
		k.tyre(&t)
	case n < 7:
		k.wreck(&t)
	case n < 8:
		k.piling(&t)
	default:
		return t, k.fish(&t)
	}
	return t, t.x0 >= 0 && t.y0 >= 0 && t.x0+t.w < p.cols && t.y0+t.h < p.rows
}

// carver shapes things of about u samples around a place; none is higher than most metres.
type carver struct {
	rng     *rand.Rand
	p       *plan
	x, y, u float64
	most    float64
}

// carve fills a thing's cells within rx samples and ry pings; shape gets offsets in samples and gives metres.
func (k *carver) carve(t *thing, reach float64, shape func(dx, dy float64) float64) {
	along := k.p.dg / k.p.dr
	ry := max(reach*along, 1)
	t.x0, t.y0 = int(k.x-reach), int(k.y-ry)
	t.w, t.h = int(2*reach)+2, int(2*ry)+2
	t.up = make([]float32, t.w*t.h)
	for i := range t.up {
		dx, dy := float64(t.x0+i%t.w)-k.x, (float64(t.y0+i/t.w)-k.y)/along
		up := min(shape(dx, dy), k.most)
		t.up[i] = float32(up)
		t.high = max(t.high, up)
	}
}

func (k *carver) boulder(t *thing) {
	t.kind, t.class = "rock", detect.BottomObject
	rng := k.rng
	sin, cos := math.Sincos(rng.Float64() * math.Pi)
	thin, flat := between(rng, 0.6, 1), between(rng, 0.25, 0.8)
	a, b, c := rng.Float64()*6, rng.Float64()*6, between(rng, 0.05, 0.16)
	k.carve(t, k.u*1.25, func(dx, dy float64) float64 {
		v, w := (dx*cos+dy*sin)/k.u, (dy*cos-dx*sin)/(k.u*thin)
		turn := math.Atan2(w, v)
		r := math.Hypot(v, w) / (1 + c*math.Sin(3*turn+a) + c*math.Sin(5*turn+b))
		return k.u * k.p.dg * (0.3 + 0.7*flat) * math.Pow(max(1-r*r, 0), flat)
	})
}

func (k *carver) log(t *thing) {
	t.kind, t.class = "timber", detect.BottomObject
	rng := k.rng
	long, thick := k.u*between(rng, 2.5, 5), max(k.u*between(rng, 0.25, 0.45), 1.3)
	sin, cos := math.Sincos(rng.Float64() * math.Pi)
	bend := rng.NormFloat64() * 0.08
	stub := between(rng, -0.6, 0.6) * long
	lift := between(rng, 0.9, 1.6)
	k.carve(t, long, func(dx, dy float64) float64 {
		v, w := dx*cos+dy*sin, dy*cos-dx*sin
		w -= bend * v * v / long
		r := thick * (1 - 0.3*v/long)
		if math.Abs(v-stub) < thick*0.6 && w > 0 && w < 3.5*thick {
			return k.p.dg * thick * lift
		}
		if math.Abs(v) > long || math.Abs(w) > r {
			return 0
		}
		return k.p.dg * lift * (r + math.Sqrt(r*r-w*w))
	})
}

func (k *carver) tyre(t *thing) {
	t.kind, t.class = "tyre", detect.BottomObject
	r := max(k.u, 4.5)
	thick := r * between(k.rng, 0.28, 0.4)
	k.carve(t, r+thick, func(dx, dy float64) float64 {
		off := math.Abs(math.Hypot(dx, dy) - r)
		return k.p.dg * 2 * math.Sqrt(max(thick*thick-off*off, 0))
	})
}

// wreck is a hull with open ribs, its gunwales higher than its floor, broken at an end.
func (k *carver) wreck(t *thing) {
	t.kind, t.class = "wreck", detect.RaisedStructure
	rng := k.rng
	long := min(k.u*between(rng, 3.5, 6), float64(k.p.cols)/6)
	beam := long * between(rng, 0.2, 0.32)
	sin, cos := math.Sincos(math.Pi/2 + between(rng, -0.9, 0.9))
	ribs, gone := long/between(rng, 3, 6), between(rng, 0.4, 1)
	high := beam * k.p.dg * between(rng, 0.7, 1.3)
	k.carve(t, long, func(dx, dy float64) float64 {
		v, w := (dx*cos+dy*sin)/long, dy*cos-dx*sin
		half := beam * math.Sqrt(max(1-v*v*v*v, 0)) * (1 - 0.4*max(v, 0))
		in := half - math.Abs(w)
		switch {
		case in < 0 || math.Abs(v) > 1:
			return 0
		case in < max(1.4, beam*0.15) && (v < gone || w < 0):
			return high
		case math.Sin(v*ribs*math.Pi*2) > 0.6:
			return high * 0.7
		}
		return high * 0.3
	})
}

func (k *carver) piling(t *thing) {
	t.kind, t.class = "piling", detect.RaisedStructure
	n := 1 + k.rng.IntN(3)
	r := max(k.u*0.35, 1.4)
	apart := r * between(k.rng, 3.5, 6)
	high := k.most * between(k.rng, 0.75, 1)
	t.bright += 1
	k.carve(t, apart*float64(n-1)/2+r+1, func(dx, dy float64) float64 {
		for i := range n {
			if math.Hypot(dx, dy-apart*(float64(i)-float64(n-1)/2)) < r {
				return high
			}
		}
		return 0
	})
}

// fish hangs one where its shadow falls on bottom in view, clearly apart.
func (k *carver) fish(t *thing) bool {
	t.kind, t.class = "fish", detect.SuspendedTarget
	rng, p := k.rng, k.p
	h := p.altitude[int(k.y)]
	t.ground = k.x * p.dg
	t.wide = max(k.u*between(rng, 0.3, 0.8), 1.5)
	t.h = max(int(max(k.u*between(rng, 0.5, 1.3), 2.5)*p.dg/p.dr), 3)
	t.high = max(1.6*t.wide*p.dg, 0.05*h)
	t.hang = between(rng, 0.15, 0.5)*h + t.high/2
	t.lean = between(rng, -0.7, 0.7)
	t.bright = float32(between(rng, 2, 5))
	t.x0, t.y0 = int(k.x-t.wide), int(k.y)-t.h/2
	under, over := h-t.hang+t.high/2, h-t.hang-t.high/2
	if t.y0 < 0 || t.y0+t.h > p.rows || over < 0.1*h {
		return false
	}
	// The shadow runs from where the ray under the fish meets the bottom to where the one over it does.
	slant := func(g, up float64) float64 { return math.Hypot(g, up) / p.dg }
	from, to := slant(t.ground*h/under, h), slant(t.ground*h/over, h)
	gap := from - slant(t.ground, h-t.hang) - t.wide
	return gap*p.grow[0] > 6 && to < 0.97*float64(p.cols) && to-from > 3
}
