package rayworld

import "math"

// recording is the scene as one matrix of echo amplitudes: port reversed, then starboard; the nadir lies between columns bins-1 and bins.
type recording struct {
	amp      []float32
	w, h     int
	lostRows [][2]int
}

// listen turns energies into amplitudes with speckle, noise, water and the faults of a record.
func (sc *scene) listen() *recording {
	d := sc.d
	n, w := sc.bins, 2*sc.bins
	r := &recording{amp: make([]float32, w*sc.pings), w: w, h: sc.pings}
	looks := d.logIn(0.9, 7)
	table, noiseTable := newGammaTable(d, looks), newGammaTable(d, d.logIn(0.8, 4))
	modulated := d.chance(0.45)
	slow := newGammaTable(d, d.logIn(0.8, 8))
	alongMix, acrossMix := float32(0), float32(0)
	if d.chance(0.45) {
		alongMix = float32(d.in(0, 0.9))
	}
	if d.chance(0.45) {
		acrossMix = float32(d.in(0, 0.9))
	}
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
	speck, last, noise, grains := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	line := make([]float32, n)
	bright := make([]int, n)
	for i, sw := range sc.sides {
		other := sc.sides[1-i]
		clear(bright)
		for p := range sc.pings {
			table.fill(d, speck)
			noiseTable.fill(d, noise)
			if modulated {
				slow.fill(d, grains)
				for b := range speck {
					speck[b] *= grains[b]
				}
			}
			if p > 0 && alongMix > 0 {
				for b := range speck {
					speck[b] += alongMix * (last[b] - speck[b])
				}
			}
			copy(last, speck)
			if acrossMix > 0 {
				for b := 1; b < n; b++ {
					speck[b] += acrossMix * 0.7 * (speck[b-1] - speck[b])
				}
			}
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
	n := sc.bins
	for _, sw := range sc.sides {
		if d.chance(0.4) {
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
		if d.chance(0.3) {
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
		for range d.IntN(3) * d.IntN(2) {
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
		if d.chance(0.12) {
			p0, b0 := d.IntN(sc.pings), d.in(0.1, 0.9)*sc.depthM/sc.binM
			long, wide, amp := d.logIn(3, 60), d.logIn(2, 25), d.logIn(0.1, 3)
			for range int(long * wide * 0.5) {
				p, b := p0+int(d.NormFloat64()*long/2), int(b0+d.NormFloat64()*wide/2)
				if p >= 0 && p < sc.pings && b >= 0 && b < n {
					sw.full[p*n+b] += float32(amp * d.ExpFloat64())
				}
			}
		}
	}
	// The ring-down is the same on both sides.
	ring, amp := d.logIn(0.003, 0.08)*float64(n), d.logIn(0.02, 30)
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

// faults spoil the record: gain steps, stripes, other sounders, lost pings, interference.
func (sc *scene) faults(r *recording) {
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
