package groundworld

import "math"

// faults are what a record shows beside the bottom and things. Strengths are shares of the bottom's.
type faults struct {
	specks     float64 // share of the column's bins
	secondEcho float64
	crosstalk  float64
	surface    float64 // depth of the transducer over the altitude, 0 for no line
	pulse      float64 // width of the transmit pulse over the altitude
	plume      bool
	wash       bool
	shoal      int // specks of a shoal too small to tell apart
	arcs       int
	gainSteps  int
	stripes    float64
	columns    float64
	lost       int
	wobble     float64
}

func planFaults(d dice, f frame) faults {
	var k faults
	k.specks = d.scale(1e-5, 0.006)
	if d.may(0.2) {
		k.secondEcho = d.scale(0.03, 0.3)
	}
	if d.may(0.2) && f == wholeSwath {
		k.crosstalk = d.scale(0.02, 0.2)
	}
	if d.may(0.25) {
		k.surface = d.in(0.1, 1.3)
	}
	if d.may(0.6) {
		k.pulse = d.scale(0.01, 0.12)
	}
	k.plume, k.wash = d.may(0.12), d.may(0.1)
	if d.may(0.12) {
		k.shoal = d.upTo(30, 300)
	}
	if d.may(0.1) {
		k.arcs = d.upTo(1, 5)
	}
	if d.may(0.2) {
		k.gainSteps = d.upTo(1, 4)
	}
	if d.may(0.2) {
		k.stripes = d.scale(0.005, 0.06)
	}
	if d.may(0.12) {
		k.columns = d.scale(0.05, 0.3)
	}
	if d.may(0.15) {
		k.lost = d.upTo(1, 6)
	}
	if d.may(0.2) {
		k.wobble = d.in(0.02, 0.15)
	}
	return k
}

// cloud is something soft in the water: its middle and radii in bins and pings.
type cloud struct{ b, p, rb, rp, strength float64 }

// water makes what is heard beside the bottom, ping by ping.
type water struct {
	w      *world
	s      *sounding
	row    []float32
	clouds []cloud
	arcs   []cloud
	drift  float64
}

func newWater(w *world, s *sounding) *water {
	k := &water{w: w, s: s, row: make([]float32, w.bins)}
	if w.frame == tile {
		return k
	}
	d, f := w.d, w.faults
	alt := w.altM / w.binM
	pings := float64(w.pings)
	if f.plume {
		b, p := d.in(0.3, 0.9)*alt, d.in(0, pings)
		lean := d.in(-1, 1)
		for range d.upTo(15, 70) {
			t := d.Float64()
			k.clouds = append(k.clouds, cloud{b: b*(1-0.7*t) + d.NormFloat64()*0.04*alt, p: p + lean*t*0.1*pings + d.NormFloat64()*3,
				rb: d.in(1, 5), rp: d.in(1, 6), strength: d.in(0.1, 1)})
		}
	}
	if f.wash {
		p := d.in(0, pings)
		for range d.upTo(10, 40) {
			k.clouds = append(k.clouds, cloud{b: d.scale(0.05, 1.6) * alt, p: p + d.NormFloat64()*0.06*pings, rb: d.in(0.02, 0.2) * alt,
				rp: d.in(3, 40), strength: d.in(0.05, 0.5)})
		}
	}
	if f.shoal > 0 {
		b, p, size := d.in(0.3, 0.9)*alt, d.in(0, pings), d.in(4, 30)
		for range f.shoal {
			k.clouds = append(k.clouds, cloud{b: b + d.NormFloat64()*size, p: p + d.NormFloat64()*size*1.5, rb: d.in(0.4, 0.8), rp: d.in(0.4, 0.7),
				strength: d.in(0.05, 0.5)})
		}
	}
	for range f.arcs {
		k.arcs = append(k.arcs, cloud{b: d.in(0.2, 0.9) * float64(w.bins), p: d.in(0, pings), rp: d.in(0.1, 0.5) * pings,
			strength: d.scale(0.1, 0.6)})
	}
	return k
}

// add makes one ping's row.
func (k *water) add(p int) {
	w, d, f := k.w, k.w.d, k.w.faults
	leak := float32(w.texture.leaks)
	for b := range k.row {
		k.row[b] = leak
	}
	if w.frame == tile {
		return
	}
	alt := k.s.first[p] / w.binM
	for range int(f.specks*alt + d.Float64()) {
		k.dot(int(d.Float64()*alt), d.scale(0.1, 1))
	}
	for b := range int(f.pulse * alt) {
		k.dot(b, 2.5*math.Exp(-3*float64(b)/(f.pulse*alt)))
	}
	k.drift = 0.9*k.drift + 0.1*d.NormFloat64()
	if f.surface > 0 {
		k.dot(int(f.surface*w.altM/w.binM+6*k.drift), 0.5)
		k.dot(int(f.surface*w.altM/w.binM+6*k.drift)+1, 0.3)
	}
	if f.secondEcho > 0 {
		row := k.s.natural[p*w.bins : (p+1)*w.bins]
		for b := int(2 * alt); b < w.bins; b++ {
			k.row[b] += float32(f.secondEcho) * row[b/2] * float32(1/k.s.flat[b/2])
		}
	}
	for _, c := range k.clouds {
		q := (float64(p) - c.p) / c.rp
		if math.Abs(q) > 2 {
			continue
		}
		for b := int(c.b - 2*c.rb); b <= int(c.b+2*c.rb); b++ {
			u := (float64(b) - c.b) / c.rb
			k.dot(b, c.strength*math.Exp(-q*q-u*u))
		}
	}
	for _, c := range k.arcs {
		if q := (float64(p) - c.p) / c.rp; math.Abs(q) < 1 {
			k.dot(int(c.b*(1+0.3*q*q)), c.strength*(1-q*q)*2*d.Float64())
		}
	}
}

func (k *water) dot(b int, strength float64) {
	if b >= 0 && b < len(k.row) {
		k.row[b] += float32(strength)
	}
}

// crosstalk lets each side hear the other.
func (r *record) crosstalk() {
	k := float32(r.w.faults.crosstalk)
	if k == 0 {
		return
	}
	for p := range r.rows {
		row := r.v[p*r.cols : (p+1)*r.cols]
		for a, b := 0, r.cols-1; a < b; a, b = a+1, b-1 {
			row[a], row[b] = row[a]+k*row[b], row[b]+k*row[a]
		}
	}
}

// electronics multiplies pings and columns by what the receiver does to them.
func (r *record) electronics() {
	d, f := r.w.d, r.w.faults
	gain := float32(1)
	steps := map[int]float32{}
	for range f.gainSteps {
		steps[d.IntN(r.rows)] = float32(d.scale(0.5, 2))
	}
	uneven := make([]float32, r.cols)
	for c := range uneven {
		uneven[c] = 1
		if d.may(0.02) {
			uneven[c] += float32(f.columns * d.NormFloat64())
		}
	}
	for p := range r.rows {
		if s, ok := steps[p]; ok {
			gain = min(2.5, max(0.4, gain*s))
		}
		k := gain * float32(1+f.wobble*d.NormFloat64())
		stripe := float32(0)
		if d.may(f.stripes) {
			stripe = float32(d.scale(0.1, 1.5))
		}
		row := r.v[p*r.cols : (p+1)*r.cols]
		for c := range row {
			row[c] = max(0, row[c]*k*uneven[c]) + stripe
		}
		if stripe > 0.4 && d.may(0.6) {
			for c := range row {
				if d.may(0.5) {
					row[c] -= 0.8 * stripe
				}
				row[c] = max(0, row[c])
			}
		}
	}
}
