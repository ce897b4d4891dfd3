package roughworld

import (
	"math"
	"math/rand/v2"
	"slices"
)

// digger works a side's relief. Lengths are samples; along is samples per ping, turned into pings.
type digger struct {
	rng   *rand.Rand
	s     *side
	dg    float64
	along float64
	rim   *field // where heaps may lie, > 0.5, where that is bounded
}

// each calls f for the cells around a centre, with offsets in samples.
func (d *digger) each(cx, cy, r float64, f func(i int, dx, dy float64)) {
	ry := r * d.along
	for y := max(int(cy-ry), 0); y <= min(int(cy+ry+1), d.s.rows-1); y++ {
		dy := (float64(y) - cy) / d.along
		for x := max(int(cx-r), 0); x <= min(int(cx+r+1), d.s.cols-1); x++ {
			f(y*d.s.cols+x, float64(x)-cx, dy)
		}
	}
}

// spot is any place of the side.
func (d *digger) spot() (x, y float64) {
	return d.rng.Float64() * float64(d.s.cols), d.rng.Float64() * float64(d.s.rows)
}

// heap strews lumps. Each is an uneven dome, longer one way than the other.
func (d *digger) heap(l lumps) {
	const maxCells, maxLumps = 1.2e6, 60000
	rng := d.rng
	var allowed *field
	if l.patchy > -3 {
		allowed = fractal(rng, d.s.cols, d.s.rows, spread(rng, 40, 160), 4, 0.8, d.along)
	}
	goal := l.cover * float64(d.s.cols*d.s.rows)
	var radii []float64
	touched := 0.0
	for covered, n := 0.0, 0; covered < goal && n < maxLumps && touched < maxCells; n++ {
		u := rng.Float64()
		low := math.Pow(l.least/l.most, l.tail)
		r := l.least * math.Pow(1-u*(1-low), -1/l.tail)
		covered += math.Pi * r * r * d.along
		x, y := d.spot()
		i := int(y)*d.s.cols + int(x)
		sparse := allowed != nil && float64(allowed.v[i])+0.4*rng.NormFloat64() < l.patchy
		if sparse || d.rim != nil && d.rim.v[i] < 0.5 {
			continue
		}
		radii = append(radii, r)
		touched += 4 * (r + 1) * (r + 1) * d.along
		d.lump(l, x, y, r)
	}
	if len(radii) > 0 {
		slices.Sort(radii)
		d.s.coarse = max(d.s.coarse, radii[len(radii)*99/100])
	}
}

func (d *digger) lump(l lumps, x, y, r float64) {
	rng := d.rng
	sin, cos := math.Sincos(rng.Float64() * math.Pi)
	thin := between(rng, 0.55, 1)
	tiltX, tiltY := rng.NormFloat64()*0.3, rng.NormFloat64()*0.3
	high := l.high * r * d.dg * between(rng, 0.5, 1.2)
	gain := math.Exp(rng.NormFloat64()*0.25) * l.gain
	d.each(x, y, r, func(i int, dx, dy float64) {
		u, v := (dx*cos+dy*sin)/r, (dy*cos-dx*sin)/(r*thin)
		q := u*u + v*v
		if q >= 1 {
			return
		}
		up := float32(high * math.Sqrt(1-q) * max(1+tiltX*u+tiltY*v, 0.2))
		d.s.z.v[i] += up * 0.8
		d.s.refl.v[i] = 0.5*d.s.refl.v[i] + 0.5*float32(gain)
	})
}

// crests lays a train of waves over the side.
func (d *digger) crests(w waves) {
	const parts = 6
	rng := d.rng
	sum := make([]float32, len(d.s.z.v))
	for range parts {
		k := 2 * math.Pi / w.length * math.Exp(rng.NormFloat64()*w.band*0.4)
		sin, cos := math.Sincos(w.bearing + rng.NormFloat64()*w.band)
		phase := rng.Float64() * 2 * math.Pi
		stepIm, stepRe := math.Sincos(k * cos)
		for y := range d.s.rows {
			im, re := math.Sincos(phase + k*sin*float64(y)/d.along)
			row := sum[y*d.s.cols : (y+1)*d.s.cols]
			for x := range row {
				row[x] += float32(re)
				re, im = re*stepRe-im*stepIm, re*stepIm+im*stepRe
			}
		}
	}
	mask := fractal(rng, d.s.cols, d.s.rows, 120, 8, 1, d.along)
	amp := w.steep * w.length * d.dg / 2
	for i, v := range sum {
		t := float64(v) / math.Sqrt(parts) // spread 0.7
		t = t/(1+0.35*math.Abs(t)) + w.sharp*(t*t-0.5)*0.5
		d.s.z.v[i] += float32(amp * t * gradual(float64(mask.v[i]), w.patchy, w.patchy+0.7))
	}
}

// pit digs a hollow: from the boat its near wall is dark and its far wall bright. A scoured one trails off along the current.
func (d *digger) pit(r, deep, long float64, rim bool) {
	x, y := d.spot()
	sin, cos := math.Sincos(d.rng.Float64() * math.Pi)
	deep *= r * d.dg
	d.each(x, y, r*max(long, 1)*1.4, func(i int, dx, dy float64) {
		u, v := (dx*cos+dy*sin)/(r*long), (dy*cos-dx*sin)/r
		q := u*u + v*v
		down := math.Exp(-2 * q)
		if rim {
			down -= 0.35 * math.Exp(-12*(math.Sqrt(q)-1.05)*(math.Sqrt(q)-1.05))
		}
		d.s.z.v[i] -= float32(deep * down)
	})
}

// groove ploughs a furrow or a drag mark that wanders, thins out and has low banks.
func (d *digger) groove() {
	rng := d.rng
	x, y := d.spot()
	bearing, turn := rng.Float64()*2*math.Pi, 0.0
	wide := spread(rng, 1.2, 4)
	deep := between(rng, 0.1, 0.4) * wide * d.dg
	n := int(spread(rng, 30, 300) / wide)
	for k := range n {
		part := math.Sin(math.Pi * float64(k) / float64(n))
		d.each(x, y, wide*2, func(i int, dx, dy float64) {
			q := (dx*dx + dy*dy) / (wide * wide)
			d.s.z.v[i] -= float32(deep * part * 0.6 * (math.Exp(-2*q) - 0.25*math.Exp(-3*(math.Sqrt(q)-1.5)*(math.Sqrt(q)-1.5))))
		})
		turn = 0.9*turn + rng.NormFloat64()*0.03
		bearing += turn
		x += math.Cos(bearing) * wide
		y += math.Sin(bearing) * wide * d.along
	}
}

// tuft grows weed: blades of uneven height and strength around a foot.
func (d *digger) tuft() {
	rng := d.rng
	x, y := d.spot()
	r := spread(rng, 1.5, 7)
	for range 3 + int(r*r) {
		bx, by := x+rng.NormFloat64()*r*0.6, y+rng.NormFloat64()*r*0.6*d.along
		up := spread(rng, 0.15, 1) * min(r, 4) * 0.3 * d.dg
		gain := spread(rng, 0.8, 3)
		d.each(bx, by, between(rng, 0.5, 1.4), func(i int, _, _ float64) {
			d.s.z.v[i] += float32(up * rng.Float64())
			d.s.refl.v[i] = 0.6*d.s.refl.v[i] + 0.4*float32(gain)
		})
	}
}

// bounded keeps the heaps to one patch with a plain rim.
func (d *digger) bounded(p *plan) {
	rng := d.rng
	view := float64(p.cols - p.from)
	cx, cy := float64(p.from)+view*between(rng, 0.3, 0.75), float64(p.rows)*between(rng, 0.25, 0.75)
	rx, ry := view*between(rng, 0.12, 0.28), float64(p.rows)*between(rng, 0.12, 0.3)
	d.rim = fractal(rng, d.s.cols, d.s.rows, 30, 3, 0.8, d.along)
	for i, v := range d.rim.v {
		x, y := float64(i%d.s.cols), float64(i/d.s.cols)
		inside := float32(0)
		if math.Hypot((x-cx)/rx, (y-cy)/ry)+0.1*float64(v) < 1 {
			inside = 1
		}
		d.rim.v[i] = inside
	}
	d.s.patch = &[4]float64{cx - rx*1.1, cx + rx*1.1, cy - ry*1.1, cy + ry*1.1}
}
