package patchworld

import "math"

// coarse is how many samples a cell of the bottom's slow fields stands for, in each axis.
const coarse = 4

// bottomLog composes the logarithm of the bottom's echo strength on the coarse grid. Which fields and how strong is drawn
// from recipe, so that both sides can share one; the fields themselves come from d.
func bottomLog(recipe, d dice, w, h int) plane {
	p := newPlane(w, h)
	span := float64(min(w, h))
	layers := recipe.count(1, 4)
	most := recipe.logBetween(0.06, 0.6) // most bottoms are evener than their speckle; some are not
	for range layers {
		amp := float32(most * recipe.logBetween(0.25, 1))
		cell := recipe.logBetween(2, span*0.7)
		stretch := recipe.logBetween(0.2, 5)
		n := d.fractal(w, h, cell*math.Sqrt(stretch), cell/math.Sqrt(stretch), recipe.between(0.3, 0.95))
		n = d.warped(n, cell*recipe.between(0.4, 2), cell*recipe.between(0.3, 0.9))
		shape(recipe, n)
		for i, v := range n.v {
			p.v[i] += v * amp
		}
	}
	if recipe.chance(0.35) {
		addBands(recipe, d, p)
	}
	if recipe.chance(0.3) {
		addEdge(recipe, d, p)
	}
	if recipe.chance(0.2) {
		addCells(recipe, d, p)
	}
	if recipe.chance(0.3) {
		addWaves(recipe, d, p)
	}
	for range recipe.pick(5, 2, 1, 1) {
		addScar(d, p)
	}
	for i, v := range p.v {
		p.v[i] = min(max(v, -2.2), 1.6)
	}
	return p
}

// shape bends a unit field: left as it is, ridged, thresholded into patches hard or soft, or skewed.
func shape(d dice, n plane) {
	level, hard := float32(d.between(-0.8, 1.5)), float32(d.logBetween(0.8, 12))
	up := float32(d.sign())
	kind := d.pick(4, 0.8, 3, 1)
	for i, v := range n.v {
		switch kind {
		case 1:
			n.v[i] = up * (1 - 2*float32(math.Abs(float64(v))))
		case 2:
			n.v[i] = up * 2 * min(max((v-level)*hard, 0), 1)
		case 3:
			n.v[i] = up * v * v * 0.7
		}
	}
}

// addBands lays streaks along the track or along the ping.
func addBands(recipe, d dice, p plane) {
	amp, cell := float32(recipe.logBetween(0.03, 0.35)), recipe.logBetween(1, 30)
	long := recipe.between(20, 300)
	n := newPlane(p.w, p.h)
	if recipe.chance(0.6) {
		d.addNoise(n, cell, long, amp)
	} else {
		d.addNoise(n, long, cell, amp)
	}
	for i, v := range n.v {
		p.v[i] += v
	}
}

// addEdge parts two sediments along a bent line.
func addEdge(recipe, d dice, p plane) {
	angle, amp := recipe.between(0, 2*math.Pi), recipe.between(0.1, 0.9)
	hard := recipe.logBetween(0.05, 3)
	sin, cos := math.Sincos(angle)
	bend := d.fractal(p.w, p.h, float64(p.w)*recipe.between(0.1, 0.6), float64(p.h)*recipe.between(0.1, 0.6), recipe.between(0.3, 0.8))
	reach := recipe.between(2, 25)
	ox, oy := float64(p.w)*d.Float64(), float64(p.h)*d.Float64()
	for r := range p.h {
		for i := range p.w {
			o := r*p.w + i
			at := (float64(i)-ox)*cos + (float64(r)-oy)*sin + float64(bend.v[o])*reach
			p.v[o] += float32(amp * (min(max(at*hard, -1), 1)) / 2)
		}
	}
}

// addCells lays a net of mounds and seams: the distance to the nearest of scattered points (Worley, 1996).
func addCells(recipe, d dice, p plane) {
	cell := recipe.logBetween(5, 40)
	amp := float32(recipe.between(-0.8, 0.8))
	nx, ny := int(float64(p.w)/cell)+3, int(float64(p.h)/cell)+3
	px := make([][2]float64, nx*ny)
	for i := range px {
		px[i] = [2]float64{(float64(i%nx-1) + d.Float64()) * cell, (float64(i/nx-1) + d.Float64()) * cell}
	}
	for r := range p.h {
		for i := range p.w {
			best := math.Inf(1)
			cx, cy := int(float64(i)/cell)+1, int(float64(r)/cell)+1
			for y := cy - 1; y <= min(cy+1, ny-1); y++ {
				for x := cx - 1; x <= min(cx+1, nx-1); x++ {
					q := px[y*nx+x]
					best = min(best, (q[0]-float64(i))*(q[0]-float64(i))+(q[1]-float64(r))*(q[1]-float64(r)))
				}
			}
			p.v[r*p.w+i] += amp * float32(math.Sqrt(best)/cell-0.45)
		}
	}
}

// addWaves lays sand waves or wide bands with bending crests over part of the bottom.
func addWaves(recipe, d dice, p plane) {
	n := crests(recipe, d, p.w, p.h, recipe.logBetween(4, 30))
	amp := float32(recipe.between(0.08, 0.5))
	for i, v := range n.v {
		p.v[i] += v * amp
	}
}

// crests is a field of waves of the given length in samples, bent, sharpened and fading in patches; within -1 and 1.
func crests(recipe, d dice, w, h int, length float64) plane {
	sin, cos := math.Sincos(recipe.between(0, math.Pi))
	sharp := recipe.between(0, 1.2)
	bend := newPlane(w, h)
	cell := length * recipe.between(3, 12)
	d.addNoise(bend, cell, cell, float32(recipe.between(0.3, 3)))
	d.addNoise(bend, cell/3, cell/3, float32(recipe.between(0.05, 0.6)))
	where := newPlane(w, h)
	patch := recipe.between(4, 25) * length
	d.addNoise(where, patch, patch, 1)
	level := float32(recipe.between(-2, 1))
	sines := sineTable()
	k := 1 / length
	for r := range h {
		for i := range w {
			o := r*w + i
			turn := (float64(i)*cos+float64(r)*sin)*k + float64(bend.v[o])*0.35 + 1000
			at := float64(sines[int(turn*1024)&1023])
			at = (at + sharp*at*at*at) / (1 + sharp)
			bend.v[o] = float32(at) * min(max(where.v[o]-level, 0), 1)
		}
	}
	return bend
}

func sineTable() []float32 {
	t := make([]float32, 1024)
	for i := range t {
		t[i] = float32(math.Sin(2 * math.Pi * float64(i) / 1024))
	}
	return t
}

// addScar draws a drag mark or keel scar: a dark groove, a bright lip or both side by side, along a wandering path.
func addScar(d dice, p plane) {
	x, y := d.between(0, float64(p.w)), d.between(0, float64(p.h))
	angle := d.between(0, 2*math.Pi)
	steps := int(d.logBetween(15, 250))
	amp, wide := d.between(-0.6, 0.6), d.logBetween(0.4, 1.7)
	lip := d.between(-0.5, 0.2) * amp
	bend := d.between(0, 0.05)
	for range steps {
		angle += d.NormFloat64() * bend
		x, y = x+math.Cos(angle), y+math.Sin(angle)
		dab(p, x, y, wide, amp*0.5, true)
		dab(p, x+2*wide*math.Sin(angle), y-2*wide*math.Cos(angle), wide, lip*0.5, true)
	}
}

// dab puts a soft round spot of radius r on p, added to what is there or as the larger of the two.
func dab(p plane, x, y, r, amp float64, add bool) {
	reach := r + 0.75
	for j := max(int(math.Ceil(y-reach)), 0); j <= min(int(y+reach), p.h-1); j++ {
		for i := max(int(math.Ceil(x-reach)), 0); i <= min(int(x+reach), p.w-1); i++ {
			dist := math.Hypot(float64(i)-x, float64(j)-y)
			v := float32(min(max((reach-dist)/(0.5*r+0.75), 0), 1) * amp)
			if o := j*p.w + i; add {
				p.v[o] += v
			} else if v > p.v[o] {
				p.v[o] = v
			}
		}
	}
}

// rangeGain is the echo's slow course from the first return outward, n samples: none of it is any real sonar's law, its
// kinds and strengths are drawn far wider than those are.
func rangeGain(d dice, n int, altitude float64) []float32 {
	g := make([]float32, n)
	fall, rise := 0.0, 0.0
	switch d.pick(3, 4, 2, 1) {
	case 1:
		fall = d.between(0, 3)
	case 2:
		rise = d.between(0, 1.5)
	case 3:
		fall, rise = d.between(1, 4), d.between(0, 1)
	}
	wave := d.line(n, float64(n)*d.between(0.1, 0.8), 0.5)
	amp := d.between(0, 0.4)
	angle := d.between(0, 1.2) // grazing: strength goes as the sine of the angle to this power (Lambert's law has 2)
	for i := range g {
		u := float64(i) / float64(n)
		v := -fall*u + rise*u*u + amp*float64(wave[i])
		v += angle * math.Log(max(min(altitude/(float64(i)+1), 1), 0.05)) * 0.5
		g[i] = float32(math.Exp(min(max(v, -3.5), 1.5)))
	}
	for range d.pick(6, 2, 1) {
		at, step := d.IntN(n), float32(d.logBetween(0.6, 1.6))
		for i := at; i < n; i++ {
			g[i] *= step
		}
	}
	return g
}
