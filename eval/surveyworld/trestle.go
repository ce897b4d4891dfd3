package surveyworld

import (
	"math"

	"shadowgap/detect"
)

// trestle draws something built of regular members: a ladder-like staging in the column, a girder frame in its own dark, or a fence.
func (s *swath) trestle() {
	switch s.IntN(6) {
	case 0, 1, 2:
		if s.staging() {
			return
		}
		s.girder()
	case 3, 4:
		s.girder()
	default:
		s.place(s.fence, false)
	}
}

// bar strokes a member between two points in panel pixels of slant range and track, broken at times.
func (s *swath) bar(t *thing, x0, y0, x1, y1, wide, amp, gap float64) {
	n := int(math.Hypot(x1-x0, y1-y0)*1.5) + 1
	on := true
	for k := range n + 1 {
		if s.chance(0.08) {
			on = !s.chance(gap)
		}
		if !on {
			continue
		}
		u := float64(k) / float64(n)
		c, y := s.col((x0+(x1-x0)*u)/s.sx, t.side), (y0+(y1-y0)*u)/s.sy
		rx, ry := math.Max(wide/2/s.sx, 0.5), math.Max(wide/2/s.sy, 0.5)
		v := float32(amp * s.in(0.5, 1.2))
		for yi := max(int(math.Floor(y-ry+0.5)), 0); yi <= min(int(y+ry-0.5), s.gridH-1); yi++ {
			for xi := max(int(math.Floor(c-rx+0.5)), 0); xi <= min(int(c+rx-0.5), s.gridW-1); xi++ {
				if _, side := s.slant(xi); side != t.side {
					continue
				}
				i := yi*s.gridW + xi
				s.add.v[i] = max(s.add.v[i], v)
				t.lit = append(t.lit, int32(i))
			}
		}
	}
}

// staging stands beside the first return: rails of bright dots along the track, rungs at regular distance between, stays that lean on the
// bottom. It is false where no side shows column enough.
func (s *swath) staging() bool {
	side := 1
	if s.chance(0.5) {
		side = -1
	}
	y0 := s.in(-0.1, 0.7) * float64(s.h)
	for range 2 {
		h := s.altitude[idx(side)][min(max(int(y0/s.sy), 0), s.gridH-1)] * s.sx
		if lo, hi := s.span(side); h > 22 && lo*s.sx < 0.2*h && hi*s.sx > 1.2*h {
			s.stagingAt(side, y0, h)
			return true
		}
		side = -side
	}
	return false
}

func (s *swath) stagingAt(side int, y0, h float64) {
	y1 := math.Min(y0+s.log(90, 600), float64(s.h)-1)
	t := thing{class: detect.RaisedStructure, kind: "ladder", side: side, height: 0.6 * h / s.sx}
	every, amp := s.log(5, 22), s.log(0.3, 5)
	inner, outer := s.in(0.25, 0.7), s.in(0.78, 0.99)
	rails, rung, duty := s.between(1, 5), s.in(0.15, 0.8), s.in(0.35, 1)
	turn := wander(s.Rand, s.gridH, s.log(20, 80), 4)
	sway, wide, gap := s.in(0.01, 0.12), s.in(1, 3), s.in(0, 0.5)
	at := func(y, u float64) float64 { // of the first return there, u from the inner rail to the outer
		row := min(max(int(y/s.sy), 0), s.gridH-1)
		e := s.altitude[idx(side)][row] * s.sx
		return e * math.Min(inner+sway*turn[row]+(outer-inner)*u, 1.01)
	}
	stop := s.in(0.3, 1)
	for y := math.Max(y0, 0); y < y1; y += every {
		for j := range rails {
			u := float64(j) / math.Max(float64(rails-1), 1)
			s.bar(&t, at(y, u), y, at(y+every*duty, u), math.Min(y+every*duty, y1), wide*s.in(0.7, 1.2), amp*s.in(0.5, 1), gap*0.5)
		}
		if rails > 1 || s.chance(0.7) {
			s.bar(&t, at(y, 0), y, at(y, stop), y, math.Min(wide, every/3), amp*rung, gap)
		}
	}
	for range s.IntN(5) {
		y := s.in(math.Max(y0, 0), y1)
		x0, x1 := at(y, s.in(0, 0.9)), s.altitude[idx(side)][min(int(y/s.sy), s.gridH-1)]*s.sx+s.in(-4, 12)
		s.bar(&t, x0, y+s.in(0, 30), x1, y, wide, amp*s.in(0.5, 1), 0.2)
		foot := shape{murk: s.in(0.1, 0.5), cast: 1, haze: 1}
		for q := range int(s.log(2, 8)/s.sy) + 1 {
			if row := int(y/s.sy) + q; row < s.gridH && x1/s.sx > s.edge[idx(side)][row] {
				s.shade(&t, foot, row, x1/s.sx+1, x1/s.sx+s.log(4, 25)/s.sx)
			}
		}
	}
	t.dark = nil // the notches are the stays' own, not the staging's shadow
	s.keep(t)
}

// girder is a long frame or open hull with members across it that lies in its own dark, mostly across the track.
func (s *swath) girder() {
	p, ok := s.bottomSpot()
	if !ok {
		return
	}
	t := thing{class: detect.RaisedStructure, kind: "girder", side: p.side, inDark: true,
		height: heightFor(p.depth, p.slant, s.log(20, 90)/s.sx)}
	long, beam := s.log(110, 600), s.log(18, 80)
	turn := s.NormFloat64() * 0.3
	if s.chance(0.3) {
		turn = s.in(0, math.Pi)
	}
	cos, sin := math.Cos(turn), math.Sin(turn)
	cx, cy := p.slant*s.sx, p.y*s.sy
	bow, extra, rim := s.in(0.2, 0.9), s.in(0, 1.2)*beam, s.in(1, 6)
	half := func(a float64) float64 { // half the beam at a place along, pointed at one end
		u := a/long + 0.5
		return beam / 2 * math.Min(u/bow, 1)
	}
	murk := s.log(0.02, 0.3)
	flip := 1.0
	if s.chance(0.5) {
		flip = -1
	}
	reach := (math.Abs(cos)*long + math.Abs(sin)*(beam+2*extra)) / 2
	tall := (math.Abs(sin)*long + math.Abs(cos)*(beam+2*extra)) / 2
	level := s.level(p, 30/s.sx, 30/s.sy)
	s.over(p, reach/s.sx, tall/s.sy, func(i int, _, _ float64) {
		b, _ := s.slant(i % s.gridW)
		y := i / s.gridW
		if b < s.edge[idx(p.side)][y]+1 || b >= float64(s.bins) {
			return
		}
		dx, dy := (b+0.5)*s.sx-cx, (float64(y)+0.5)*s.sy-cy
		a, c := dx*cos+dy*sin, (dy*cos-dx*sin)*flip
		rag := 2 * float64(s.lumps.v[i])
		if a < -long/2 || a > long/2+rag || c < -half(a)-rim+rag || c > half(a)+extra+rag {
			return
		}
		s.pass.v[i] = min(s.pass.v[i], float32(murk))
		t.dark = append(t.dark, int32(i))
	})
	amp, wide, gap := level*s.log(0.8, 5), s.in(1, 2.8), s.in(0, 0.6)
	line := func(a0, c0, a1, c1, amp float64) {
		x0, y0 := cx+a0*cos-c0*flip*sin, cy+a0*sin+c0*flip*cos
		x1, y1 := cx+a1*cos-c1*flip*sin, cy+a1*sin+c1*flip*cos
		s.bar(&t, x0, y0, x1, y1, wide, amp, gap)
	}
	if s.chance(0.5) { // what lies and grows inside
		for range int(long * beam * s.log(0.002, 0.03)) {
			a := s.in(-0.5, 0.5) * long
			c := s.in(-1, 1) * half(a)
			line(a, c, a+s.NormFloat64()*2, c+s.NormFloat64()*2, amp*s.in(0.05, 0.8))
		}
	}
	step := s.log(12, 50)
	slant, web := s.NormFloat64()*0.4*step, s.chance(0.3)
	faint := s.in(0.2, 1)
	for a := -long / 2; a < long/2; a += step {
		to := math.Min(a+step, long/2)
		line(a, -half(a), to, -half(to), amp)
		line(a, half(a), to, half(to), amp*faint)
		if s.chance(0.85) {
			line(a, -half(a), math.Min(a+slant, long/2), half(a), amp*s.in(0.3, 1))
		}
		if web {
			line(a, -half(a), to, half(to), amp*s.in(0.2, 0.8))
		}
	}
	t.lit = s.onBottom(t.lit, p.side)
	t.dark = s.unlit(t)
	s.keep(t)
}

// onBottom keeps the pixels beyond the first return and takes the echo off the others.
func (s *swath) onBottom(px []int32, side int) []int32 {
	out := px[:0]
	for _, i := range px {
		if b, _ := s.slant(int(i) % s.gridW); b >= s.edge[idx(side)][int(i)/s.gridW] {
			out = append(out, i)
		} else {
			s.add.v[i] = 0
		}
	}
	return out
}

// fence is rows of posts at one distance, each with a thin shadow.
func (s *swath) fence(p spot) shape {
	sh := s.manner(detect.RaisedStructure, "fence")
	sh.gloss, sh.fray = s.log(1.2, 8), s.in(0, 0.8)
	top := heightFor(p.depth, p.slant, s.log(4, 30)/s.sx)
	g := ground(p.slant, p.depth)
	n, every := s.between(8, 36), s.log(5, 16)/s.sy
	lean, w := s.NormFloat64()*0.7*s.sy/s.sx, s.log(1.2, 3)/s.sx
	rows, apart := s.between(1, 3), s.log(8, 30)/s.sx
	for j := range rows {
		for i := range n {
			u := float64(i) - float64(n-1)/2
			if s.chance(0.08) {
				continue
			}
			at := math.Max(g+float64(j)*apart+lean*u*every+s.NormFloat64()*0.5, 2)
			sh.parts = append(sh.parts, lump{at, p.y + u*every + s.NormFloat64()*0.06*every, w, math.Max(w*s.sx/s.sy, 0.7), 0,
				top * s.in(0.6, 1.1), s.in(0.5, 1.2)})
		}
	}
	return sh
}
