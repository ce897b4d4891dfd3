package trialworld

import (
	"math"

	"shadowgap/detect"
)

// fieldOfStones is a dense scatter told as a region.
type fieldOfStones struct {
	side   detect.Side
	p0, p1 int
	b0, b1 int
}

// both draws one field under the whole swath and hands each side its half, ground cells outwards, so that the sides agree at the nadir.
func (w *world) both(largest, smallest int, fall, stretch float64) [][]float32 {
	g, n := w.bins, len(w.sides)
	all := cloud(w.r, w.pings, g*n, largest, smallest, fall, stretch*w.sx/w.sy)
	if n == 1 {
		return [][]float32{all}
	}
	port, starboard := make([]float32, w.pings*g), make([]float32, w.pings*g)
	for p := range w.pings {
		row := all[p*2*g : (p+1)*2*g]
		to := port[p*g : (p+1)*g]
		for j := range to {
			to[j] = row[g-1-j]
		}
		copy(starboard[p*g:(p+1)*g], row[g:])
	}
	return [][]float32{port, starboard}
}

// shapeBottom makes heights and strengths without things, and everything on them that only fools.
func (w *world) shapeBottom() {
	r := w.r
	n := w.pings * w.bins
	for _, b := range w.sides {
		b.height, b.strength, b.id = make([]float32, n), make([]float32, n), make([]int16, n)
	}
	wide := max(w.bins, 64)
	swell := w.both(wide/2, max(wide/32, 1), uni(r, 0.35, 0.6), logUni(r, 0.5, 2))
	fine := w.both(max(wide/20, 4), 1, uni(r, 0.5, 0.95), logUni(r, 0.6, 3))
	strong := w.both(wide/2, 1, uni(r, 0.5, 0.85), logUni(r, 0.6, 2))
	w.warp = fine
	swellM := w.altM * logUni(r, 0.004, 0.06)
	fineM := w.binM * logUni(r, 0.03, 0.5)
	contrast := logUni(r, 0.05, 0.5)
	if w.grainy && chance(r, 0.6) {
		contrast, fineM = contrast*0.5, fineM*0.4
	}
	for k, b := range w.sides {
		for i := range b.height {
			b.height[i] = float32(swellM)*swell[k][i] + float32(fineM)*fine[k][i]
			b.strength[i] = exp32(float32(contrast) * strong[k][i])
		}
	}
	w.sediments(swell)
	if chance(r, 0.35) {
		w.ripples(swell)
	}
	if chance(r, 0.3) {
		w.sandWaves()
	}
	for _, b := range w.sides {
		w.confuse(b)
	}
}

// exp32 is e to the x, near enough for textures, by squaring.
func exp32(x float32) float32 {
	v := 1 + x/16
	if v < 0.1 {
		v = 0.1
	}
	v *= v
	v *= v
	v *= v
	return v * v
}

// sediments parts the bottom into two or three strengths with ragged or soft edges.
func (w *world) sediments(swell [][]float32) {
	r := w.r
	if chance(r, 0.4) {
		return
	}
	wide := max(w.bins, 64)
	shape := w.both(wide/3, 1, uni(r, 0.45, 0.75), logUni(r, 0.6, 2))
	at, edge := uni(r, -0.8, 0.8), logUni(r, 0.03, 0.6)
	ratio := math.Exp(uni(r, -1.3, 1.3))
	step := float32(uni(r, -0.03, 0.03) * w.altM)
	if chance(r, 0.5) {
		step = 0
	}
	rough := chance(r, 0.4)
	for k, b := range w.sides {
		for i := range b.strength {
			t := (float64(shape[k][i]) - at) / edge
			if t < -1 {
				continue
			}
			t = math.Min(t+1, 2) / 2
			b.strength[i] *= float32(1 + (ratio-1)*t)
			b.height[i] += step * float32(t)
			if rough {
				b.height[i] += float32(t*w.binM*0.3) * (shape[k][i] - swell[k][i]) * 0.3
			}
		}
	}
}

// ripples are crests that bend and fade out, in height and a little in strength.
func (w *world) ripples(where [][]float32) {
	r := w.r
	bend := w.both(max(w.bins/3, 32), max(w.bins/24, 4), 0.5, 1)
	length := uni(r, 4, 22) / w.sx // bins
	dir := uni(r, -1.5, 1.5)
	ky, kx := math.Sin(dir)*w.sy/w.sx, math.Cos(dir)
	high := float32(length * w.binM * logUni(r, 0.006, 0.09))
	cover := float32(uni(r, -0.5, 1.2))
	for k, b := range w.sides {
		sign := 1.0
		if b.side == detect.Port {
			sign = -1
		}
		for p := range w.pings {
			for j := range w.bins {
				i := p*w.bins + j
				amp := where[k][i] + cover
				if amp <= 0 {
					continue
				}
				phase := (ky*float64(p)+sign*kx*float64(j))/length*2*math.Pi + 2*float64(bend[k][i])
				b.height[i] += high * min(amp, 1) * float32(math.Sin(phase))
			}
		}
	}
}

// sandWaves are long crests across the way of the boat.
func (w *world) sandWaves() {
	r := w.r
	length := uni(r, 30, 140) / w.sy
	high := w.altM * logUni(r, 0.004, 0.035)
	wander, fade := smooth1(r, w.bins, uni(r, 20, 120)/w.sx), smooth1(r, w.bins, uni(r, 60, 300)/w.sx)
	change := smooth1(r, w.pings, uni(r, 60, 300)/w.sy)
	steep, sway := uni(r, 0, 0.45), uni(r, 0, 0.3)
	for _, b := range w.sides {
		for p := range w.pings {
			for j := range w.bins {
				i := p*w.bins + j
				amp := math.Max(0.7+0.5*fade[j]+0.5*change[p], 0)
				t := 2 * math.Pi * (float64(p)/length + wander[j]*sway + 0.05*float64(w.warp[0][i]))
				b.height[i] += float32(high * amp * (math.Sin(t) + steep*math.Sin(2*t)))
			}
		}
	}
}

// confuse lays on what a reader should pass over.
func (w *world) confuse(b *seabed) {
	r := w.r
	for range r.IntN(7) {
		w.patch(b, math.Exp(uni(r, -1.6, 1.4)))
	}
	for range r.IntN(5) {
		w.pit(b)
	}
	if chance(r, 0.35) {
		for range 1 + r.IntN(4) {
			w.scar(b)
		}
	}
	if chance(r, 0.3) {
		w.weeds(b)
	}
	if chance(r, 0.35) {
		w.gravel(b)
	}
	if chance(r, 0.22) {
		w.bank(b)
	}
	if chance(r, 0.25) {
		w.mound(b)
	}
}

// spot is a place and half-axes in pings and cells.
func (w *world) spot(smallPx, largePx float64) (p, j, hp, hj float64) {
	r := w.r
	size := logUni(r, smallPx, largePx)
	flat := logUni(r, 0.4, 2.5)
	return r.Float64() * float64(w.pings), r.Float64() * float64(w.bins), size / w.sy * flat, size / w.sx / flat
}

// within calls each for every cell of a rotated, frayed ellipse, with the distance from its middle in half-axes.
func (w *world) within(p, j, hp, hj float64, each func(i int, d float32)) {
	turn := w.r.Float64() * math.Pi
	// The fraying is a piece of a field drawn before, from another place so that heights there don't follow it.
	warp, off := w.warp[0], w.r.IntN(len(w.warp[0]))
	fray := uni(w.r, 0.05, 0.5)
	lobe, lobes := w.r.Float64()*2*math.Pi, uni(w.r, 0, 0.35)
	c, s := math.Cos(turn), math.Sin(turn)
	long := math.Max(hp*w.sy, hj*w.sx)
	p0, p1 := max(int(p-long/w.sy), 0), min(int(p+long/w.sy)+1, w.pings-1)
	j0, j1 := max(int(j-long/w.sx), 0), min(int(j+long/w.sx)+1, w.bins-1)
	for y := p0; y <= p1; y++ {
		for x := j0; x <= j1; x++ {
			dy, dx := (float64(y)-p)*w.sy, (float64(x)-j)*w.sx
			u, v := (c*dy+s*dx)/(hp*w.sy), (c*dx-s*dy)/(hj*w.sx)
			at := y*w.bins + x
			d := math.Sqrt(u*u + v*v)
			if d > 1 {
				continue
			}
			d *= 1.35 + fray*float64(warp[(at+off)%len(warp)]) + lobes*math.Sin(3*math.Atan2(u, v)+lobe)
			if d < 1 {
				each(at, float32(math.Max(d, 0)))
			}
		}
	}
}

// patch is a change of strength without height.
func (w *world) patch(b *seabed, ratio float64) {
	p, j, hp, hj := w.spot(4, 80)
	ragged := float32(uni(w.r, 0, 0.8))
	edge := float32(logUni(w.r, 0.1, 1))
	noise := newSpeckler(w.r, 2)
	w.within(p, j, hp, hj, func(i int, d float32) {
		t := min((1-d)/edge, 1)
		t *= 1 - ragged + ragged*min(noise.next(), 1.5)
		b.strength[i] *= 1 + (float32(ratio)-1)*min(t, 1)
	})
}

// pit is a hollow: its near wall in shadow, its far wall bright.
func (w *world) pit(b *seabed) {
	p, j, hp, hj := w.spot(4, 40)
	deep := hj * w.binM * logUni(w.r, 0.08, 0.7)
	deep = math.Min(deep, w.altM*0.3)
	rim := deep * uni(w.r, 0, 0.15)
	w.within(p, j, hp, hj, func(i int, d float32) {
		b.height[i] += float32(rim)*d*(1-d)*4 - float32(deep)*(1-d*d)
	})
}

// scar is a furrow with low shoulders.
func (w *world) scar(b *seabed) {
	r := w.r
	y, x := r.Float64()*float64(w.panelH), r.Float64()*float64(w.bins)*w.sx
	dir := r.Float64() * 2 * math.Pi
	steps := int(logUni(r, 60, 700))
	turn, depth := smooth1(r, steps, 60), smooth1(r, steps, uni(r, 8, 80))
	bend := uni(r, 0.001, 0.012)
	half := logUni(r, 1, 5)
	deep := float32(half * w.pxM * logUni(r, 0.1, 0.6))
	ratio := float32(math.Exp(uni(r, -0.5, 0.3)))
	for n := range steps {
		y, x = y+math.Sin(dir), x+math.Cos(dir)
		dir += bend*turn[n] + 0.02*r.NormFloat64()
		part := float32(math.Min(math.Max(0.6+0.6*depth[n], 0), 1))
		p, j := int(y/w.sy), int(x/w.sx)
		wideP, wideJ := int(half/w.sy), int(half/w.sx)
		for q := max(p-wideP, 0); q <= min(p+wideP, w.pings-1); q++ {
			for k := max(j-wideJ, 0); k <= min(j+wideJ, w.bins-1); k++ {
				i := q*w.bins + k
				// Each step digs a little, so that the steps together make the furrow.
				b.height[i] -= part * deep / float32(1+half)
				b.strength[i] *= 1 + part*(ratio-1)/float32(2+2*half)
			}
		}
	}
}

// weeds are soft tufts that scatter and shade a little.
func (w *world) weeds(b *seabed) {
	r := w.r
	noise := newSpeckler(r, logUni(r, 0.6, 3))
	high := float32(w.altM * logUni(r, 0.003, 0.03))
	gainUp := float32(uni(r, 0.2, 1.2))
	for range 1 + r.IntN(3) {
		p, j, hp, hj := w.spot(20, 140)
		w.within(p, j, hp, hj, func(i int, d float32) {
			n := noise.next()
			if n > 0.7+d {
				b.height[i] += high * (n - 0.7 - d) * (1 - d)
			}
			b.strength[i] *= 1 + gainUp*(n-0.4)*(1-d)
		})
	}
}

// gravel is coarse grains that glint and shade but are too small and many to be told.
func (w *world) gravel(b *seabed) {
	r := w.r
	noise := newSpeckler(r, logUni(r, 0.7, 2))
	high := float32(w.binM * logUni(r, 0.15, 1))
	p, j, hp, hj := w.spot(60, 600)
	w.within(p, j, hp, hj, func(i int, d float32) {
		n := noise.next()
		if n > 1+d {
			b.height[i] += high * min(n-1-d, 1.5)
			b.strength[i] *= 1.3
		}
	})
}

// bank lifts the bottom beyond some ground range, steep or in ledges, or lets it fall.
func (w *world) bank(b *seabed) {
	r := w.r
	start := uni(r, -0.2, 0.7) * w.rangeM
	slope := uni(r, -0.25, 0.5)
	most := w.altM * uni(r, 0.15, 0.6)
	wander, quick := smooth1(r, w.pings, uni(r, 30, 200)), smooth1(r, w.pings, uni(r, 4, 25))
	wanderM := w.rangeM * uni(r, 0.01, 0.08)
	rough := uni(r, 0.02, 0.25)
	ledge := 0.0
	if chance(r, 0.4) {
		ledge = w.altM * uni(r, 0.03, 0.15)
	}
	for p := range w.pings {
		for j := range w.bins {
			i := p*w.bins + j
			d := float64(j)*w.binM - start - wanderM*(wander[p]+0.2*quick[p]+rough*float64(w.warp[0][i]))
			if d <= 0 {
				continue
			}
			lift := most * math.Tanh(d*d/(d+0.05*w.altM)*slope/most)
			if ledge > 0 && lift > 0 {
				lift = math.Floor(lift/ledge)*ledge + 0.3*math.Mod(lift, ledge)
			}
			b.height[i] += float32(lift)
		}
	}
}

// mound lifts the bottom near the nadir, broad enough to cast little shadow, so that the first return bulges inwards.
func (w *world) mound(b *seabed) {
	r := w.r
	p, j := r.Float64()*float64(w.pings), uni(r, 0, 1.2)*w.altM/w.binM
	long, wide := uni(r, 30, 200)/w.sy, uni(r, 0.4, 1.5)*w.altM/w.binM
	high := w.altM * uni(r, 0.05, 0.4)
	for y := max(int(p-2.5*long), 0); y < min(int(p+2.5*long), w.pings); y++ {
		dy := (float64(y) - p) / long
		for x := max(int(j-2.5*wide), 0); x < min(int(j+2.5*wide), w.bins); x++ {
			dx := (float64(x) - j) / wide
			b.height[y*w.bins+x] += float32(high * math.Exp(-dy*dy-dx*dx))
		}
	}
}
