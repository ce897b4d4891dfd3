package worksworld

import (
	"math"
	"math/rand/v2"
)

// spot is a place on the bottom that things are drawn at: lengths given to its methods are display pixels across, u native pixels each,
// x outward along turn.
type spot struct {
	side   *side
	g, row float64
	turn   float64
	u      float64
	id     int16
	worn   float64 // 1 stands out as drawn; towards 0 it is low and scatters as the bottom does
}

// free finds a place at least r display pixels from the ends of the picture and, if alone, from whatever took a place before.
func (s *side) free(r float64, alone bool) (spot, bool) {
	p := s.world.plan
	rn := p.rng
	rad := r * p.unit
	for range 25 {
		row := span(rn, 0, float64(p.nh))
		lo := max(s.nearest, s.altAt(row)*1.03)
		hi := float64(s.reach) - 2
		if hi-lo < 12 {
			return spot{}, false
		}
		slant := span(rn, lo, hi)
		clash := false
		for _, d := range s.taken {
			clash = clash || math.Hypot(d.s-slant, (d.row-row)/p.ay) < d.r+rad
		}
		if alone && clash {
			continue
		}
		if alone {
			s.taken = append(s.taken, disc{slant, row, rad})
		}
		return spot{side: s, g: s.groundOf(slant, row), row: row, u: p.unit, worn: 1}, true
	}
	return spot{}, false
}

// cells visits every cell of the bottom within r of (x, y) with its place relative to it, in the spot's own turned pixels.
func (a spot) cells(x, y, r float64, visit func(dx, dy float64, k int)) {
	p := a.side.world.plan
	c, sn := math.Cos(a.turn), math.Sin(a.turn)
	cg, cr := a.g+(x*c-y*sn)*a.u, a.row+(x*sn+y*c)*a.u*p.ay
	reach := r * a.u
	for row := max(int(cr-reach*p.ay), 0); row <= int(cr+reach*p.ay)+1 && row < p.nh; row++ {
		dr := (float64(row) - cr) / (a.u * p.ay)
		for g := max(int(cg-reach), 1); g <= int(cg+reach)+1 && g < a.side.ground; g++ {
			dg := (float64(g) - cg) / a.u
			visit(dg*c+dr*sn, -dg*sn+dr*c, row*a.side.ground+g)
		}
	}
}

// thin is the least half-width that leaves no holes in something narrow.
func (a spot) thin() float64 {
	return 0.62 / a.u / min(1, a.side.world.plan.ay)
}

// raise puts a thing over a cell, h display pixels high, unless something taller stands there. Heights near the altitude are pressed
// down: a boat keeps off what reaches up to it.
func (a spot) raise(k int, h, rho float64) {
	s := a.side
	tall, roof := h*a.u*a.worn, 0.7*a.side.altAt(a.row)
	up := float32(tall * roof / (math.Abs(tall) + roof))
	rho = max(1+(rho-1)*a.worn, 0)
	if s.id[k] != 0 && s.up[k] >= up {
		return
	}
	s.id[k], s.up[k], s.thingRho[k] = a.id, up, float32(rho)*max(s.rho[k], 0.6)
}

// patch visits the cells of an ellipse whose rim wavers by rough; d runs from 0 in the middle to 1 at the rim.
func (a spot) patch(x, y, rx, ry, rough float64, visit func(d float64, k int)) {
	r := a.side.world.plan.rng
	var amp, ph [4]float64
	for i := range amp {
		amp[i], ph[i] = rough*r.NormFloat64()*0.6/float64(i+1), r.Float64()*2*math.Pi
	}
	least := a.thin()
	rx, ry = max(rx, least), max(ry, least)
	a.cells(x, y, max(rx, ry)*(1+1.5*rough), func(dx, dy float64, k int) {
		t := math.Atan2(dy, dx)
		rim := 1.0
		for i := range amp {
			rim += amp[i] * math.Cos(float64(i+2)*t+ph[i])
		}
		if d := math.Hypot(dx/rx, dy/ry) / max(rim, 0.3); d <= 1 {
			visit(d, k)
		}
	})
}

// dome raises a rounded lump; blunt above 1 makes it steeper at the rim.
func (a spot) dome(x, y, rx, ry, h, blunt, rough, rho float64) {
	r := a.side.world.plan.rng
	a.patch(x, y, rx, ry, rough, func(d float64, k int) {
		q := math.Pow(1-d*d, 1/blunt)
		a.raise(k, h*q*(1+0.25*rough*r.NormFloat64()), rho*(1+0.4*rough*r.NormFloat64()))
	})
}

// slab raises a block of half-length hx and half-width hy.
func (a spot) slab(x, y, hx, hy, h, rho float64) {
	least := a.thin()
	hx, hy = max(hx, least), max(hy, least)
	a.cells(x, y, math.Hypot(hx, hy), func(dx, dy float64, k int) {
		if math.Abs(dx) <= hx && math.Abs(dy) <= hy {
			a.raise(k, h, rho)
		}
	})
}

// pipe raises a straight round bar between two ends; flat bars look the same at this size.
func (a spot) pipe(x0, y0, x1, y1, rad, h, rho float64) {
	a.line([][2]float64{{x0, y0}, {x1, y1}}, rad, func(_, d float64, k int) {
		q := d / max(rad, a.thin())
		a.raise(k, h*math.Sqrt(max(1-q*q, 0.05)), rho)
	})
}

// ring raises a hoop.
func (a spot) ring(x, y, rad, rim, h, rho float64) {
	rim = max(rim, a.thin())
	a.cells(x, y, rad+rim, func(dx, dy float64, k int) {
		if d := math.Abs(math.Hypot(dx, dy)-rad) / rim; d <= 1 {
			a.raise(k, h*math.Sqrt(1-0.8*d*d), rho)
		}
	})
}

// line visits each cell within rad of a drawn-out line once, with the way along it and the distance from it, display pixels.
func (a spot) line(pts [][2]float64, rad float64, visit func(along, d float64, k int)) {
	type near struct {
		along, d float64
		k        int
	}
	var found []near
	index := map[int]int{}
	rad = max(rad, a.thin())
	way := 0.0
	for i := 1; i < len(pts); i++ {
		p, q := pts[i-1], pts[i]
		ex, ey := q[0]-p[0], q[1]-p[1]
		long := math.Hypot(ex, ey)
		if long == 0 {
			continue
		}
		a.cells((p[0]+q[0])/2, (p[1]+q[1])/2, long/2+rad, func(dx, dy float64, k int) {
			t := (dx*ex+dy*ey)/long + long/2
			t = min(max(t, 0), long)
			fx, fy := dx-ex*(t/long-0.5), dy-ey*(t/long-0.5)
			d := math.Hypot(fx, fy)
			if d > rad {
				return
			}
			if i, ok := index[k]; !ok {
				index[k] = len(found)
				found = append(found, near{way + t, d, k})
			} else if d < found[i].d {
				found[i] = near{way + t, d, k}
			}
		})
		way += long
	}
	for _, f := range found {
		visit(f.along, f.d, f.k)
	}
}

// arc is a line of the given length through (0, off) that bends about bend radians per 100 px, in pieces of a few pixels.
func arc(r *rand.Rand, long, bend, off float64) [][2]float64 {
	const piece = 6.0
	n := max(int(long/piece), 1)
	pts := make([][2]float64, n+1)
	dir := 0.0
	curl := bend * r.NormFloat64() * piece / 100
	wave := walk(r, n+1, 12)
	x, y := 0.0, 0.0
	for i := range pts {
		pts[i] = [2]float64{x, y}
		dir += curl + 0.6*bend*wave[i]*piece/100
		x, y = x+piece*math.Cos(dir), y+piece*math.Sin(dir)
	}
	mid := pts[n/2]
	for i := range pts {
		pts[i][0] -= mid[0]
		pts[i][1] -= mid[1] - off
	}
	return pts
}

// extent gathers what a group of things covers, native pixels of slant range and rows.
type extent struct {
	at             spot
	g0, g1, r0, r1 float64
}

func (a spot) extent() *extent {
	return &extent{at: a, g0: math.Inf(1), g1: math.Inf(-1), r0: math.Inf(1), r1: math.Inf(-1)}
}

func (e *extent) add(x, y, rad float64) {
	a := e.at
	ay := a.side.world.plan.ay
	c, sn := math.Cos(a.turn), math.Sin(a.turn)
	g, row := a.g+(x*c-y*sn)*a.u, a.row+(x*sn+y*c)*a.u*ay
	e.g0, e.g1 = min(e.g0, g-rad*a.u), max(e.g1, g+rad*a.u)
	e.r0, e.r1 = min(e.r0, row-rad*a.u*ay), max(e.r1, row+rad*a.u*ay)
}

func (e *extent) patch(kind string) patch {
	h := e.at.side.altAt(e.at.row)
	return patch{kind: kind, side: e.at.side, s0: math.Hypot(max(e.g0, 0), h), s1: math.Hypot(max(e.g1, 0), h), r0: e.r0, r1: e.r1}
}
