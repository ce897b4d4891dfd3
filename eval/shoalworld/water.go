package shoalworld

import "math"

// smear adds an echo of amplitude amp to the water, in rows and bins of slant range.
func (gr *ground) smear(row, slant, hrow, hs, amp float64) {
	w := gr.water
	for r := max(int(row-2.5*hrow), 0); r <= min(int(row+2.5*hrow), w.rows-1); r++ {
		y := (float64(r) - row) / hrow
		for c := max(int(slant-2.5*hs), 0); c <= min(int(slant+2.5*hs), w.cols-1); c++ {
			x := (float64(c) - slant) / hs
			w.row(r)[c] += float32(amp * math.Exp(-x*x-y*y))
		}
	}
}

// fill puts into the water and over the record what is nobody's mark.
func (d dice) fill(p *plan, sc *scene) {
	rows := float64(p.rows)
	if d.chance(0.5) { // specks
		for range int(d.logUni(4, 90)) {
			r := d.IntN(p.rows)
			sc.smear(float64(r), d.Float64()*p.alt[r], 0.6, 0.6, d.logUni(0.05, 0.35))
		}
	}
	if d.chance(0.2) {
		d.bubbles(p, sc)
	}
	if d.chance(0.25) {
		d.thermal(p, sc)
	}
	if d.chance(0.2) {
		d.wake(p, sc)
	}
	if d.chance(0.3) { // the surface's echo in the water
		at, amp := d.uni(0.15, 1.3)*p.alt[0], d.logUni(0.05, 0.4)
		wob := d.wander(p.rows, rows*0.4)
		for r := range p.rows {
			sc.smear(float64(r), at+wob[r]*1.5, 0.5, d.uni(0.8, 1.4), amp*d.uni(0.4, 1.4))
		}
	}
	if d.chance(0.2) { // an arc of the other side
		r0, s0, k := d.uni(-0.2, 1.2)*rows, d.uni(0.1, 0.8)*p.reach(), d.logUni(0.5, 4)*p.fy/p.fx
		reach, amp := d.uni(0.2, 0.9)*rows, d.logUni(0.3, 2)
		for r := max(int(r0-reach), 0); r < min(int(r0+reach), p.rows); r++ {
			sc.smear(float64(r), math.Hypot(s0, k*(float64(r)-r0)), 0.5, 0.8, amp*d.uni(0.5, 1.5)*(1-math.Abs(float64(r)-r0)/reach))
		}
	}
	if d.chance(0.3) {
		d.second(p, sc)
	}
	if d.chance(0.3) {
		amp := d.logUni(2, 30)
		for range int(d.logUni(3, 120)) {
			sc.bursts = append(sc.bursts, burst{d.IntN(p.rows), d.IntN(p.bins), float32(amp * d.logUni(0.3, 2))})
		}
	}
}

func (d dice) bubbles(p *plan, sc *scene) {
	for range d.between(1, 3) {
		row, drift := d.uni(0, float64(p.rows)), d.NormFloat64()*0.4
		h := p.alt[int(row)]
		top, amp := d.uni(0.1, 0.7)*h, d.logUni(0.05, 0.4)
		for s := top; s < h; s += d.uni(1, 5) / p.fx {
			sc.smear(row+drift*(s-top)+d.NormFloat64()*1.5, s, d.uni(0.6, 2), d.uni(0.5, 1.3), amp*d.logUni(0.2, 1.5))
		}
	}
}

func (d dice) thermal(p *plan, sc *scene) {
	cloud := d.fractal(p.rows, p.bins, d.uni(30, 120)/p.fx, 3, 2, d.uni(1, 4))
	at, wide, amp := d.uni(0.2, 0.95)*p.alt[0], d.uni(0.1, 0.4)*p.alt[0], d.logUni(0.02, 0.25)
	r0, long := d.uni(0, float64(p.rows)), d.uni(0.1, 0.6)*float64(p.rows)
	for r := range p.rows {
		y := (float64(r) - r0) / long
		for c := range min(int(at+3*wide)+1, p.bins) {
			x := (float64(c) - at) / wide
			sc.water.row(r)[c] += float32(amp * math.Exp(-x*x-y*y) * max(0, float64(cloud.row(r)[c])+0.3))
		}
	}
}

func (d dice) wake(p *plan, sc *scene) {
	fray := d.fractal(p.rows, p.bins, 24/p.fx, 2, 1.4, 1)
	at, slope, wide, amp := d.uni(0, 1)*p.reach(), d.NormFloat64()*1.5, d.uni(4, 22)/p.fx, d.logUni(0.05, 0.6)
	r0 := d.uni(0, float64(p.rows))
	for r := range p.rows {
		mid := at + slope*(float64(r)-r0)
		for c := max(int(mid-3*wide), 0); c < min(int(mid+3*wide), p.bins); c++ {
			x := (float64(c) - mid) / wide
			sc.water.row(r)[c] += float32(amp * math.Exp(-x*x+0.6*float64(fray.row(r)[c])))
		}
	}
}

// second is the bottom's echo by way of the surface and the bottom again, at twice the altitude.
func (d dice) second(p *plan, sc *scene) {
	amp, fade := d.logUni(0.2, 1.2), d.logUni(4, 60)/p.fx
	for r, h := range p.alt {
		for c := int(2 * h); c < min(int(2*h+4*fade), p.bins); c++ {
			sc.water.row(r)[c] += float32(amp * math.Exp(-(float64(c)-2*h)/fade))
		}
	}
}
