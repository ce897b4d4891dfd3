package groundworld

import "math"

// body is a thing's form: a surface, how far it reaches from its middle and how high it stands, metres.
type body struct {
	top         surface
	reach, high float64
	drape       bool // follows the ground
	raised      bool // a structure rather than an object
}

// sunk is a body of which a share of its height shows.
func (b body) sunk(share float64) body {
	whole := b.top
	b.high *= share
	b.top = func(u, v float64) (float64, float64, bool) {
		z, refl, there := whole(u, v)
		return z * share, refl, there
	}
	return b
}

// stroke is a round bar from one point to another, of which low metres are buried.
type stroke struct {
	u0, v0, u1, v1 float64
	r0, r1         float64 // radius at its ends
	low            float64
	lift           float64 // how far its far end is raised
}

// at is the height of a stroke's upper side over a point, not positive where it has none.
func (s *stroke) at(u, v float64) float64 {
	du, dv := s.u1-s.u0, s.v1-s.v0
	t := 0.0
	if q := du*du + dv*dv; q > 0 {
		t = min(1, max(0, ((u-s.u0)*du+(v-s.v0)*dv)/q))
	}
	r := s.r0 + (s.r1-s.r0)*t
	d := math.Hypot(u-s.u0-t*du, v-s.v0-t*dv)
	if d >= r {
		return 0
	}
	return r + math.Sqrt(r*r-d*d) - s.low + t*s.lift
}

// strokes is the surface of bars together. No bar is thinner than fine metres across, so that none falls between cells; its height
// stays. Those far from a point are skipped by their bounds.
func strokes(list []stroke, fine, refl float64) surface {
	type bounds struct{ u0, u1, v0, v1 float64 }
	around := make([]bounds, len(list))
	for i := range list {
		s := &list[i]
		thick := max(s.r0, s.r1)
		s.low += max(0, fine-s.r0) * 2
		s.r0, s.r1 = max(fine, s.r0), max(fine, s.r1)
		if thick < fine {
			s.low = min(s.low, 2*fine-max(thick, 0.3*fine))
		}
		r := max(s.r0, s.r1)
		around[i] = bounds{min(s.u0, s.u1) - r, max(s.u0, s.u1) + r, min(s.v0, s.v1) - r, max(s.v0, s.v1) + r}
	}
	return func(u, v float64) (float64, float64, bool) {
		top := 0.0
		for i := range list {
			if b := &around[i]; u < b.u0 || u > b.u1 || v < b.v0 || v > b.v1 {
				continue
			}
			top = max(top, list[i].at(u, v))
		}
		return top, refl, top > 0
	}
}

// box is a block with upright sides.
func box(long, wide, high, refl float64) surface {
	return func(u, v float64) (float64, float64, bool) {
		return high, refl, math.Abs(u) <= long/2 && math.Abs(v) <= wide/2
	}
}

// lump is a boulder: an ellipsoid sunk by a share of its height, with dents.
func lump(d dice, long, wide, high, refl float64) surface {
	p1, p2, k := d.in(0, 6), d.in(0, 6), d.in(0.05, 0.25)
	power := d.in(0.35, 0.8)
	return func(u, v float64) (float64, float64, bool) {
		q := math.Hypot(2*u/long, 2*v/wide)
		if q > 1.4 {
			return 0, 0, false
		}
		phi := math.Atan2(v, u)
		q *= 1 + k*math.Sin(2*phi+p1) + 0.6*k*math.Sin(5*phi+p2)
		if q >= 1 {
			return 0, 0, false
		}
		return high * math.Pow(1-q*q, power), refl, true
	}
}

// ring is a bar bent to a circle with a dark hole.
func ring(radius, bar, low, refl float64) surface {
	return func(u, v float64) (float64, float64, bool) {
		rho := math.Hypot(u, v)
		if d := math.Abs(rho - radius); d < bar {
			z := bar + math.Sqrt(bar*bar-d*d) - low
			return z, refl, z > 0
		}
		return 0.01 * bar, 0.15, rho < radius
	}
}

// rags is a flat ragged clump: shreds of a noise over a blob, bright and low.
func rags(d dice, radius, high, refl, dense float64) surface {
	a := newBlob(d, 0, 0, radius, 0.5)
	type wave struct{ ku, kv, p float64 }
	waves := make([]wave, 9)
	for i := range waves {
		k, turn := d.scale(5, 40)/radius, d.in(0, 2*math.Pi)
		waves[i] = wave{k * math.Cos(turn), k * math.Sin(turn), d.in(0, 6)}
	}
	return func(u, v float64) (float64, float64, bool) {
		depth := a.depth(u, v)
		if depth <= 0 {
			return 0, 0, false
		}
		sum := 0.0
		for _, w := range waves {
			sum += math.Sin(w.ku*u + w.kv*v + w.p)
		}
		over := sum/2.1 + dense + 1.5*(depth-0.3)
		if over <= 0 {
			return 0, 0, false
		}
		k := min(1, over)
		return high * (0.3 + 0.7*k), refl * (0.5 + 0.5*k), true
	}
}

// mound is a broad rise.
func mound(d dice, long, wide, high, refl float64) surface {
	a := newBlob(d, 0, 0, long/2, 0.15)
	a.squash, a.turn = wide/long, 0
	flat := d.in(0.5, 1)
	return func(u, v float64) (float64, float64, bool) {
		depth := a.depth(u, v)
		if depth <= 0 {
			return 0, 0, false
		}
		return high * smooth(0, flat, depth), refl, true
	}
}

// join is the upper side of several surfaces.
func join(parts ...surface) surface {
	return func(u, v float64) (float64, float64, bool) {
		var z, refl float64
		there := false
		for _, p := range parts {
			if pz, pr, ok := p(u, v); ok && (!there || pz > z) {
				z, refl, there = pz, pr, true
			}
		}
		return z, refl, there
	}
}

// set moves a surface by u, v and turns it.
func set(s surface, u0, v0, turn float64) surface {
	c, n := math.Cos(turn), math.Sin(turn)
	return func(u, v float64) (float64, float64, bool) {
		du, dv := u-u0, v-v0
		return s(du*c+dv*n, dv*c-du*n)
	}
}
