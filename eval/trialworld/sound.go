package trialworld

import (
	"math"
	"sort"
)

// sound fills the expected echo of a side: every facet between two ground cells is laid over the slant bins it spans, if the ray to it
// clears all that is nearer; what is hidden is booked on the thing that hides it.
func (w *world) sound(b *seabed) {
	n := w.pings * w.bins
	b.echo, b.own, b.lost = make([]float32, n), make([]float32, n), make([]float32, n)
	b.ownID, b.lostID = make([]int16, n), make([]int16, n)
	b.first = make([]float64, w.pings)
	law, facing := w.levelLaw(), w.facingLaw()
	for p := range w.pings {
		w.soundPing(b, p, law, facing)
	}
}

// levelLaw is the strength of the level bottom by slant bin, gain put back.
func (w *world) levelLaw() []float32 {
	law := make([]float32, w.bins)
	l := w.law
	for i := range law {
		slant := (float64(i) + 0.5) * w.binM
		sin := math.Min(w.altM/slant, 1)
		ground := math.Sqrt(math.Max(slant*slant-w.altM*w.altM, 0))
		d := (math.Asin(sin) - l.beamCentre) / l.beamWidth
		beam := l.beamFloor + (1-l.beamFloor)*math.Exp(-d*d)
		law[i] = float32(math.Pow(sin, l.exponent) * math.Min(slant/math.Max(ground, 1e-6), 3) * beam * math.Pow(1/sin, l.gain))
	}
	return law
}

// A facet turned away still scatters a little, and one square to the ray no more than this often what the level bottom does there.
const (
	leastFacing = 0.05
	mostFacing  = 6
	facingSteps = 200 // table entries a unit
)

// facingLaw is the strength by a facet's cosine of incidence over the level bottom's.
func (w *world) facingLaw() []float32 {
	law := make([]float32, mostFacing*facingSteps+1)
	for i := range law {
		law[i] = float32(math.Pow(math.Max((float64(i)+0.5)/facingSteps, leastFacing), w.law.facing))
	}
	return law
}

// sounding is one ping on its way out.
type sounding struct {
	b        *seabed
	from, to int // of the ping's bins in the side's slices
	perM     float64
	alt      float64
	horizon  float64 // steepest ray so far, as height over ground
	hider    int16
	hung     []hung
	law      []float32
}

func (w *world) soundPing(b *seabed, p int, law, facing []float32) {
	s := sounding{b: b, from: p * w.bins, to: (p + 1) * w.bins, perM: 1 / w.binM, alt: w.alt[p], horizon: math.Inf(-1), law: law}
	if b.hanging != nil {
		s.hung = b.hanging[p]
		sort.Slice(s.hung, func(i, j int) bool { return s.hung[i].cell < s.hung[j].cell })
	}
	height, strength, ids := b.height[s.from:s.to], b.strength[s.from:s.to], b.id[s.from:s.to]
	first := math.Inf(1)
	nextHung := 0
	ground := float64(strength[0])
	beforeG, beforeZ := 0.0, float64(height[0])
	beforeS := s.alt - beforeZ
	for j := range height {
		g, z := (float64(j)+0.5)*w.binM, float64(height[j])
		for ; nextHung < len(s.hung) && s.hung[nextHung].cell <= j; nextHung++ {
			s.hang(s.hung[nextHung], g, nextHung)
		}
		drop := s.alt - z
		slant := math.Sqrt(g*g + drop*drop)
		cos := (g*(z-beforeZ) + drop*(g-beforeG)) / (slant * math.Sqrt((g-beforeG)*(g-beforeG)+(z-beforeZ)*(z-beforeZ)))
		level := math.Min(s.alt/slant, 1)
		turned := math.Min(math.Max(cos/level, leastFacing), mostFacing)
		e := float64(strength[j] * facing[int(turned*facingSteps)])
		if ids[j] == 0 {
			// A thing's hidden back is no brighter loss than the ground would be.
			ground = float64(strength[j])
		}
		ray := -drop / g
		if ray >= s.horizon-1e-9 {
			s.horizon, s.hider = ray, ids[j]
			if ids[j] == 0 && slant < first {
				first = slant
			}
			through, by := s.through(ray, nextHung)
			s.lay(beforeS, slant, e*through, ids[j])
			if by != 0 {
				s.lose(beforeS, slant, e*(1-through), by)
			}
		} else {
			s.lay(beforeS, slant, ground*w.law.fill, 0)
			if s.hider != 0 {
				s.lose(beforeS, slant, ground*(1-w.law.fill), s.hider)
			}
		}
		beforeG, beforeZ, beforeS = g, z, slant
	}
	b.first[p] = first
}

// hang books the echo of a piece over the bottom.
func (s *sounding) hang(h hung, g float64, before int) {
	up, down := s.alt-h.hi, s.alt-h.lo
	if -up/g < s.horizon {
		return
	}
	through, _ := s.through(-(up+down)/2/g, before)
	s.lay(math.Hypot(g, up), math.Hypot(g, down)+0.6/s.perM, h.strength*through, h.id)
}

// through is what gets past the hanging pieces nearer than the ray's end, and the one that takes most.
func (s *sounding) through(ray float64, before int) (part float64, by int16) {
	part = 1
	most := 0.0
	for i := range before {
		h := &s.hung[i]
		g := (float64(h.cell) + 0.5) / s.perM
		if ray > (h.lo-s.alt)/g && ray < (h.hi-s.alt)/g {
			part *= 1 - h.opaque
			if h.opaque > most {
				most, by = h.opaque, h.id
			}
		}
	}
	return part, by
}

// lay spreads echo over the bins between two slants.
func (s *sounding) lay(from, to, e float64, id int16) {
	s.over(from, to, func(i int, part float32) {
		v := part * float32(e) * s.law[i-s.from]
		s.b.echo[i] += v
		if id == 0 {
			return
		}
		book(s.b.own, s.b.ownID, i, v, id)
	})
}

// lose books what a shadow took.
func (s *sounding) lose(from, to, e float64, id int16) {
	s.over(from, to, func(i int, part float32) {
		book(s.b.lost, s.b.lostID, i, part*float32(e)*s.law[i-s.from], id)
	})
}

func book(sum []float32, ids []int16, i int, v float32, id int16) {
	switch {
	case ids[i] == id:
		sum[i] += v
	case v > sum[i]:
		sum[i], ids[i] = v, id
	}
}

func (s *sounding) over(from, to float64, each func(i int, part float32)) {
	if from > to {
		from, to = to, from
	}
	from, to = from*s.perM, to*s.perM
	last := float64(s.to - s.from)
	if from >= last || to <= 0 {
		return
	}
	to = math.Min(to, last)
	for i := int(math.Max(from, 0)); float64(i) < to; i++ {
		part := math.Min(to, float64(i+1)) - math.Max(from, float64(i))
		each(s.from+i, float32(part))
	}
}

// spreadBeam smears echo along track, wider with range as a beam of fixed angle is (one exponential there and one back).
func (w *world) spreadBeam(b *seabed) {
	keep := make([]float32, w.bins)
	for i := range keep {
		spread := w.law.spread * (0.2 + 0.8*float64(i)/float64(w.bins))
		keep[i] = float32(1 - spread/(1+spread))
	}
	for _, f := range [][]float32{b.echo, b.own, b.lost} {
		for p := 1; p < w.pings; p++ {
			smear(f[p*w.bins:(p+1)*w.bins], f[(p-1)*w.bins:p*w.bins], keep)
		}
		for p := w.pings - 2; p >= 0; p-- {
			smear(f[p*w.bins:(p+1)*w.bins], f[(p+1)*w.bins:(p+2)*w.bins], keep)
		}
	}
}

func smear(row, from, keep []float32) {
	for i := range row {
		row[i] = from[i] + (row[i]-from[i])*keep[i]
	}
}
