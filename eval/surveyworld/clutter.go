package surveyworld

import (
	"math"

	"shadowgap/detect"
)

// clutter lays what is no thing and fools a detector. It is done before the things, which shadow it.
func (s *swath) clutter() {
	for range s.IntN(6) {
		s.patch()
	}
	if s.chance(0.35) {
		for range s.between(1, 25) {
			s.pit()
		}
	}
	if s.chance(0.35) {
		s.ripples()
	}
	if s.chance(0.3) {
		for range s.between(1, 5) {
			s.scar()
		}
	}
	if s.chance(0.15) {
		s.bank()
	}
	if s.chance(0.2) {
		s.weed()
	}
	if s.chance(0.15) {
		s.secondEcho()
	}
	if s.chance(0.25) {
		s.slits()
	}
	if s.chance(0.2) {
		s.gravel()
	}
}

// rows changes whole pings: gain steps, flicker, lost pings, and the dashes of another sounder.
func (s *swath) rows() {
	if s.chance(0.3) {
		for range s.between(1, 5) {
			at, by := s.IntN(s.gridH), float32(s.log(0.6, 1.7))
			to := s.gridH
			if s.chance(0.5) {
				to = min(at+s.between(2, 60), s.gridH)
			}
			for y := at; y < to; y++ {
				s.gain[y] *= by
			}
		}
	}
	if s.chance(0.4) {
		f := s.log(0.01, 0.15)
		for y := range s.gain {
			s.gain[y] *= exp32(float32(f) * s.n.normal())
		}
	}
	if s.chance(0.12) {
		for range s.between(1, 4) {
			at := s.IntN(s.gridH)
			to := min(at+int(s.log(1, 25)), s.gridH)
			for y := at; y < to; y++ {
				s.gain[y] = 0
			}
			s.lost = append(s.lost, [2]int{at, to})
		}
	}
	if s.chance(0.15) {
		s.crosstalk()
	}
	if s.chance(0.1) { // dots of interference
		for range int(s.log(10, 400)) {
			s.add.v[s.IntN(len(s.add.v))] += float32(s.log(0.5, 6))
		}
	}
}

// crosstalk is dashes that wander across the range from ping to ping.
func (s *swath) crosstalk() {
	amp, wide, every := s.log(0.2, 3), s.between(1, 6), s.log(1, 12)
	at, by := s.in(0, float64(s.gridW)), s.NormFloat64()*15
	for y := 0.0; y < float64(s.gridH); y += every {
		at = math.Mod(at+by+float64(s.gridW), float64(s.gridW))
		for k := range wide {
			x := int(at) + k
			if x >= 0 && x < s.gridW {
				s.add.v[int(y)*s.gridW+x] += float32(amp * s.in(0.3, 1))
			}
		}
	}
}

// bottomSpot is a random place on the bottom in view.
func (s *swath) bottomSpot() (spot, bool) {
	side := 1
	if s.chance(0.5) {
		side = -1
	}
	for range 2 {
		lo, hi := s.span(side)
		y := s.in(0.01, 0.99) * float64(s.gridH)
		e := s.altitude[idx(side)][int(y)]
		lo = math.Max(lo, e) + 4/s.sx
		if hi-lo > 25 {
			return spot{y: y, slant: s.in(lo, hi-4), depth: e, side: side}, true
		}
		side = -side
	}
	return spot{}, false
}

// patch is a soft or ragged patch that is brighter or darker and throws nothing.
func (s *swath) patch() {
	p, ok := s.bottomSpot()
	if !ok {
		return
	}
	rx, ry := s.log(3, 120)/s.sx, s.log(3, 120)/s.sy
	amp, rag, hard := float32(s.in(0.15, 1.2)), float32(s.in(0, 0.7)), float32(s.in(0.15, 1))
	if s.chance(0.5) {
		amp = -amp
	} else if rx*s.sx < 60 && ry*s.sy < 60 { // a compact, strong, hard-edged one is a clump, which is a thing
		amp, hard = min(amp*0.5, 0.5), max(hard, 0.6)
	}
	s.over(p, rx, ry, func(i int, u, v float64) {
		d := 1 - float32(math.Sqrt(u*u+v*v)) + rag*s.lumps.v[i]*0.3
		s.echo.v[i] *= exp32(amp * ramp((d-0.35)/hard))
	})
}

// over visits the grid pixels of an ellipse and its rim; u grows away from the nadir.
func (s *swath) over(p spot, rx, ry float64, paint func(i int, u, v float64)) {
	c := s.col(p.slant, p.side)
	for y := max(int(p.y-1.3*ry), 0); y < min(int(p.y+1.3*ry)+1, s.gridH); y++ {
		for x := max(int(c-1.3*rx), 0); x < min(int(c+1.3*rx)+1, s.gridW); x++ {
			if _, side := s.slant(x); side == p.side {
				paint(y*s.gridW+x, (float64(x)+0.5-c)/rx*float64(p.side), (float64(y)-p.y)/ry)
			}
		}
	}
}

// pit is a hollow: its near wall lies in shadow and its far wall is bright, the other way round from a thing.
func (s *swath) pit() {
	p, ok := s.bottomSpot()
	if !ok || s.inBurnt(p) { // white on white its dark can't be told from a thing's shadow
		return
	}
	r := s.log(2, 18)
	dark, lit := s.in(0.4, 2.5), s.in(0, 1.2)
	s.over(p, r/s.sx, r/s.sy*s.log(0.6, 2), func(i int, u, v float64) {
		d := u*u + v*v + 0.25*float64(s.lumps.v[i])
		if d > 1.2 {
			return
		}
		w := math.Min(math.Max(1.3-d, 0), 1)
		if u < 0.3 {
			s.echo.v[i] *= float32(math.Exp(-dark * w))
		} else {
			s.echo.v[i] *= float32(math.Exp(lit * w))
		}
	})
}

// ripples are warped waves inside a ragged part of the bottom.
func (s *swath) ripples() {
	warp := fractal(s.Rand, s.gridW, s.gridH, 12, 12, 16, 0.6)
	where := fractal(s.Rand, s.gridW, s.gridH, 16, 16, 16, 0.5)
	wave, a := s.log(4, 140), s.in(0, math.Pi)
	kx, ky := float32(2*math.Pi*math.Cos(a)/wave*s.sx), float32(2*math.Pi*math.Sin(a)/wave*s.sy)
	amp, cut, sharp, bend := float32(s.log(0.1, 0.9)), float32(s.in(-1.5, 1.2)), float32(s.in(0, 0.7)), float32(s.in(0.3, 2.5))
	for y := range s.gridH {
		for x := range s.gridW {
			i := y*s.gridW + x
			w := ramp((where.v[i] - cut) * 2)
			if w <= 0 || s.echo.v[i] == 0 {
				continue
			}
			v := float32(math.Sin(float64(kx*float32(x) + ky*float32(y) + bend*warp.v[i])))
			s.echo.v[i] *= exp32(amp * w * (v - sharp*v*v))
		}
	}
}

// scar is a long thin drag mark, dark with a pale rim or pale alone.
func (s *swath) scar() {
	p, ok := s.bottomSpot()
	if !ok {
		return
	}
	x, y := s.col(p.slant, p.side), p.y
	a, turn := s.in(0, 2*math.Pi), s.NormFloat64()*0.01
	depth, rim, wide := s.in(-1.2, 1.2), s.in(0, 0.8), s.log(0.7, 3)
	gap := s.in(0, 0.4)
	on := true
	for range int(s.log(30, 500)) {
		a += turn + s.NormFloat64()*0.02
		x, y = x+math.Cos(a), y+math.Sin(a)
		if s.chance(0.05) {
			on = !s.chance(gap)
		}
		if !on {
			continue
		}
		for k := -wide - 1; k <= wide+1; k++ {
			xi, yi := int(x+k*math.Sin(a)), int(y-k*math.Cos(a))
			if xi < 0 || yi < 0 || xi >= s.gridW || yi >= s.gridH {
				continue
			}
			v := depth * 0.6
			if k > wide {
				v = rim * 0.6
			}
			s.echo.v[yi*s.gridW+xi] *= float32(math.Exp(v))
		}
	}
}

// bank darkens one side beyond a ragged line: a slope that falls away.
func (s *swath) bank() {
	side := 1
	if s.chance(0.5) {
		side = -1
	}
	lo, hi := s.span(side)
	if hi-lo < 60 {
		return
	}
	at := wander(s.Rand, s.gridH, s.log(2, 12), 64)
	mid, spread, left := s.in(0.4, 1.05), s.in(0.05, 0.35), float32(s.in(0.02, 0.5))
	soft := s.log(1, 40)
	rag := s.in(0, 12)
	for y := range s.gridH {
		from := lo + (hi-lo)*(mid+spread*at[y])
		for b := math.Max(from-soft-30, lo); b < hi; b++ {
			x := int(s.col(b, side))
			if x < 0 || x >= s.gridW {
				continue
			}
			i := y*s.gridW + x
			w := ramp(float32((b - from + rag*float64(s.lumps.v[i])) / soft))
			s.echo.v[i] *= 1 - w*(1-left)
		}
	}
}

// weed is a bed of soft clumps, each bright in front and dim behind, too many and too soft to be things.
func (s *swath) weed() {
	p, ok := s.bottomSpot()
	if !ok {
		return
	}
	rx, ry := s.log(40, 200)/s.sx, s.log(40, 200)/s.sy
	g := s.log(3, 9)
	f := fractal(s.Rand, s.gridW, s.gridH, g, g*s.log(0.6, 1.6), 4, 0.7)
	amp := float32(s.in(0.3, 1.1))
	s.over(p, rx, ry, func(i int, u, v float64) {
		w := ramp((1 - float32(u*u+v*v) + 0.3*s.lumps.v[i]) * 2)
		if w > 0 {
			s.echo.v[i] *= exp32(w * amp * f.v[i])
		}
	})
}

// secondEcho is a pale band at twice the first return.
func (s *swath) secondEcho() {
	amp, wide, tail := s.log(0.1, 0.8), s.log(2, 8), s.log(3, 40)
	for y := range s.gridH {
		for side := -1; side <= 1; side += 2 {
			e := 2 * s.edge[idx(side)][y]
			for b := e; b < e+wide+3*tail; b++ {
				x := int(s.col(b, side))
				if x < 0 || x >= s.gridW || b >= float64(s.bins) {
					continue
				}
				s.echo.v[y*s.gridW+x] += float32(amp * math.Exp(-math.Max(b-e-wide, 0)/tail))
			}
		}
	}
}

// slits are short dark strokes along the track, as shallow furrows and ledges give; without a highlight they are no marks.
func (s *swath) slits() {
	for range s.between(3, 50) {
		p, ok := s.bottomSpot()
		if !ok {
			return
		}
		long, wide, dark := s.log(3, 50)/s.sy, s.log(0.8, 4)/s.sx, float32(s.in(0.3, 1.6))
		s.over(p, wide+1, long, func(i int, u, v float64) {
			d := 1 - u*u - v*v + 0.3*float64(s.lumps.v[i])
			if d > 0 {
				s.echo.v[i] *= exp32(-dark * float32(math.Min(d, 1)))
			}
		})
	}
}

// gravel is a ragged bed of glints and dark grains that look like stones one by one.
func (s *swath) gravel() {
	p, ok := s.bottomSpot()
	if !ok {
		return
	}
	share, amp, dark, keep := float32(s.log(0.01, 0.15)), float32(s.log(0.5, 4)), s.chance(0.5), float32(0)
	if s.chance(0.4) {
		keep = float32(s.in(0.3, 0.9)) // grains wider than a bin
	}
	last := float32(1)
	s.over(p, s.log(40, 250)/s.sx, s.log(40, 250)/s.sy, func(i int, u, v float64) {
		w := ramp((1 - float32(u*u+v*v) + 0.4*s.lumps.v[i]) * 2)
		last = 1 + (last-1)*keep*s.n.unit()
		if s.n.unit() < share*w {
			last = 1 + amp*s.n.unit()
			if dark && s.n.unit() < 0.5 {
				last = 1 / last
			}
		}
		s.echo.v[i] *= last
	})
}

// field strews stones too many to tell apart over an ellipse and notes it as a region.
func (s *swath) field() {
	p, ok := s.bottomSpot()
	if !ok {
		return
	}
	rx, ry := s.log(25, 110)/s.sx, s.log(25, 110)/s.sy
	n := min(int(rx*s.sx*ry*s.sy*s.in(0.015, 0.035)), 260)
	var lit []int32
	for range n {
		a, r := s.in(0, 2*math.Pi), math.Sqrt(s.Float64())
		slant, y := p.slant+rx*r*math.Cos(a), p.y+ry*r*math.Sin(a)
		lo, hi := s.span(p.side)
		if y < 0 || int(y) >= s.gridH || slant > hi || slant < lo {
			continue
		}
		h := s.altitude[idx(p.side)][int(y)]
		if slant < h+3 {
			continue
		}
		d := s.log(2.5, 9)
		sh := s.manner(detect.BottomObject, "rock")
		sh.gloss = s.log(1, 4)
		sh.parts = []lump{{ground(slant, h), y, d * 0.45 / s.sx, math.Max(d*0.5/s.sy, 0.8), 0, heightFor(h, slant, s.log(2, 12)/s.sx), 1}}
		t := s.put(sh, p.side)
		lit = append(lit, t.lit...)
	}
	if b, ok := s.bounds(lit); ok && len(lit) > 60 {
		s.regions = append(s.regions, b)
		s.taken = append(s.taken, b)
	}
}

// pier is posts and decking that stand in the column: rows of bright dashes from ping to ping.
func (s *swath) pier() {
	side := 1
	if s.chance(0.5) {
		side = -1
	}
	k := idx(side)
	y0 := s.IntN(s.gridH * 3 / 4)
	y1 := min(y0+int(s.log(30, 400)/s.sy), s.gridH)
	h := s.altitude[k][y0]
	lo, _ := s.span(side)
	if h < 20/s.sx || lo > 0.2*h {
		return
	}
	at := wander(s.Rand, s.gridH, s.log(4, 20), 16)
	t := thing{class: detect.RaisedStructure, kind: "pier", side: side, height: h * 0.5}
	base, amp := s.in(0.45, 0.8)*h, s.log(0.3, 4)
	every, duty := math.Max(s.log(2, 14)/s.sy, 2), s.in(0.3, 0.9)
	rows := s.between(1, 4)
	for j := range rows {
		off, shift := float64(j)*s.in(0.04, 0.12)*h, s.Float64()
		for y := y0; y < y1; y++ {
			on := math.Mod(float64(y)/every+shift, 1) < duty
			b := base + off + at[y]*0.06*h
			wide := s.in(1, 2.5)
			if !on {
				if s.chance(0.7) {
					continue
				}
				wide *= 0.5
			}
			for q := 0.0; q < wide; q++ {
				x := int(s.col(b+q, side))
				if x < 0 || x >= s.gridW || b+q >= s.edge[k][y]-2 {
					continue
				}
				i := y*s.gridW + x
				s.add.v[i] = max(s.add.v[i], float32(amp*s.in(0.4, 1)))
				t.lit = append(t.lit, int32(i))
			}
		}
	}
	s.keep(t)
}
