package patchworld

import "math"

// outline is how one kind of thing is drawn: a stamp of w by h samples (across by along track), values 0 to 1.
type outline func(d dice, w, h int) plane

// stamp draws an outline and roughens it: texture within, bites at the rim, a side that catches more of the ping.
func stamp(d dice, draw outline, w, h int) plane {
	p := draw(d, max(w, 2), max(h, 2))
	inner := newPlane(p.w, p.h)
	d.addNoise(inner, d.between(1, 4), d.between(1, 4), 1)
	rough := float32(d.between(0.1, 0.8))
	lean := float32(d.between(-0.1, 0.7))
	bite := float32(d.between(-2.6, -0.7))
	top := float32(1e-6)
	for r := range p.h {
		for i := range p.w {
			o := r*p.w + i
			v := p.v[o] * (1 + rough*inner.v[o]*0.6) * (1 - lean*float32(i)/float32(p.w))
			if inner.v[o] < bite {
				v *= 0.2
			}
			p.v[o] = max(v, 0)
			top = max(top, p.v[o])
		}
	}
	for i, v := range p.v {
		p.v[i] = min(v/top*1.15, 1)
	}
	return p
}

// blob is a round thing whose rim is bent by random harmonics.
func blob(d dice, w, h int) plane {
	p := newPlane(w, h)
	var amp, turn [6]float64
	bend := d.between(0, 0.35)
	for k := range amp {
		amp[k], turn[k] = d.NormFloat64()*bend/float64(k+1), d.between(0, 2*math.Pi)
	}
	soft := d.logBetween(1, 6)
	for r := range h {
		for i := range w {
			x := (float64(i) + 0.5 - float64(w)/2) / (float64(w) / 2)
			y := (float64(r) + 0.5 - float64(h)/2) / (float64(h) / 2)
			a, rim := math.Atan2(y, x), 0.9
			for k := range amp {
				rim += amp[k] * math.Cos(float64(k+1)*a+turn[k])
			}
			p.v[r*w+i] = float32(min(max((rim-math.Hypot(x, y))*soft+0.3, 0), 1))
		}
	}
	return p
}

// crescent is a blob of which only the near rim echoes.
func crescent(d dice, w, h int) plane {
	p := blob(d, w, h)
	thick := max(d.between(0.2, 0.5)*float64(w), 1.3)
	for r := range h {
		row := p.row(r)
		seen := 0.0
		for i := range row {
			if row[i] > 0.2 {
				seen++
			}
			row[i] *= float32(min(max(1.6-seen/thick, 0.08), 1))
		}
	}
	return p
}

// stroke paints from a to b with waist, wobble and breaks.
func stroke(d dice, p plane, x0, y0, x1, y1, r0, r1, broken float64) {
	n := int(math.Hypot(x1-x0, y1-y0)*1.5) + 2
	wob := d.line(n, max(float64(n)/4, 2), 0.5)
	amp := d.between(0, 0.06) * math.Hypot(x1-x0, y1-y0)
	nx, ny := -(y1 - y0), x1-x0
	if l := math.Hypot(nx, ny); l > 0 {
		nx, ny = nx/l, ny/l
	}
	gap := d.line(n, max(float64(n)/8, 2), 0.7)
	for i := range n {
		f := float64(i) / float64(n-1)
		if float64(gap[i]) > 2.2-3*broken {
			continue
		}
		push := float64(wob[i]) * amp
		dab(p, x0+(x1-x0)*f+nx*push, y0+(y1-y0)*f+ny*push, r0+(r1-r0)*f, 0.7+0.3*float64(max(min(gap[i], 1), -1)), false)
	}
}

// bar is straight from one corner region to the opposite one.
func bar(d dice, w, h int) plane {
	p := newPlane(w, h)
	r := d.between(0.3, max(0.12*float64(min(w, h)), 0.8))
	y0, y1 := r, float64(h)-1-r
	if d.chance(0.5) {
		y0, y1 = y1, y0
	}
	stroke(d, p, r, y0, float64(w)-1-r, y1, r, r*d.between(0.4, 1.1), d.between(0, 0.6))
	return p
}

// streak lies along the track or across it, thin: a fish on a straight pass, a pipe end.
func streak(d dice, w, h int) plane {
	p := newPlane(w, h)
	r := max(0.35*float64(min(w, h)), 0.4)
	if w > h {
		stroke(d, p, r, float64(h)/2-0.5, float64(w)-1-r, float64(h)/2-0.5, r, r*d.between(0.3, 1), d.between(0, 0.3))
	} else {
		stroke(d, p, float64(w)/2-0.5, r, float64(w)/2-0.5, float64(h)-1-r, r, r*d.between(0.3, 1), d.between(0, 0.3))
	}
	return p
}

// arc bends toward or away from the nadir, tapered at its ends; comma is one with a heavy head.
func arc(d dice, w, h int) plane { return bow(d, w, h, false) }

func comma(d dice, w, h int) plane { return bow(d, w, h, true) }

func bow(d dice, w, h int, head bool) plane {
	p := newPlane(w, h)
	rad := max(d.between(0.1, 0.22)*float64(min(w, h)), 0.45)
	out := d.sign()
	n := 2*h + 2
	deep := max(float64(w)-1-2*rad, 0)
	for i := range n {
		f := float64(i)/float64(n-1)*2 - 1
		x := rad + deep*f*f
		if out < 0 {
			x = float64(w) - 1 - x
		}
		r := rad * (1 - 0.6*f*f)
		if head {
			r = rad * (0.35 + 0.9*max(f, 0))
		}
		dab(p, x, rad+(f+1)/2*(float64(h)-1-2*rad), max(r, 0.3), 1-0.5*math.Abs(f), false)
	}
	return p
}

// dots is a loose cluster; a school or a heap.
func dots(d dice, w, h int) plane {
	p := newPlane(w, h)
	n := d.count(4, 8+w*h/25)
	r := d.between(0.4, max(0.07*float64(min(w, h)), 0.9))
	for range min(n, 70) {
		x, y := 0.5+d.NormFloat64()*0.22, 0.5+d.NormFloat64()*0.22
		dab(p, x*float64(w), y*float64(h), r*d.between(0.5, 1.5), d.between(0.4, 1), false)
	}
	return p
}

// branches is a trunk with limbs.
func branches(d dice, w, h int) plane {
	p := newPlane(w, h)
	r := d.between(0.4, max(0.05*float64(min(w, h)), 0.9))
	x0, y0, x1, y1 := 1.0, d.between(0.1, 0.9)*float64(h), float64(w)-2, d.between(0.1, 0.9)*float64(h)
	if h > w {
		x0, y0, x1, y1 = d.between(0.1, 0.9)*float64(w), 1, d.between(0.1, 0.9)*float64(w), float64(h)-2
	}
	stroke(d, p, x0, y0, x1, y1, r, r*0.6, d.between(0, 0.5))
	for range d.count(2, 7) {
		f := d.Float64()
		x, y := x0+(x1-x0)*f, y0+(y1-y0)*f
		stroke(d, p, x, y, d.between(0, float64(w)), d.between(0, float64(h)), r*0.7, 0.3, d.between(0.1, 0.6))
	}
	return p
}

// crate is a box seen from above: filled or outlined, turned a little.
func crate(d dice, w, h int) plane {
	p := newPlane(w, h)
	sin, cos := math.Sincos(d.between(-0.6, 0.6))
	fill := d.between(0, 1)
	rim := max(0.16*float64(min(w, h)), 0.8)
	for r := range h {
		for i := range w {
			x, y := float64(i)+0.5-float64(w)/2, float64(r)+0.5-float64(h)/2
			x, y = x*cos+y*sin, y*cos-x*sin
			in := min(float64(w)*0.38-math.Abs(x), float64(h)*0.38-math.Abs(y))
			v := min(max(in+0.7, 0), 1)
			if in > rim {
				v *= fill
			}
			p.v[r*w+i] = float32(v)
		}
	}
	return p
}

// ring is a tyre or a coil, often open.
func ring(d dice, w, h int) plane {
	p := newPlane(w, h)
	r := max(0.1*float64(min(w, h)), 0.5)
	from, turn := d.between(0, 2*math.Pi), d.between(3, 6.6)
	n := 2 * (w + h)
	for i := range n {
		sin, cos := math.Sincos(from + turn*float64(i)/float64(n))
		x := float64(w)/2 - 0.5 + cos*(float64(w)/2-r-0.7)
		dab(p, x, float64(h)/2-0.5+sin*(float64(h)/2-r-0.7), r, 0.7-0.3*cos, false)
	}
	return p
}

// hull is two long bent sides with ribs between, parts of it missing.
func hull(d dice, w, h int) plane {
	p := newPlane(w, h)
	r := max(0.03*float64(min(w, h)), 0.6)
	mx, my := float64(w)/2, float64(h)/2
	broken := d.between(0.1, 0.6)
	for _, s := range []float64{-1, 1} {
		a := d.between(0.55, 0.9)
		if h >= w {
			stroke(d, p, mx, 1, mx+s*mx*a, my, r, r, broken)
			stroke(d, p, mx+s*mx*a, my, mx, float64(h)-2, r, r, broken)
		} else {
			stroke(d, p, 1, my, mx, my+s*my*a, r, r, broken)
			stroke(d, p, mx, my+s*my*a, float64(w)-2, my, r, r, broken)
		}
	}
	for range d.count(0, 6) {
		f := d.between(0.2, 0.8)
		if h >= w {
			stroke(d, p, mx*0.4, f*float64(h), mx*1.6, f*float64(h), r*0.7, r*0.7, broken)
		} else {
			stroke(d, p, f*float64(w), my*0.4, f*float64(w), my*1.6, r*0.7, r*0.7, broken)
		}
	}
	return p
}

// piles is a row of spots, evenly set but for what fell.
func piles(d dice, w, h int) plane {
	p := newPlane(w, h)
	n := d.count(4, 12)
	r := d.between(0.6, max(0.3*float64(min(w, h)), 1))
	x0, x1 := d.between(0, float64(w)), d.between(0, float64(w))
	for i := range n {
		if d.chance(0.15) {
			continue
		}
		f := (float64(i) + 0.5) / float64(n)
		dab(p, x0+(x1-x0)*f, f*float64(h), r*d.between(0.7, 1.2), d.between(0.6, 1), false)
	}
	return p
}

// smear is faint and without a rim.
func smear(d dice, w, h int) plane {
	p := blob(d, w, h)
	for i, v := range p.v {
		p.v[i] = v * v * (3 - 2*v) * 0.8
	}
	return p
}
