package surveyworld

import (
	"math"

	"shadowgap/detect"
)

// clumps strews compact ragged heaps of bright grains, alone or in loose groups of unlike sizes, mostly over a dim far bottom, where they
// stand out by strength alone. Broad soft brightenings lie beside some, which are nothing.
func (s *swath) clumps() {
	side := 1
	if s.chance(0.5) {
		side = -1
	}
	if s.chance(0.5) {
		s.dim(side)
	}
	for range s.between(1, 3) {
		p, ok := s.clumpSpot(side)
		if !ok {
			return
		}
		big := s.log(8, 40)
		n := 1
		if s.chance(0.45) {
			n = s.between(3, 10)
		}
		spread := big * s.in(1, 4)
		s.clumpAt(p, big)
		for range n - 1 {
			q := p
			q.y += s.NormFloat64() * spread / s.sy
			q.slant += s.NormFloat64() * spread / s.sx
			s.clumpAt(q, math.Max(big*s.log(0.3, 1), 5))
		}
		for range s.IntN(4) {
			p.y, p.slant = p.y+s.NormFloat64()*80/s.sy, p.slant+s.NormFloat64()*80/s.sx
			s.smear(p)
		}
	}
}

// clumpSpot is a spot on a side, two times in three on its far half.
func (s *swath) clumpSpot(side int) (spot, bool) {
	for range 4 {
		p, ok := s.bottomSpot()
		if !ok {
			return spot{}, false
		}
		lo, hi := s.span(p.side)
		if s.chance(0.67) && (p.side != side || p.slant < (math.Max(lo, p.depth)+hi)/2) {
			continue
		}
		return p, true
	}
	return s.bottomSpot()
}

// dim lets one side's bottom fall off beyond a wandering line, as mud beside sand and as absorption do.
func (s *swath) dim(side int) {
	lo, hi := s.span(side)
	if hi-lo < 60 {
		return
	}
	at := wander(s.Rand, s.gridH, s.log(6, 40), 32)
	mid, spread, left := s.in(0.25, 0.6), s.in(0.02, 0.12), s.in(0.2, 0.7)
	soft := s.in(0.05, 0.3) * (hi - lo)
	for y := range s.gridH {
		from := lo + (hi-lo)*(mid+spread*at[y])
		for b := math.Max(from-soft, lo); b < hi; b++ {
			x := int(s.col(b, side))
			if x >= 0 && x < s.gridW {
				s.echo.v[y*s.gridW+x] *= float32(1 - (1-left)*ramp64((b-from)/soft))
			}
		}
	}
}

// clumpAt draws one clump of a width in panel pixels where it is free.
func (s *swath) clumpAt(p spot, across float64) {
	lo, hi := s.span(p.side)
	if p.y < 2 || int(p.y) >= s.gridH-2 || p.slant < lo+2 || p.slant > hi-2 {
		return
	}
	p.depth = s.altitude[idx(p.side)][int(p.y)]
	rx, ry := across/2/s.sx, across/2/s.sy*s.log(0.6, 1.7)
	if p.slant-rx < p.depth+2 {
		return
	}
	x := s.col(p.slant, p.side)
	if s.occupied(detect.Box{X: int(x - rx), Y: int(p.y - ry), W: int(2*rx) + 1, H: int(2*ry) + 1}) {
		return
	}
	t := thing{class: detect.BottomObject, kind: "clump", side: p.side, byStrength: true,
		height: heightFor(p.depth, p.slant, across*s.in(0.2, 0.8)/s.sx)}
	far := s.heap(&t, p, rx, ry, s.level(p, 2*rx+4, 2*ry+4)*s.log(1.4, 6))
	if s.chance(0.55) { // a short shadow, which grain breaks up or drowns
		sh := shape{murk: s.in(0.2, 0.85), cast: 1, haze: s.in(0, 2), fray: 1}
		s.behind(&t, sh, far, across*s.in(0.3, 1.4)/s.sx, s.in(0.45, 1))
	}
	t.dark = s.unlit(t)
	s.keep(t)
}

// level is the mean echo of the bottom about a spot.
func (s *swath) level(p spot, rx, ry float64) float64 {
	sum, n := 0.0, 0
	s.over(p, rx, ry, func(i int, _, _ float64) {
		if s.echo.v[i] > 0 {
			sum += float64(s.echo.v[i])
			n++
		}
	})
	if n == 0 {
		return s.law[idx(p.side)][min(int(p.slant), s.bins)]
	}
	return sum / float64(n)
}

// heap paints knobs that run into each other, ragged in outline and grained inside, and tells the farthest bin of every ping it shows on.
func (s *swath) heap(t *thing, p spot, rx, ry, strength float64) map[int]float64 {
	type knob struct{ u, v, r, g float64 }
	knobs := []knob{{0, 0, s.in(0.35, 0.8), 1}}
	for range s.IntN(7) {
		a, d := s.in(0, 2*math.Pi), s.in(0.2, 0.7)
		knobs = append(knobs, knob{d * math.Cos(a), d * math.Sin(a), s.in(0.15, 0.5), s.log(0.4, 1.5)})
	}
	if s.chance(0.35) { // a handful of single grains
		knobs = knobs[:0]
		for range s.between(4, 12) {
			knobs = append(knobs, knob{s.in(-0.8, 0.8), s.in(-0.8, 0.8), s.in(0.12, 0.35), s.log(0.4, 2)})
		}
	}
	rag, grain, lift := s.in(0.15, 0.5), s.in(0.4, 1.2), s.log(1.5, 5)
	chink := float32(s.in(-2, -0.4))
	move := s.IntN(len(s.lumps.v)) // so that the grains do not follow the outline
	far := map[int]float64{}
	s.over(p, rx, ry, func(i int, u, v float64) {
		d, g := -1.0, 0.0
		for _, k := range knobs {
			if e := 1 - math.Hypot(u-k.u, v-k.v)/k.r; e > d {
				d, g = e, k.g
			}
		}
		d += rag * float64(s.lumps.v[i])
		if d <= 0 {
			return
		}
		l := s.lumps.v[(i+move)%len(s.lumps.v)]
		if l < chink {
			s.pass.v[i] = min(s.pass.v[i], 0.5)
			return
		}
		e := g * math.Min(d*lift, 1) * math.Exp(grain*float64(l))
		s.add.v[i] = max(s.add.v[i], float32(strength*e))
		if e > 0.3 {
			t.lit = append(t.lit, int32(i))
			b, _ := s.slant(i % s.gridW)
			far[i/s.gridW] = math.Max(far[i/s.gridW], b)
		}
	})
	return far
}

// behind throws a shadow of some length behind what was painted, on a share of its pings.
func (s *swath) behind(t *thing, sh shape, far map[int]float64, length, share float64) {
	for y := range s.gridH { // by rows, as a map has no order and draws must repeat
		if b, ok := far[y]; ok && s.chance(share) {
			s.shade(t, sh, y, b+1, b+1+length*s.in(0.7, 1.2))
		}
	}
}

// smear is a broad soft brightening that throws nothing: what a clump is told from.
func (s *swath) smear(p spot) {
	rx, ry := s.log(12, 60)/s.sx, s.log(12, 60)/s.sy
	amp, rag := float32(s.in(0.15, 0.55)), float32(s.in(0, 0.4))
	s.over(p, rx, ry, func(i int, u, v float64) {
		s.echo.v[i] *= exp32(amp * ramp(1-2*float32(u*u+v*v)+rag*s.lumps.v[i]))
	})
}
