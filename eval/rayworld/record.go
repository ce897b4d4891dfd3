package rayworld

import "math"

// recording is the scene as one matrix of echo amplitudes: port reversed, then starboard; the nadir lies between columns bins-1 and bins.
type recording struct {
	amp      []float32
	w, h     int
	lostRows [][2]int
}

// grain is the multiplicative speckle: gamma, or K where a second gamma modulates it, alike from ping to ping or bin to bin by some share.
type grain struct {
	fast, slow    gammaTable // slow is nil where nothing modulates
	along, across float32
	last, second  []float32
}

func newGrain(d dice, looks float64, bins int) *grain {
	g := &grain{fast: newGammaTable(d, looks), last: make([]float32, bins), second: make([]float32, bins)}
	if d.chance(0.45) {
		g.slow = newGammaTable(d, d.logIn(0.8, 8))
	}
	if d.chance(0.45) {
		g.along = float32(d.in(0, 0.9))
	}
	if d.chance(0.45) {
		g.across = float32(d.in(0, 0.9))
	}
	g.fast.fill(d, g.last)
	return g
}

// fill draws the speckle of the next ping.
func (g *grain) fill(d dice, dst []float32) {
	g.fast.fill(d, dst)
	if g.slow != nil {
		g.slow.fill(d, g.second)
		for b := range dst {
			dst[b] *= g.second[b]
		}
	}
	for b := range dst {
		dst[b] += g.along * (g.last[b] - dst[b])
	}
	copy(g.last, dst)
	for b := 1; b < len(dst); b++ {
		dst[b] += g.across * 0.7 * (dst[b-1] - dst[b])
	}
}

// listen turns energies into amplitudes with speckle, noise, water and the faults of a record.
func (sc *scene) listen() *recording {
	d := sc.d
	n, w := sc.bins, 2*sc.bins
	r := &recording{amp: make([]float32, w*sc.pings), w: w, h: sc.pings}
	looks := d.logIn(0.9, 7)
	grain := newGrain(d, looks, n)
	noiseTable := newGammaTable(d, d.logIn(0.8, 4))
	floor := make([]float32, n)
	for b := range floor {
		floor[b] = float32(sc.noise * (0.03 + math.Pow(float64(b)/float64(n), sc.noisePower)))
	}
	second, cross := float32(0), float32(0)
	if d.chance(0.25) {
		second = float32(d.logIn(0.02, 0.4))
	}
	if d.chance(0.15) {
		cross = float32(d.logIn(0.01, 0.2))
	}
	glitter := 0.0
	if d.chance(0.35) {
		glitter = d.logIn(0.0002, 0.012)
	}
	glitterUp, glitterLong := d.logIn(1.5, 12), d.IntN(4)
	sc.water()
	speck, noise, line := make([]float32, n), make([]float32, n), make([]float32, n)
	bright := make([]int, n)
	for i, sw := range sc.sides {
		other := sc.sides[1-i]
		clear(bright)
		for p := range sc.pings {
			grain.fill(d, speck)
			noiseTable.fill(d, noise)
			e, o := sw.full[p*n:(p+1)*n], other.full[p*n:(p+1)*n]
			for b := range line {
				v := e[b]
				if second > 0 {
					v += second * e[b/2]
				}
				if cross > 0 {
					v += cross * o[b]
				}
				v *= speck[b]
				if bright[b] > 0 {
					bright[b]--
					v *= float32(glitterUp)
				}
				line[b] = v + floor[b]*noise[b]
			}
			if glitter > 0 {
				for range int(glitter*float64(n)*2*d.Float64() + d.Float64()) {
					bright[d.IntN(n)] = d.IntN(glitterLong + 1)
				}
			}
			for k := 1; k < sc.pulseBins; k++ {
				for b := n - 1; b > 0; b-- {
					line[b] = 0.55*line[b] + 0.45*line[b-1]
				}
			}
			dst := r.amp[p*w : (p+1)*w]
			for b, v := range line {
				a := float32(math.Sqrt(float64(v)))
				if i == 0 {
					dst[n-1-b] = a
				} else {
					dst[n+b] = a
				}
			}
		}
	}
	sc.faults(r)
	return r
}

// water puts unlabelled things into the water column: specks, clouds, surface lines, bubbles, ring-down at the nadir.
func (sc *scene) water() {
	d := sc.d
	for _, sw := range sc.sides {
		if d.chance(0.4) {
			sc.specks(sw)
		}
		if d.chance(0.3) {
			sc.cloud(sw)
		}
		for range d.IntN(3) * d.IntN(2) {
			sc.surfaceLine(sw)
		}
		if d.chance(0.12) {
			sc.bubbles(sw)
		}
	}
	n := sc.bins
	// The ring-down is the same on both sides.
	ring, amp := d.logIn(0.003, 0.08)*float64(sc.bins), d.logIn(0.02, 30)
	if d.chance(0.25) {
		amp = 0
	}
	for _, sw := range sc.sides {
		for p := range sc.pings {
			for b := range min(int(ring*2.5)+1, n) {
				t := float64(b) / ring
				sw.full[p*n+b] += float32(amp * math.Exp(-t*t))
			}
		}
	}
}

// specks are plankton and bubbles, each a bin or a few pings of one.
func (sc *scene) specks(sw *swath) {
	d, n := sc.d, sc.bins
	top := d.logIn(0.05, 3)
	for range int(d.logIn(3, 400)) {
		p, b := d.IntN(sc.pings), d.IntN(n)
		if float64(b) > sw.first[p]-1 && d.chance(0.8) {
			continue
		}
		for j := range d.intIn(1, 3) {
			if p+j < sc.pings {
				sw.full[(p+j)*n+b] += float32(top * d.ExpFloat64())
			}
		}
	}
}

// cloud is a haze of small life in the column.
func (sc *scene) cloud(sw *swath) {
	d, n := sc.d, sc.bins
	cloud := newField(d, float64(sc.pings), float64(n), fieldShape{
		longM: float64(n) * d.in(0.1, 0.8), shortM: d.logIn(4, 20), slope: d.in(0.4, 1.2), stretch: d.logIn(0.2, 3),
	})
	cut, amp := float32(d.in(-0.3, 1.3)), float32(d.logIn(0.01, 0.5))
	row := make([]float32, n)
	for p := range sc.pings {
		reach := min(int(sw.first[p]), n)
		clear(row[:reach])
		cloud.addRow(row[:reach], float64(p), 0, 1, 1)
		for b, v := range row[:reach] {
			if v > cut {
				sw.full[p*n+b] += amp * (v - cut)
			}
		}
	}
}

// surfaceLine is an echo of the surface or of the hull: a line at a slant range that hardly changes, with holes.
func (sc *scene) surfaceLine(sw *swath) {
	d, n := sc.d, sc.bins
	at, amp, sway := d.in(0.02, 0.9)*sc.depthM/sc.binM, d.logIn(0.03, 3), d.logIn(0.2, 6)
	period, gate := d.logIn(10, 300), d.in(0, 1)
	for p := range sc.pings {
		if d.Float64() < gate*0.5 {
			continue
		}
		b := int(at + sway*math.Sin(float64(p)/period*6.28))
		if b >= 0 && b < n {
			sw.full[p*n+b] += float32(amp * d.ExpFloat64())
		}
	}
}

// bubbles are a plume of specks close together.
func (sc *scene) bubbles(sw *swath) {
	d, n := sc.d, sc.bins
	p0, b0 := d.IntN(sc.pings), d.in(0.1, 0.9)*sc.depthM/sc.binM
	long, wide, amp := d.logIn(3, 60), d.logIn(2, 25), d.logIn(0.1, 3)
	for range int(long * wide * 0.5) {
		p, b := p0+int(d.NormFloat64()*long/2), int(b0+d.NormFloat64()*wide/2)
		if p >= 0 && p < sc.pings && b >= 0 && b < n {
			sw.full[p*n+b] += float32(amp * d.ExpFloat64())
		}
	}
}

// faults spoil the record.
func (sc *scene) faults(r *recording) {
	sc.gainSteps(r)
	sc.interference(r)
	sc.loseRows(r)
}

// gainSteps changes the gain in stretches of pings, of one side, or from ping to ping.
func (sc *scene) gainSteps(r *recording) {
	d := sc.d
	if d.chance(0.3) {
		for range d.intIn(1, 3) {
			from, to := d.IntN(r.h), r.h
			if d.chance(0.5) {
				to = min(from+d.intIn(5, 200), r.h)
			}
			c0, c1 := 0, r.w
			if d.chance(0.3) {
				c0, c1 = d.IntN(2)*r.w/2, r.w
			}
			g := float32(d.logIn(0.5, 2))
			for p := from; p < to; p++ {
				for c := c0; c < c1; c++ {
					r.amp[p*r.w+c] *= g
				}
			}
		}
	}
	if d.chance(0.25) {
		g := float32(d.logIn(0.6, 1.6))
		for p := range r.h {
			for c := range r.w / 2 {
				r.amp[p*r.w+c] *= g
			}
		}
	}
	if d.chance(0.4) {
		jitter := d.logIn(0.005, 0.15)
		for p := range r.h {
			g := float32(1 + jitter*d.NormFloat64())
			for c := range r.w {
				r.amp[p*r.w+c] *= g
			}
		}
	}
}

// interference adds other sounders' pulses, single dots and noisy pings.
func (sc *scene) interference(r *recording) {
	d := sc.d
	if d.chance(0.25) {
		sc.stripes(r)
	}
	if d.chance(0.2) {
		for range int(d.logIn(5, 500)) {
			r.amp[d.IntN(len(r.amp))] += float32(d.logIn(0.5, 5))
		}
	}
	if d.chance(0.2) {
		for range d.intIn(1, 5) {
			p, v := d.IntN(r.h), float32(d.in(0, 1.5))
			c0, c1 := d.IntN(r.w), r.w
			for c := c0; c < c1; c++ {
				r.amp[p*r.w+c] += v * d.Float32()
			}
		}
	}
}

// loseRows blanks pings or repeats the one before.
func (sc *scene) loseRows(r *recording) {
	d := sc.d
	if d.chance(0.2) {
		for range d.intIn(1, 4) {
			p := d.IntN(r.h)
			q := min(p+int(d.logIn(1, 14)), r.h)
			fill := d.IntN(2)
			for i := p; i < q; i++ {
				row := r.amp[i*r.w : (i+1)*r.w]
				if fill == 1 && p > 0 {
					copy(row, r.amp[(p-1)*r.w:p*r.w])
				} else {
					clear(row)
				}
			}
			if q > p {
				r.lostRows = append(r.lostRows, [2]int{p, q})
			}
		}
	}
}

// stripes are the pulses of another sounder: dashes that walk across the record at a steady slope.
func (sc *scene) stripes(r *recording) {
	d := sc.d
	period, walk := d.in(0.15, 1.5)*float64(r.w), d.in(-30, 30)
	if d.chance(0.3) {
		walk = d.in(-1.5, 1.5)
	}
	amp, wide, gate := d.logIn(0.2, 3), d.intIn(1, 8), d.in(0.3, 1)
	at := d.in(0, period)
	for p := range r.h {
		at = math.Mod(at+walk+period, period)
		if d.Float64() > gate {
			continue
		}
		for c := at; c < float64(r.w); c += period {
			for j := range wide {
				if q := int(c) + j; q < r.w {
					r.amp[p*r.w+q] += float32(amp * d.Float64())
				}
			}
		}
	}
}
