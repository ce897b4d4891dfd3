package pulseworld

import "math"

// listen turns mean powers and amplitudes into received echo: speckle is the square of a complex Gaussian sum (Goodman's fully
// developed speckle), smeared by the pulse, added up over the looks.
func (w *world) listen(sw *swath) {
	nb := sw.nb
	s := &w.sonar
	rho, noise := make([]float32, nb), make([]float32, nb)
	h := sw.h[w.pings/2]
	floor := s.noise * w.level(w.rangeM, h)
	for b := range nb {
		r := w.slant(b) / w.rangeM
		rho[b] = float32(min(0.92, s.along*min(1.1, 0.3+r*s.beamRows/2)))
		noise[b] = float32(math.Sqrt(floor * math.Pow(max(r, 0.01), s.gain) / 2))
	}
	keep := make([]float32, nb)
	for b := range keep {
		keep[b] = float32(math.Sqrt(1 - float64(rho[b]*rho[b])))
	}
	memRe, memIm := make([]float32, nb), make([]float32, nb)
	re, im := make([]float32, nb+8), make([]float32, nb+8)
	half := len(s.pulse) / 2
	fill := float32(s.fill)
	share := 1 / float32(s.looks)
	amp := make([]float32, nb)
	for p := range w.pings {
		at := p * nb
		for b := range nb {
			amp[b] = float32(math.Sqrt(float64(0.5 * sw.power[at+b] * (sw.lit[at+b]*(1-fill) + fill))))
		}
		for look := range s.looks {
			for b := range nb {
				x, y := w.sp.pair()
				if look == 0 {
					memRe[b] = memRe[b]*rho[b] + x*keep[b]
					memIm[b] = memIm[b]*rho[b] + y*keep[b]
					x, y = memRe[b], memIm[b]
				}
				re[b+half] = amp[b]*x + sw.re[at+b]
				im[b+half] = amp[b]*y + sw.im[at+b]
			}
			for b := range nb {
				var x, y float32
				for k, t := range s.pulse {
					x += t * re[b+k]
					y += t * im[b+k]
				}
				nx, ny := w.sp.pair()
				x += noise[b] * nx
				y += noise[b] * ny
				sw.echo[at+b] += (x*x + y*y) * share
			}
		}
	}
}

// disturbRecord adds what is neither bottom nor water: the second echo, the other side's voice, other sounders, hum, gain steps,
// the transmitted pulse, lost pings.
func (w *world) disturbRecord() {
	if w.chance(0.2) {
		w.secondEcho(float32(w.logu(0.03, 0.4)))
	}
	if w.chance(0.18) && len(w.swaths) == 2 {
		c := float32(w.logu(0.003, 0.05))
		a, b := w.swaths[0], w.swaths[1]
		n := min(a.nb, b.nb)
		for p := range w.pings {
			x, y := a.echo[p*a.nb:p*a.nb+n], b.echo[p*b.nb:p*b.nb+n]
			for i := range x {
				x[i], y[i] = x[i]+c*y[i], y[i]+c*x[i]
			}
		}
	}
	ref := w.bottomMedian()
	w.disp.ref = ref
	for _, sw := range w.swaths {
		w.otherSounders(sw, ref)
		w.stripes(sw, ref)
	}
	w.gainSteps()
	w.transmit(ref)
	w.losePings(ref)
}

// secondEcho lays the bottom's echo by way of the surface over twice its range; only what is heard from below is strong enough.
func (w *world) secondEcho(c float32) {
	ref := w.bottomMedian()
	for _, sw := range w.swaths {
		for p := range w.pings {
			row := sw.echo[p*sw.nb : (p+1)*sw.nb]
			for b := sw.nb - 1; b >= 0; b-- {
				s := w.slant(b)
				if s < 2*sw.h[p] {
					break
				}
				if k := int(w.binAt(s / 2)); k >= 0 {
					row[b] += c * float32(math.Exp(2-s/sw.h[p])) * min(row[k], 4*ref)
				}
			}
		}
	}
}

// bottomMedian is the middle echo of the bottom.
func (w *world) bottomMedian() float32 {
	var v []float32
	for _, sw := range w.swaths {
		for range 3000 {
			p, b := w.IntN(w.pings), w.IntN(sw.nb)
			if w.slant(b) > sw.h[p]*1.02 {
				v = append(v, sw.echo[p*sw.nb+b])
			}
		}
	}
	if len(v) < 50 {
		for _, sw := range w.swaths {
			v = append(v, sw.echo[:min(len(sw.echo), 4000)]...)
		}
	}
	return max(quantile(v, 0.5), 1e-12)
}

// otherSounders draws slanting dashed lines and scattered dots: pulses of sounders that ping at another rate.
func (w *world) otherSounders(sw *swath, ref float32) {
	if w.chance(0.22) {
		n := float64(sw.nb)
		at, step := w.uni(0, n), w.uni(-0.2, 0.2)*n
		if w.chance(0.6) {
			step = w.uni(-6, 6)
		}
		long, amp, seen := w.int(1, 9), float64(ref)*w.logu(1, 30), w.uni(0.2, 1)
		for p := range w.pings {
			at = math.Mod(at+step+w.NormFloat64()*0.3+n, n)
			if !w.chance(seen) {
				continue
			}
			for k := range long {
				if b := int(at) + k; b >= 0 && b < sw.nb {
					sw.echo[p*sw.nb+b] += float32(amp * w.ExpFloat64())
				}
			}
		}
	}
	if w.chance(0.18) {
		long := w.int(1, 3)
		for range int(w.logu(5, 900)) {
			i := w.IntN(len(sw.echo) - long)
			for k := range long {
				sw.echo[i+k] += ref * float32(w.logu(1, 25))
			}
		}
	}
}

// stripes adds hum, whose phase creeps from ping to ping, and lines that stand at one range.
func (w *world) stripes(sw *swath, ref float32) {
	if w.chance(0.12) {
		period, creep, amp := w.logu(3, 60), w.uni(-2, 2), float64(ref)*w.logu(0.03, 0.5)
		ph := 0.0
		for p := range w.pings {
			ph += creep
			for b := range sw.nb {
				f := (float64(b) + ph) / period
				f -= math.Floor(f)
				sw.echo[p*sw.nb+b] += float32(amp * 4 * f * (1 - f))
			}
		}
	}
	if w.chance(0.18) {
		for range w.int(1, 5) {
			b, wide, amp := w.IntN(sw.nb), w.int(1, 3), ref*float32(w.logu(0.1, 4))
			for p := range w.pings {
				for k := b; k < min(sw.nb, b+wide); k++ {
					sw.echo[p*sw.nb+k] += amp * w.sp.unit()
				}
			}
		}
	}
}

func (w *world) gainSteps() {
	row := make([]float32, w.pings)
	jitter := 0.0
	if w.chance(0.35) {
		jitter = w.logu(0.02, 0.35)
	}
	step, f := w.logu(0.0005, 0.01), 1.0
	steps := w.chance(0.22)
	for p := range row {
		if steps && w.chance(step) {
			f = w.logu(0.5, 2)
		}
		row[p] = float32(f * math.Exp(jitter*w.NormFloat64()))
	}
	cutB, cutF := 0, float32(1)
	if w.chance(0.12) {
		cutB, cutF = w.IntN(w.swaths[0].nb), float32(w.logu(0.4, 2.2))
	}
	for _, sw := range w.swaths {
		for p := range w.pings {
			echo := sw.echo[p*sw.nb : (p+1)*sw.nb]
			for b := range echo {
				echo[b] *= row[p]
			}
			for b := cutB; b < len(echo) && cutF != 1; b++ {
				echo[b] *= cutF
			}
		}
	}
}

// transmit draws the outgoing pulse at the nadir: a bright or a blanked line, with ringing behind it in some.
func (w *world) transmit(ref float32) {
	wide := int(w.logu(1, 14))
	amp := ref * float32(w.logu(0.5, 60))
	blank := w.chance(0.25)
	ring := w.chance(0.2)
	period, fade := w.logu(4, 20), w.logu(8, 60)
	for _, sw := range w.swaths {
		if w.near > 0 {
			continue
		}
		for p := range w.pings {
			echo := sw.echo[p*sw.nb : (p+1)*sw.nb]
			for b := range min(wide, len(echo)) {
				if blank {
					echo[b] = 0
				} else {
					echo[b] += amp * (0.6 + 0.8*w.sp.unit())
				}
			}
			for b := wide; ring && b < min(len(echo), wide+60); b++ {
				k := float64(b - wide)
				echo[b] += amp * 0.3 * float32(math.Exp(-k/fade)*(0.5+0.5*math.Cos(k/period*6.283)))
			}
		}
	}
}

// losePings blanks or repeats single pings and, seldom, a stretch of them; what holds no echo is kept for the label.
func (w *world) losePings(ref float32) {
	if w.chance(0.2) {
		for range int(w.logu(1, 25)) {
			p, kind := w.IntN(w.pings), w.IntN(3)
			w.spoil(p, kind, ref)
			if kind < 2 {
				w.lost = append(w.lost, [2]int{p, p + 1})
			}
		}
	}
	if w.chance(0.1) {
		p0 := w.IntN(w.pings - 10)
		n := min(int(w.logu(4, 60)), w.pings-p0)
		kind := w.IntN(2)
		for p := p0; p < p0+n; p++ {
			w.spoil(p, kind, ref)
		}
		w.lost = append(w.lost, [2]int{p0, p0 + n})
	}
}

func (w *world) spoil(p, kind int, ref float32) {
	for _, sw := range w.swaths {
		echo := sw.echo[p*sw.nb : (p+1)*sw.nb]
		switch {
		case kind == 0:
			clear(echo)
		case kind == 1:
			for b := range echo {
				echo[b] = ref * 0.3 * w.sp.unit()
			}
		case p > 0:
			copy(echo, sw.echo[(p-1)*sw.nb:p*sw.nb])
		}
	}
}
