package worksworld

import (
	"math"

	"shadowgap/detect"
)

func timber(a spot) {
	r := a.rng()
	for i := range 1 + r.IntN(2)*r.IntN(3) {
		a.begin("log", detect.BottomObject)
		half, rad := span(r, 7, 45), span(r, 0.8, 2.6)
		off := float64(i) * span(r, 12, 24)
		b := a
		b.turn += 0.3 * r.NormFloat64() * float64(i)
		b.pipe(-half, off, half*span(r, 0.3, 1), off+span(r, -2, 2), rad, rad*span(r, 0.9, 2), a.shine())
	}
}

// tree draws a trunk whose branches stand up and out from it, with a root plate at times.
func tree(a spot) {
	r := a.rng()
	a.begin("tree", detect.BottomObject)
	long, shine := span(r, 20, 110), a.shine()
	rad := max(0.7, long*span(r, 0.012, 0.03))
	pts := arc(r, long, 0.3, 0)
	a.line(pts, rad, func(along, d float64, k int) { a.raise(k, rad*(2-along/long), shine) })
	if chance(r, 0.5) {
		a.dome(pts[0][0], pts[0][1], rad*1.5, rad*4, rad*4.5, 1.5, 0.4, shine)
	}
	for range between(r, 3, 16) {
		p := pts[between(r, len(pts)/3, len(pts)-1)]
		out := long * span(r, 0.1, 0.38)
		dir := span(r, 0.3, 1.2)
		if chance(r, 0.5) {
			dir = -dir
		}
		lift := out * span(r, 0, 0.35)
		const n = 4
		for i := range n {
			u0, u1 := float64(i)/n, float64(i+1)/n
			a.pipe(p[0]+out*u0*math.Cos(dir), p[1]+out*u0*math.Sin(dir), p[0]+out*u1*math.Cos(dir), p[1]+out*u1*math.Sin(dir),
				0.5, rad+lift*u1, shine*(1-0.5*u1))
		}
	}
}

func stump(a spot) {
	r := a.rng()
	a.begin("stump", detect.BottomObject)
	rad, shine := span(r, 1.5, 5), a.shine()
	a.dome(0, 0, rad, rad, rad*span(r, 1.2, 3), 3, 0.25, shine)
	for range between(r, 2, 6) {
		phi := r.Float64() * 2 * math.Pi
		out := rad * span(r, 1.5, 3.2)
		a.pipe(0, 0, out*math.Cos(phi), out*math.Sin(phi), 0.6, rad*0.4, shine)
	}
}

func boulder(a spot) {
	r := a.rng()
	step := 22.0
	for i := range 1 + r.IntN(2)*r.IntN(5) {
		x, y := 0.0, 0.0
		if i > 0 {
			phi := float64(i) * 1.5
			x, y = step*math.Cos(phi), step*math.Sin(phi)
		}
		a.begin("boulder", detect.BottomObject)
		rad := math.Exp(span(r, math.Log(1.8), math.Log(12)))
		a.dome(x, y, rad, rad*span(r, 0.6, 1.5), rad*span(r, 0.5, 1.5), 1.8, 0.3, a.shine())
	}
}

// rockField strews many rocks; only the largest are marks.
func rockField(a spot) {
	r := a.rng()
	hx, hy := span(r, 25, 110), span(r, 25, 110)
	n := int(hx * hy / span(r, 35, 130))
	field := a.begin("rock", detect.BottomObject)
	field.loose = true
	loose := a.id
	b := a.extent()
	big := between(r, 2, 5)
	shine := a.shine()
	for i := range n {
		x, y := min(max(r.NormFloat64()*0.45, -1), 1)*hx, min(max(r.NormFloat64()*0.45, -1), 1)*hy
		rad := 1 + 1.3*math.Abs(r.NormFloat64())
		a.id = loose
		if i >= n-big {
			rad = span(r, 5, 10)
			a.begin("boulder", detect.BottomObject)
		}
		a.dome(x, y, rad, rad*span(r, 0.7, 1.4), rad*span(r, 0.6, 1.3), 1.8, 0.3, shine)
		b.add(x, y, 1.3*rad)
	}
	a.side.world.patches = append(a.side.world.patches, b.patch("rock field"))
}

// clumps scatters ragged strong spots that hardly rise; they lie far out as a rule, where the bottom is dim.
func clumps(a spot) {
	r := a.rng()
	if far, ok := a.side.free(25, true); ok && far.g > a.g {
		far.turn, far.worn = a.turn, max(a.worn, 0.4)
		a = far
	}
	shine := 2.2 * a.shine()
	for i := range between(r, 1, 4) {
		a.begin("clump", detect.BottomObject)
		x0, y0 := float64(i)*span(r, 26, 45), 14*r.NormFloat64()
		rx, ry := span(r, 2, 9), span(r, 2, 9)
		for range between(r, 3, 14) {
			rad := span(r, 0.7, 2.6)
			a.dome(x0+r.NormFloat64()*rx*0.6, y0+r.NormFloat64()*ry*0.6, rad, rad*span(r, 0.5, 2), span(r, 0.15, 0.7), 1, 0.6,
				shine*math.Exp(0.4*r.NormFloat64()))
		}
	}
}

// ledge draws a step that rises toward the outside and falls away behind.
func ledge(a spot) {
	r := a.rng()
	a.begin("ledge", detect.RaisedStructure)
	a.turn = math.Pi/2 + 0.3*r.NormFloat64()
	long, tall, back := span(r, 60, 320), span(r, 4, 16), span(r, 4, 16)
	shine := span(r, 0.9, 2.2)
	ragged := walk(r, int(2*long)+20, 9)
	a.line(arc(r, long, 0.7, 0), back, func(along, d float64, k int) {
		i := min(int(along), len(ragged)-1)
		end := min(1, min(along, long-along)/(0.15*long))
		if end <= 0 {
			return
		}
		h := tall * end * (0.8 + 0.25*ragged[i]) * (1 - math.Pow(d/back, 1.5))
		if h > 0.1 {
			a.raise(k, h, shine)
		}
	})
}

// quayWall closes a side off: a tall face along track with nothing to be heard behind it.
func quayWall(a spot) {
	r := a.rng()
	s := a.side
	p := s.world.plan
	a.begin("quay wall", detect.RaisedStructure)
	shine := span(r, 1.2, 3)
	bend := walk(r, p.nh, 160*p.ay*p.unit)
	from, to := 0, p.nh
	if chance(r, 0.4) {
		from = r.IntN(p.nh / 2)
		to = min(p.nh, from+p.nh/3+r.IntN(p.nh))
	}
	at := max(a.g, 0.45*float64(s.ground))
	lean, sway := r.NormFloat64()*0.12/p.ay, span(r, 0, 12)*p.unit
	for row := from; row < to; row++ {
		face := int(at + lean*(float64(row)-a.row) + sway*bend[row])
		for g := max(face, 8); g < s.ground; g++ {
			k := row*s.ground + g
			s.id[k], s.up[k], s.thingRho[k] = a.id, float32(0.8*p.alt[row]), 0
			if g < face+3 {
				s.thingRho[k] = float32(shine * (0.7 + 0.6*r.Float64()))
			}
		}
	}
}

// fish hang in the water, a few beside each other; what little shadow they cast lies apart from them.
func fish(a spot) {
	r := a.rng()
	s := a.side
	p := s.world.plan
	mean := s.altAt(a.row)
	column := s.nearest == 0 && chance(r, 0.3)
	for range between(r, 1, 5) {
		g, row := a.g+r.NormFloat64()*25*p.unit, a.row+r.NormFloat64()*25*p.unit*p.ay
		z := mean * span(r, 0.08, 0.4)
		if column {
			g, z = mean*span(r, 0.1, 0.6), mean*span(r, 0.3, 0.75)
		}
		if g < 2 || row < 3 || row > float64(p.nh)-3 {
			continue
		}
		h := s.altAt(row)
		slant := math.Hypot(g, h-z)
		if slant < s.nearest+4 || slant > float64(s.reach)-6 {
			continue
		}
		t := a.begin("fish", detect.SuspendedTarget)
		w := swimmer{id: a.id, g: g, row: row, z: z, half: span(r, 0.7, 3) * p.unit, rows: max(0.8, span(r, 1, 5)*p.unit*p.ay),
			wide: max(0.55, span(r, 0.6, 1.8)*p.unit), at: span(r, 2, 9), dense: span(r, 0.35, 0.95), bend: r.NormFloat64() * 1.5 * p.unit}
		near := g * h / (h - z + w.half)
		t.gap = max(math.Hypot(near, h)-slant-1.5*w.wide, 0) * p.zx
		s.swimmers = append(s.swimmers, w)
	}
}
