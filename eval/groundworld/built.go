package groundworld

import "math"

func tyreForm(d dice, l, fine float64) body {
	bar := l * d.in(0.12, 0.2)
	return body{top: ring(l/2-bar, max(bar, fine), bar*d.in(0, 0.8), d.scale(1.2, 4)), reach: l, high: 2 * bar}
}

func ringForm(d dice, l, fine float64) body {
	bar := l * d.in(0.05, 0.12)
	return body{top: ring(l/2-bar, max(bar, fine), bar*d.in(-1, 0.5), d.scale(1.5, 5)), reach: l, high: 2 * bar}
}

// frameForm is a rectangle of bars, lying or on legs.
func frameForm(d dice, l, fine float64) body {
	wide, r, lift := l*d.in(0.4, 1), l*d.in(0.015, 0.05), 0.0
	if d.may(0.3) {
		lift = l * d.in(0.1, 0.4)
	}
	list := outline(l, wide, r)
	if d.may(0.5) {
		list = append(list, stroke{u0: -l / 2, v0: -wide / 2, u1: l / 2, v1: wide / 2, r0: r, r1: r})
	}
	for i := range list {
		list[i].low = -lift
	}
	return body{top: strokes(list, fine, d.scale(1.5, 5)), reach: 0.75 * l, high: 2*r + lift, raised: lift > 1.5}
}

func outline(long, wide, r float64) []stroke {
	a, b := long/2, wide/2
	return []stroke{{u0: -a, v0: -b, u1: a, v1: -b, r0: r, r1: r}, {u0: a, v0: -b, u1: a, v1: b, r0: r, r1: r},
		{u0: a, v0: b, u1: -a, v1: b, r0: r, r1: r}, {u0: -a, v0: b, u1: -a, v1: -b, r0: r, r1: r}}
}

// cageForm is a grid of bars at the height of its roof.
func cageForm(d dice, l, fine float64) body {
	wide, r := l*d.in(0.5, 1), l*d.in(0.01, 0.03)
	high := l * d.in(0.2, 0.6)
	list := outline(l, wide, r)
	for n, i := d.upTo(2, 6), 1; i < n; i++ {
		u, v := l*(float64(i)/float64(n)-0.5), wide*(float64(i)/float64(n)-0.5)
		list = append(list, stroke{u0: u, u1: u, v0: -wide / 2, v1: wide / 2, r0: r, r1: r},
			stroke{v0: v, v1: v, u0: -l / 2, u1: l / 2, r0: r, r1: r})
	}
	for i := range list {
		list[i].low = -high
	}
	return body{top: strokes(list, 0.8*fine, d.scale(1.5, 5)), reach: 0.75 * l, high: high, raised: high > 1.5}
}

func crateForm(d dice, l, fine float64) body {
	wide := max(l*d.in(0.4, 1), 2*fine)
	high := wide * d.in(0.3, 1)
	return body{top: box(max(l, 2*fine), wide, high, d.scale(1, 4)), reach: 0.8 * l, high: high}
}

func barrelForm(d dice, l, fine float64) body {
	r := max(0.32*l, fine)
	high := 2*r - r*d.in(0, 1)
	long := box(l, 2*r, 1, d.scale(1.5, 5))
	return body{reach: l, high: high, top: func(u, v float64) (float64, float64, bool) {
		_, refl, there := long(u, v)
		return high - r + math.Sqrt(max(0, r*r-v*v)), refl, there
	}}
}

// hull tells of a point how far inside a boat's outline it lies, as a share of the half width there, negative outside; the half width
// is metres.
func hull(d dice, l, beam float64) func(u, v float64) (inside, half float64) {
	bow, stern := d.in(1.5, 3), d.in(2, 9)
	return func(u, v float64) (float64, float64) {
		t := 2 * u / l
		power := bow
		if t < 0 {
			power = stern
		}
		if math.Abs(t) >= 1 {
			return -1, 0
		}
		half := beam / 2 * (1 - math.Pow(math.Abs(t), power))
		return 1 - math.Abs(v)/max(1e-6, half), half
	}
}

// boatForm lies upright with thwarts or ribs, or keel up.
func boatForm(d dice, l, fine float64) body {
	beam := l * d.in(0.25, 0.42)
	shape, high, refl := hull(d, l, beam), beam*d.in(0.25, 0.5), d.scale(1, 4)
	b := body{reach: 0.6 * l, high: high, raised: high > 1.5}
	if d.may(0.3) {
		b.top = func(u, v float64) (float64, float64, bool) {
			in, half := shape(u, v)
			z := high * math.Sqrt(min(1, 2*half/beam)*min(1, max(0, in)))
			return z + 0.05*high*smooth(0.85, 1, in), refl, in > 0
		}
		return b
	}
	b.top = openHull(d, shape, l, high, refl, max(fine, 0.03*beam), d.in(0.05, 0.5))
	return b
}

// openHull has gunwales, a floor at a share of their height, and cross-pieces.
func openHull(d dice, shape func(u, v float64) (float64, float64), l, high, refl, wall, floor float64) surface {
	pieces := float64(d.upTo(2, 5))
	ribs := d.may(0.3)
	if ribs {
		pieces = float64(d.upTo(7, 16))
	}
	thick, phase := wall/l*1.2, d.Float64()
	level := high * d.in(0.5, 1)
	return func(u, v float64) (float64, float64, bool) {
		in, half := shape(u, v)
		if in <= 0 {
			return 0, 0, false
		}
		if in*half < wall || math.Abs(u) > l/2-wall {
			return high * (1 + (u/l)*(u/l)), refl, true
		}
		along := (u/l+0.5)*pieces + phase
		if math.Abs(along-math.Round(along)) < thick*pieces {
			if ribs {
				return high * max(floor, 0.9*(1-in)), refl, true
			}
			return level, refl, true
		}
		return floor * high, 0.5 * refl, true
	}
}

// wreckForm is a big hull with holes, deck houses, a broken end and debris round it.
func wreckForm(d dice, l, fine float64) body {
	beam := l * d.in(0.15, 0.3)
	high := min(5, beam*d.in(0.2, 0.6))
	shape := hull(d, l, beam)
	whole := openHull(d, shape, l, high, d.scale(1, 3.5), max(fine, 0.04*beam), d.in(0.1, 0.6))
	from, to := d.in(-0.1, 0.3)*l, d.in(0.3, 0.6)*l
	rag, k := d.in(0.02, 0.15)*high, d.in(4, 10)/beam
	parts := []surface{func(u, v float64) (float64, float64, bool) {
		z, refl, there := whole(u, v)
		crush := 1.0
		if edge := 0.1 * beam * math.Sin(k*v*2); u > from+edge && u < to {
			crush = 0.15
		}
		z = z*crush + rag*math.Sin(k*u)*math.Sin(1.3*k*v)
		return z, refl, there && z > 0
	}}
	for range d.upTo(0, 8) {
		s := beam * d.in(0.05, 0.3)
		parts = append(parts, set(box(s, s*d.in(0.2, 1), high*d.in(0.1, 0.6), d.scale(1, 4)), l*d.in(-0.5, 0.5), beam*d.in(-1, 1), d.in(0, 3)))
	}
	return body{top: join(parts...), reach: 0.65 * l, high: high, raised: high > 1.5}
}

func carForm(d dice, l, _ float64) body {
	wide, high := l*d.in(0.36, 0.45), l*d.in(0.3, 0.38)
	refl := d.scale(1.2, 4)
	cabin := set(box(l*d.in(0.35, 0.6), wide*0.88, high, refl*0.8), l*d.in(-0.15, 0.1), 0, 0)
	return body{top: join(box(l, wide, 0.55*high, refl), cabin), reach: 0.65 * l, high: high, raised: high > 1.5}
}

// pileForm stands to the surface or is broken off; its height is set where it is put.
func pileForm(d dice, l, fine float64) body {
	r := max(l/2, fine)
	high, refl := d.scale(1.6, 30), d.scale(0.3, 2)
	return body{reach: 2 * r, high: high, raised: true, top: func(u, v float64) (float64, float64, bool) {
		return high, refl, math.Hypot(u, v) < r
	}}
}

// quayForm is a wall along v with nothing to be seen beyond it.
func quayForm(d dice, l, _ float64) body {
	const high = 100 // out of the water, whose surface cuts it
	step := d.in(0, 0.8)
	k := 2 * math.Pi / (l * d.in(0.2, 0.6))
	return body{reach: 1e4, high: high, raised: true, top: func(u, v float64) (float64, float64, bool) {
		face := 0.0
		if math.Sin(k*v) > 0.6 {
			face = step
		}
		return high, 1.6, u >= face
	}}
}

func footingForm(d dice, l, _ float64) body {
	wide, high, refl := l*d.in(0.3, 0.8), d.scale(2, 20), d.scale(1, 2.5)
	foot := box(l*1.3, wide*1.5, d.in(0.2, 1.2), refl)
	power := d.in(2, 8)
	return body{reach: l, high: high, raised: true, top: join(foot, func(u, v float64) (float64, float64, bool) {
		return high, refl, math.Pow(math.Abs(2*u/l), power)+math.Pow(math.Abs(2*v/wide), power) < 1
	})}
}
