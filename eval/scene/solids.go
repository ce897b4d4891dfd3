package scene

import (
	"math"
)

// profile is the height field under one side of one ping: nodes dg apart in ground range from the nadir outward.
type profile struct {
	sign float64 // -1 port, 1 starboard
	y    float64
	dg   float64
	z    []float64
	mu   []float64
	id   []uint16
}

func (p *profile) x(k int) float64 { return p.sign * float64(k) * p.dg }

// span gives the half-open range of nodes with world x in [x0, x1].
func (p *profile) span(x0, x1 float64) (int, int) {
	if p.sign < 0 {
		x0, x1 = -x1, -x0
	}
	k0 := max(0, int(math.Ceil(x0/p.dg)))
	k1 := min(len(p.z), int(math.Floor(x1/p.dg))+1)
	return k0, k1
}

// solid is something that lies on the bottom.
type solid struct {
	id       uint16
	y0, y1   float64
	strength float64
	raise    func(s *solid, p *profile)
}

// put lays the solid's top, dz over the bottom, on node k.
func (s *solid) put(p *profile, k int, bottom, dz float64) {
	if dz > 0 && bottom+dz > p.z[k] {
		p.z[k] = bottom + dz
		p.mu[k] = s.strength
		p.id[k] = s.id
	}
}

// ellipseSlice gives the x interval where the line y - y0 = dy cuts an ellipse with half axes a along angle (cos, sin) and b across,
// relative to its centre.
func ellipseSlice(a, b, cos, sin, dy float64) (mid, half float64, ok bool) {
	ia, ib := 1/(a*a), 1/(b*b)
	qa := cos*cos*ia + sin*sin*ib
	qb := dy * cos * sin * (ia - ib)
	qc := dy*dy*(sin*sin*ia+cos*cos*ib) - 1
	d := qb*qb - qa*qc
	if d <= 0 {
		return 0, 0, false
	}
	return -qb / qa, math.Sqrt(d) / qa, true
}

func rockSolid(r Rock, id uint16) solid {
	sin, cos := math.Sincos(r.AngleDeg * math.Pi / 180)
	grow := 1 + r.Uneven
	reach := max(r.HalfLongM, r.HalfShortM) * grow
	phase := r.X*7.3 + r.Y*3.1
	raise := func(s *solid, p *profile) {
		mid, half, ok := ellipseSlice(r.HalfLongM*grow, r.HalfShortM*grow, cos, sin, p.y-r.Y)
		if !ok {
			return
		}
		k0, k1 := p.span(r.X+mid-half, r.X+mid+half)
		for k := k0; k < k1; k++ {
			dx, dy := p.x(k)-r.X, p.y-r.Y
			u, v := (dx*cos+dy*sin)/r.HalfLongM, (-dx*sin+dy*cos)/r.HalfShortM
			q := u*u + v*v
			if r.Uneven > 0 {
				a := math.Atan2(v, u)
				e := 1 + r.Uneven*(0.6*math.Cos(3*a+phase)+0.4*math.Cos(5*a-2*phase))
				q /= e * e
			}
			if q < 1 {
				s.put(p, k, p.z[k], r.HeightM*math.Sqrt(1-q))
			}
		}
	}
	return solid{id: id, y0: r.Y - reach, y1: r.Y + reach, strength: r.Strength, raise: raise}
}

// barSolid is a round bar from (x0, y0) to (x1, y1) whose axis lies radius + lift over the bottom. A height field has no
// underside: a rising branch reaches down to the bottom like a curtain.
func barSolid(x0, y0, x1, y1, radius, lift0, lift1, strength float64, id uint16) solid {
	dx, dy := x1-x0, y1-y0
	l2 := dx*dx + dy*dy
	raise := func(s *solid, p *profile) {
		lo, hi := min(x0, x1)-radius, max(x0, x1)+radius
		if math.Abs(dy) > 1e-6 {
			f0 := (p.y - radius*1.5 - y0) / dy
			f1 := (p.y + radius*1.5 - y0) / dy
			f0, f1 = min(f0, f1), max(f0, f1)
			a, b := x0+dx*max(0, f0), x0+dx*min(1, f1)
			w := 1.5 * radius * (1 + math.Abs(dx/dy))
			lo, hi = max(lo, min(a, b)-w), min(hi, max(a, b)+w)
		}
		k0, k1 := p.span(lo, hi)
		for k := k0; k < k1; k++ {
			x := p.x(k)
			f := min(1, max(0, ((x-x0)*dx+(p.y-y0)*dy)/l2))
			ex, ey := x-x0-f*dx, p.y-y0-f*dy
			d2 := ex*ex + ey*ey
			if d2 < radius*radius {
				s.put(p, k, p.z[k], radius+lift0+(lift1-lift0)*f+math.Sqrt(radius*radius-d2))
			}
		}
	}
	return solid{id: id, y0: min(y0, y1) - radius, y1: max(y0, y1) + radius, strength: strength, raise: raise}
}

func timberSolids(t Timber, id uint16) []solid {
	sin, cos := math.Sincos(t.AngleDeg * math.Pi / 180)
	out := []solid{barSolid(t.X, t.Y, t.X+t.LengthM*cos, t.Y+t.LengthM*sin, t.RadiusM, 0, 0, t.Strength, id)}
	for _, b := range t.Branches {
		bs, bc := math.Sincos((t.AngleDeg + b.AngleDeg) * math.Pi / 180)
		x, y := t.X+t.LengthM*b.At*cos, t.Y+t.LengthM*b.At*sin
		out = append(out, barSolid(x, y, x+b.LengthM*bc, y+b.LengthM*bs, b.RadiusM, t.RadiusM, t.RadiusM+b.RiseM, t.Strength, id))
	}
	return out
}

func structureSolid(c Structure, id uint16) solid {
	sin, cos := math.Sincos(c.AngleDeg * math.Pi / 180)
	reach := math.Hypot(c.HalfLongM, c.HalfShortM)
	raise := func(s *solid, p *profile) {
		k0, k1 := p.span(c.X-reach, c.X+reach)
		for k := k0; k < k1; k++ {
			dx, dy := p.x(k)-c.X, p.y-c.Y
			u, v := math.Abs(dx*cos+dy*sin)/c.HalfLongM, math.Abs(-dx*sin+dy*cos)/c.HalfShortM
			if u >= 1 {
				continue
			}
			top := c.HeightM
			switch c.Shape {
			case "hull":
				// Pointed ends, sides that lean in, a low waist.
				v /= math.Sqrt(1 - u*u)
				top *= math.Sqrt(max(0, 1-v*v)) * (0.75 + 0.25*u*u)
			case "crib":
				// Log walls around a filled middle a third lower.
				if max(u, v) < 0.62 {
					top *= 0.66
				}
			case "barge":
				// A bow at one end, open between the sides and the cross-beams.
				if along := (dx*cos + dy*sin) / c.HalfLongM; along > 0.7 {
					v /= 1 - 0.8*(along-0.7)/0.3
				}
				if beam := math.Mod(u*5, 1); v < 0.8 && u < 0.95 && beam > 0.14 {
					top *= 0.12
				}
			default:
				// A wall crumbles a little along its length.
				top *= 0.92 + 0.08*math.Sin(9*u+3*c.X)
			}
			if v < 1 {
				s.put(p, k, p.z[k], top)
			}
		}
	}
	return solid{id: id, y0: c.Y - reach, y1: c.Y + reach, strength: c.Strength, raise: raise}
}

// weedSolid is a ragged patch; it carries no number because it is no mark. Its growth is bunched and soft: no steep
// sides, so its shadows are mottled instead of crisp.
func weedSolid(w WeedBed, seed uint64) solid {
	clumps, stems := newFractal(seed, 0.9), newFractal(seed+9, 0.28)
	raise := func(s *solid, p *profile) {
		f := 1 - (p.y-w.Y)*(p.y-w.Y)/(w.RadiusY*w.RadiusY)
		if f <= 0 {
			return
		}
		half := w.RadiusX * math.Sqrt(f)
		k0, k1 := p.span(w.X-half, w.X+half)
		clumps.line(p.y, w.X-half-1, w.X+half+1)
		stems.line(p.y, w.X-half-1, w.X+half+1)
		for k := k0; k < k1; k++ {
			x := p.x(k)
			ex, ey := (x-w.X)/w.RadiusX, (p.y-w.Y)/w.RadiusY
			n := 0.35 + 0.45*clumps.at(x) + 0.35*stems.at(x) - (ex*ex + ey*ey)
			if n <= 0 {
				continue
			}
			n = min(n, 1.2)
			p.z[k] += w.HeightM * n
			p.mu[k] *= 1 + (w.Strength-1)*min(1, 2*n)
		}
	}
	return solid{y0: w.Y - w.RadiusY, y1: w.Y + w.RadiusY, strength: w.Strength, raise: raise}
}
