package surveyworld

import (
	"math"

	"shadowgap/detect"
)

// spot is where a thing goes: the ping and slant range of its middle, and what is known there.
type spot struct {
	y, slant, depth float64
	side            int
}

// manner draws how a thing of any shape shows.
func (s *swath) manner(class detect.Class, kind string) shape {
	sh := shape{class: class, kind: kind, gloss: s.log(0.6, 8), fray: s.in(0, 1.4), murk: s.in(0.02, 0.5), cast: 1, haze: s.in(0, 2.5),
		thick: s.in(1, 2.6), climb: 1}
	if class == detect.RaisedStructure {
		sh.climb = s.in(0.05, 0.4)
	}
	if s.chance(0.12) {
		sh.gloss = s.log(0.15, 0.6) // little but the shadow shows
	}
	return sh
}

// heightFor is the height that throws a shadow of some length beyond a slant range: similar triangles, for a point at that range.
func heightFor(depth, slant, length float64) float64 {
	return depth * length / (slant + length)
}

// size draws the extent of a thing in panel pixels, many small and few big.
func (s *swath) size() float64 {
	if s.chance(0.1) {
		return s.log(20, 70)
	}
	return s.log(3.5, 24)
}

// lying makes one thing that lies on the bottom.
func (s *swath) lying(p spot) shape {
	across := s.size() / s.sx
	along := across * s.sx / s.sy * s.log(0.5, 2)
	long := s.log(4, 50) / s.sx
	top := heightFor(p.depth, p.slant, long)
	g := ground(p.slant, p.depth)
	switch s.IntN(8) {
	case 0, 1, 2:
		return s.stone(g, p.y, across, along, top)
	case 3:
		return s.log1(g, p.y, across, along, top)
	case 4:
		sh := s.manner(detect.BottomObject, "tyre")
		n := 14
		for i := range n {
			a := 2 * math.Pi * float64(i) / float64(n)
			sh.parts = append(sh.parts, lump{g + 0.5*across*math.Cos(a), p.y + 0.5*along*math.Sin(a), across * 0.13, math.Max(along*0.16, 0.8),
				0, top * s.in(0.3, 0.6), s.in(0.5, 1.2)})
		}
		return sh
	case 5:
		sh := s.manner(detect.BottomObject, "crate")
		sh.fray *= 0.5
		skew := s.in(-0.7, 0.7)
		n := max(int(along), 2)
		for i := range n {
			u := float64(i)/float64(n-1) - 0.5
			sh.parts = append(sh.parts, lump{g + skew*u*along, p.y + u*along, across * 0.3, 0.8, 0, top, s.in(0.8, 1.1)})
		}
		return sh
	case 6:
		sh := s.manner(detect.BottomObject, "debris")
		for range s.between(3, 9) {
			r := s.in(0.08, 0.25)
			sh.parts = append(sh.parts, lump{g + s.in(-0.5, 0.5)*across, p.y + s.in(-0.5, 0.5)*along, across * r, math.Max(along*r, 0.7),
				0, top * s.in(0.2, 1), s.in(0.4, 1.3)})
		}
		return sh
	}
	return s.limbs(g, p.y, across*1.4, along*1.4, top)
}

// stone is a rounded body, often with a second beside it.
func (s *swath) stone(g, y, across, along, top float64) shape {
	sh := s.manner(detect.BottomObject, "rock")
	sh.parts = append(sh.parts, lump{g, y, across * s.in(0.2, 0.45), along * s.in(0.25, 0.5), 0, top * s.in(0.6, 1), 1})
	for range s.IntN(6) { // shoulders and a neighbour make its outline its own
		r := s.in(0.12, 0.38)
		sh.parts = append(sh.parts, lump{math.Max(g+s.in(-0.4, 0.4)*across, 1), y + s.in(-0.5, 0.5)*along, across * r, math.Max(along*r, 0.7), 0,
			top * s.in(0.3, 1), s.in(0.3, 1.2)})
	}
	return sh
}

// log1 is a straight or slightly bent stem, thinner to one end, with stubs of branches.
func (s *swath) log1(g, y, across, along, top float64) shape {
	sh := s.manner(detect.BottomObject, "log")
	length := math.Max(across, along) * s.in(1.2, 3)
	s.stem(&sh, g, y, s.in(0, math.Pi), length, s.log(0.6, 2.2), top*s.in(0.2, 0.7), s.in(-0.3, 0.3))
	return sh
}

// stem strings lumps along a bent line.
func (s *swath) stem(sh *shape, g, y, turn, length, thick, top, bend float64) {
	n := max(int(length/math.Max(thick, 1)*1.5), 4)
	taper, gap := s.in(0, 0.7), s.in(0, 0.2)
	for i := range n {
		u := float64(i)/float64(n-1) - 0.5
		if s.chance(gap) {
			continue
		}
		a := turn + bend*u
		w := 1 - taper*(u+0.5)
		g0, y0 := g+math.Cos(a)*u*length, y+math.Sin(a)*u*length*s.sx/s.sy
		sh.parts = append(sh.parts, lump{g0, y0, thick * w, math.Max(thick*w*s.sx/s.sy, 0.6), 0, top * w, s.in(0.6, 1.1)})
	}
}

// limbs is a body with arms and perhaps a line trailing from it.
func (s *swath) limbs(g, y, across, along, top float64) shape {
	sh := s.manner(detect.BottomObject, "object")
	sh.fray = s.in(0.3, 1.4)
	sh.parts = append(sh.parts, lump{g, y, across * 0.2, math.Max(along*0.2, 0.8), 0, top, 1})
	arms := s.between(2, 6)
	for i := range arms {
		a := 2*math.Pi*float64(i)/float64(arms) + s.in(-0.4, 0.4)
		l := s.in(0.2, 0.55)
		for k := range 7 {
			u := (float64(k) + 1) / 7 * l
			sh.parts = append(sh.parts, lump{g + math.Cos(a)*u*across, y + math.Sin(a)*u*along, across * 0.07, math.Max(along*0.07, 0.7), 0,
				top * s.in(0.3, 0.8), s.in(0.5, 1.2)})
		}
	}
	return sh
}

// hanging makes a fish or a school over the bottom, or in the column where the slant range says so.
func (s *swath) hanging(p spot) shape {
	sh := s.manner(detect.SuspendedTarget, "fish")
	sh.gloss *= s.log(1, 2)
	gap := s.log(2, 10) / s.sx
	if s.chance(0.4) {
		gap = s.log(6, 80) / s.sx
	}
	foot := p.depth * gap / (p.slant + gap)
	if p.slant < p.depth { // in the column: as high as its slant range needs, and more
		foot = math.Min(p.depth-p.slant*s.in(0.4, 0.98), 0.93*p.depth)
		sh.gloss = s.log(0.2, 4)
	}
	g := math.Sqrt(math.Max(p.slant*p.slant-(p.depth-foot)*(p.depth-foot), 0.1))
	thick := s.log(1, 4) / s.sx
	long := s.log(3.5, 24) / s.sy
	rise := heightFor(p.depth, p.slant+gap, s.log(3, 14)/s.sx)
	sh.murk, sh.thick = s.in(0.05, 0.6), math.Max(thick, 1)
	if s.chance(0.25) || foot+rise > 0.9*p.depth {
		sh.cast = 0
	}
	one := func(g0, y0, long, turn float64) {
		n := max(int(long/1.2), 1)
		bow := s.in(-0.4, 0.4)
		for i := range n {
			u := 0.0
			if n > 1 {
				u = float64(i)/float64(n-1) - 0.5
			}
			w := math.Sqrt(math.Max(1-3*u*u, 0.1))
			at := math.Max(g0+turn*u*long+bow*(4*u*u-0.3)*long*0.5, 0.1)
			sh.parts = append(sh.parts, lump{at, y0 + u*long, thick * 0.4 * w, math.Max(thick*0.4*w, 0.8), foot, foot + rise*w, s.in(0.7, 1.1)})
		}
	}
	if s.chance(0.25) {
		sh.kind = "school"
		wide, tall := s.log(8, 60)/s.sx, s.log(8, 60)/s.sy
		for range s.between(5, 40) {
			one(math.Max(g+s.NormFloat64()*wide*0.25, 0.1), p.y+s.NormFloat64()*tall*0.25, s.log(1.5, 6)/s.sy, s.in(-0.5, 0.5))
		}
		return sh
	}
	turn := s.in(-0.5, 0.5)
	if s.chance(0.3) {
		turn = s.in(-2, 2)
		long /= 1 + math.Abs(turn)
	}
	one(g, p.y, long, turn)
	return sh
}

// raised makes a wall, a row of piles, a wreck, a standing tree or a steep hump.
func (s *swath) raised(p spot) shape {
	g := ground(p.slant, p.depth)
	long := s.log(40, 300) / s.sx
	top := heightFor(p.depth, p.slant, long)
	switch s.IntN(5) {
	case 0:
		return s.wall(g, p, top)
	case 1:
		return s.piles(g, p, top)
	case 2:
		return s.wreck(g, p, top)
	case 3:
		sh := s.manner(detect.RaisedStructure, "tree")
		w := s.log(1, 3)
		sh.parts = append(sh.parts, lump{g, p.y, w, w * s.sx / s.sy, 0, top, 1})
		for range s.between(3, 14) { // branches hang on the stem's height and widen its shadow
			z := top * s.in(0.15, 0.95)
			sh.parts = append(sh.parts, lump{g + s.in(-3, 3), p.y + s.NormFloat64()*s.in(1, 9)/s.sy, s.in(0.5, 1.5), s.in(0.6, 2), 0,
				z, s.in(0.2, 0.8)})
		}
		return sh
	}
	sh := s.manner(detect.RaisedStructure, "hump")
	w, l := s.log(10, 60)/s.sx, s.log(15, 120)/s.sy
	sh.gloss, sh.fray, sh.haze, sh.climb = s.log(0.3, 2.5), s.in(0.7, 1.6), s.in(1, 5), s.in(0.1, 0.6)
	for range s.between(6, 30) { // many overlapping knolls make its outline ragged
		u, v := s.NormFloat64()*0.33, s.NormFloat64()*0.4
		r := s.log(0.1, 0.5)
		peak := top * math.Exp(-2*(u*u+v*v)) * s.in(0.4, 1)
		sh.parts = append(sh.parts, lump{math.Max(g+u*w, 2), p.y + v*l, w * r, math.Max(l*r, 1), 0, peak, s.in(0.3, 1.2)})
	}
	return sh
}

// wall is a bright line that runs along or slants across the track, with a break or step at times.
func (s *swath) wall(g float64, p spot, top float64) shape {
	sh := s.manner(detect.RaisedStructure, "wall")
	sh.gloss, sh.fray, sh.murk, sh.thick = s.log(1.5, 9), s.in(0, 0.8), s.in(0, 0.15), s.in(1.5, 4)
	if s.chance(0.5) {
		top = p.depth * s.in(0.8, 1.2)
	}
	length := s.log(30, 0.9*float64(s.h)) / s.sy
	lean, bow, step := s.NormFloat64()*0.25, s.NormFloat64()*0.07*length, 0.0
	if s.chance(0.4) {
		bow = 0
	}
	wob := wander(s.Rand, max(int(length), 4), s.log(3, 20), 32)
	jag, last := s.log(0.3, 8), g
	for i := range int(length) {
		u := float64(i)/length - 0.5
		if s.chance(2 / length) {
			step += s.NormFloat64() * 6
		}
		at := g + lean*u*length + bow*(4*u*u-0.3) + step + jag*wob[i]
		reach := 1 + 0.6*math.Abs(at-last) // a slanting wall has no gaps from ping to ping
		last = at
		if at < 2 || i == 0 {
			continue
		}
		sh.parts = append(sh.parts, lump{at, p.y + u*length, reach, 0.8, 0, top * s.in(0.97, 1.03), s.in(0.8, 1.1)})
	}
	return sh
}

// piles is a row of posts, each with its own thin shadow.
func (s *swath) piles(g float64, p spot, top float64) shape {
	sh := s.manner(detect.RaisedStructure, "piles")
	n, gap := s.between(4, 14), s.log(5, 25)/s.sy
	lean, w := s.NormFloat64()*0.6, s.log(0.7, 2)
	for i := range n {
		u := float64(i) - float64(n-1)/2
		if s.chance(0.1) {
			continue
		}
		at, y := math.Max(g+lean*u*gap+s.NormFloat64(), 2), p.y+u*gap+s.NormFloat64()*0.08*gap
		sh.parts = append(sh.parts, lump{at, y, w, math.Max(w*s.sx/s.sy, 0.7), 0, top * s.in(0.5, 1.1), s.in(0.5, 1.2)})
	}
	return sh
}

// wreck is a hull's outline with thwarts across it, open and dark inside.
func (s *swath) wreck(g float64, p spot, top float64) shape {
	sh := s.manner(detect.RaisedStructure, "wreck")
	sh.gloss, sh.thick = s.log(0.8, 6), s.in(1, 2.4)
	length := s.log(40, 220) / s.sx
	beam := length * s.in(0.15, 0.4)
	turn := s.in(0, math.Pi)
	c, q := math.Cos(turn), math.Sin(turn)*s.sx/s.sy
	c2, q2 := -math.Sin(turn), math.Cos(turn)*s.sx/s.sy
	stern := s.in(0.2, 0.9)
	at := func(u, v, z, gloss float64) {
		g0, y0 := math.Max(g+c*u*length+c2*v*beam, 2), p.y+q*u*length+q2*v*beam
		sh.parts = append(sh.parts, lump{g0, y0, 0.9, math.Max(0.9*s.sx/s.sy, 0.7), 0, z, gloss})
	}
	n := int(length)
	broken, whole := s.in(0, 0.06), true
	for i := range n {
		u := float64(i)/float64(n) - 0.5
		if s.chance(broken) {
			whole = !whole || s.chance(0.4)
		}
		if !whole {
			continue
		}
		v := 0.5 * math.Sqrt(math.Max(1-math.Pow(2*math.Abs(u), 2.5)*(1-stern*ramp64(-4*u)), 0))
		at(u, v, top*s.in(0.3, 0.45), s.in(0.4, 1.1))
		at(u, -v, top*s.in(0.3, 0.45), s.in(0.4, 1.1))
	}
	if s.chance(0.5) { // what has fallen in and lies about
		for range s.between(5, 60) {
			at(s.NormFloat64()*0.3, s.NormFloat64()*0.25, top*s.in(0.05, 0.3), s.in(0.2, 1))
		}
	}
	for range s.between(0, 7) {
		u := s.in(-0.4, 0.4)
		for v := -0.45; v < 0.45; v += 1.2 / math.Max(beam, 3) {
			at(u+s.in(-0.01, 0.01), v, top*0.2, s.in(0.3, 1))
		}
	}
	if s.chance(0.5) {
		at(s.in(-0.3, 0.3), s.in(-0.2, 0.2), top, 1)
	}
	return sh
}

func ramp64(v float64) float64 { return float64(ramp(float32(v))) }
