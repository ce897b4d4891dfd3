package setin

import (
	"math"

	"shadowgap/detect"
)

// thing is something to set in. Lengths are pixels of slant range; dg runs outward and dy down the picture from its middle.
type thing struct {
	class  detect.Class
	kind   string
	solid  *solid
	floats []drifter
	// level is the echo strength of its bright parts over that of the bottom around it.
	level float64
	// depth is how much of the bottom's echo a full shadow takes away, 0 for a thing that throws none that shows; haze is how far the
	// shadow's edges are smoothed along the track beyond the picture's own softness, pixels.
	depth, haze float64
	seed        uint64
}

// solid is a height field that stands on the bottom: its height at a place, 0 outside.
type solid struct {
	g0, g1, y0, y1 float64
	height         func(dg, dy float64) float64
}

// drifter is a suspended ellipsoid.
type drifter struct {
	dg, dy     float64
	half, wide float64 // half axes along its angle and across it
	up         float64 // half axis in height
	z          float64 // of its middle over the bottom
	sin, cos   float64
	level      float64
}

// hash is a number in 0..1 for a place on a lattice.
func hash(seed uint64, x, y int) float64 {
	h := seed ^ uint64(uint32(x))*0x9e3779b97f4a7c15 ^ uint64(uint32(y))*0xc2b2ae3d27d4eb4f
	h ^= h >> 29
	h *= 0xbf58476d1ce4e5b9
	h ^= h >> 32
	h *= 0x94d049bb133111eb
	h ^= h >> 29
	return float64(h>>11) / (1 << 53)
}

// lumps is smooth noise of about -1..1 with cells of one unit.
func lumps(seed uint64, x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	i, j := int(fx), int(fy)
	u, w := x-fx, y-fy
	u, w = u*u*(3-2*u), w*w*(3-2*w)
	a := hash(seed, i, j)*(1-u) + hash(seed, i+1, j)*u
	b := hash(seed, i, j+1)*(1-u) + hash(seed, i+1, j+1)*u
	return 2*(a*(1-w)+b*w) - 1
}

// rise is the height whose top, at slant range s over water h deep, throws a shadow long pixels of slant range.
func rise(s, h, long float64) float64 { return h * long / (s + long) }

// rock is a broken stone; reach is its half length in pixels.
func (v *view) rock(s, h, reach float64) *thing {
	t := &thing{class: detect.BottomObject, kind: "rock", level: v.logIn(1.3, 5.5), depth: v.in(0.45, 1), seed: v.Uint64()}
	a, b := reach, reach*v.in(0.5, 1)
	sin, cos := math.Sincos(v.in(0, math.Pi))
	long := reach * v.logIn(1.5, 14)
	if v.chance(0.12) { // flat or half buried, told by its echo alone
		long, t.level = reach*v.logIn(0.2, 1.2), v.logIn(2, 7)
	}
	top := min(rise(s, h, min(long, 130)), 2*b, 0.5*h)
	uneven, cell, phase := v.in(0.15, 0.5), max(1.5, b*v.in(0.35, 0.8)), v.in(0, 7)
	sharp := v.in(0.3, 0.9) // low: a block with steep sides; high: rounded
	seed, aspect := t.seed, v.aspect
	height := func(dg, dy float64) float64 {
		dy /= aspect
		x, y := (dg*cos+dy*sin)/a, (dy*cos-dg*sin)/b
		q := x*x + y*y
		if q > 2.5 {
			return 0
		}
		e := 1 + uneven*(0.5*math.Cos(2*math.Atan2(y, x)+phase)+0.8*lumps(seed, dg/cell, dy/cell))
		if q /= e * e; q >= 1 {
			return 0
		}
		return top * math.Pow(1-q, 0.5*sharp) * (1 + 0.35*lumps(seed+1, 1.7*dg/cell, 1.7*dy/cell))
	}
	r := 1.6 * a
	t.solid = &solid{-r, r, -r * aspect, r * aspect, height}
	return t
}

// heap is stones that lie on and against one another; reach is its half length in pixels.
func (v *view) heap(s, h, reach float64) *thing {
	t := &thing{class: detect.BottomObject, kind: "heap", level: v.logIn(1.3, 5), depth: v.in(0.45, 1), seed: v.Uint64()}
	type stone struct {
		*solid
		dg, dy float64
	}
	var stones []stone
	whole := solid{}
	for range v.from(3, 7) {
		of := v.rock(s, h, reach*v.in(0.25, 0.55)).solid
		o := stone{of, v.in(-0.6, 0.6) * reach, v.in(-0.6, 0.6) * reach * v.aspect}
		stones = append(stones, o)
		whole.g0, whole.g1 = min(whole.g0, o.dg+o.g0), max(whole.g1, o.dg+o.g1)
		whole.y0, whole.y1 = min(whole.y0, o.dy+o.y0), max(whole.y1, o.dy+o.y1)
	}
	whole.height = func(dg, dy float64) float64 {
		z := 0.0
		for i := range stones {
			z = max(z, stones[i].height(dg-stones[i].dg, dy-stones[i].dy))
		}
		return z
	}
	t.solid = &whole
	return t
}

// bar is a piece of a round stem from one place to another, thinner to its end.
type bar struct{ g0, y0, g1, y1, r0, r1, lift0, lift1 float64 }

func (b *bar) height(dg, dy float64) float64 {
	ex, ey := b.g1-b.g0, b.y1-b.y0
	f := min(1, max(0, ((dg-b.g0)*ex+(dy-b.y0)*ey)/max(1e-9, ex*ex+ey*ey)))
	r := b.r0 + (b.r1-b.r0)*f
	x, y := dg-b.g0-f*ex, dy-b.y0-f*ey
	d := r*r - x*x - y*y
	if d <= 0 {
		return 0
	}
	return b.lift0 + (b.lift1-b.lift0)*f + r + math.Sqrt(d)
}

// bars is a solid of bars; gaps are places where the thing is broken or sunk into the bottom.
func bars(list []bar, sunk func(dg, dy float64) bool) *solid {
	s := &solid{g0: math.Inf(1), g1: math.Inf(-1), y0: math.Inf(1), y1: math.Inf(-1)}
	for _, b := range list {
		r := max(b.r0, b.r1)
		s.g0, s.g1 = min(s.g0, b.g0-r, b.g1-r), max(s.g1, b.g0+r, b.g1+r)
		s.y0, s.y1 = min(s.y0, b.y0-r, b.y1-r), max(s.y1, b.y0+r, b.y1+r)
	}
	s.height = func(dg, dy float64) float64 {
		z := 0.0
		for i := range list {
			z = max(z, list[i].height(dg, dy))
		}
		if z > 0 && sunk(dg, dy) {
			return 0
		}
		return z
	}
	return s
}

// timber is a slightly bent stem with some branches; reach is its half length.
func (v *view) timber(s, h, reach float64) *thing {
	t := &thing{class: detect.BottomObject, kind: "timber", level: v.logIn(1.4, 4), depth: v.in(0.5, 1), seed: v.Uint64()}
	angle, bend := v.in(0, 2*math.Pi), v.NormFloat64()*0.25
	radius := v.logIn(0.7, 2.2)
	lift := max(0, min(rise(s, h, radius*v.logIn(1.5, 8)), 0.3*h)-2*radius)
	lean := v.in(-1, 1) * lift
	var list []bar
	const pieces = 4
	x, y := -reach*math.Cos(angle), -reach*math.Sin(angle)
	for i := range pieces {
		a := angle + bend*(float64(i)-1.5)
		l := 2 * reach / pieces
		f0, f1 := float64(i)/pieces, float64(i+1)/pieces
		b := bar{
			x, y, x + l*math.Cos(a), y + l*math.Sin(a), radius * (1 - 0.5*f0), radius * (1 - 0.5*f1),
			max(0, lift+lean*(2*f0-1)), max(0, lift+lean*(2*f1-1)),
		}
		list = append(list, b)
		x, y = b.g1, b.y1
		if v.chance(0.3) {
			c, l := a+(v.in(0.4, 1.2))*float64(2*v.IntN(2)-1), reach*v.in(0.2, 0.6)
			up := b.lift1 + l*v.in(0, 0.3)
			list = append(list, bar{b.g1, b.y1, b.g1 + l*math.Cos(c), b.y1 + l*math.Sin(c), 0.6 * radius, 0.35 * radius, b.lift1, up})
		}
	}
	seed, share := t.seed, v.in(-1.2, -0.3)
	t.solid = bars(list, func(dg, dy float64) bool { return lumps(seed, dg/5, dy/5) < share })
	return t
}

// structure is a box, a frame or a wall whose shadow is much longer than itself; reach is its half length.
func (v *view) structure(s, h, reach float64) *thing {
	t := &thing{class: detect.RaisedStructure, level: v.logIn(1.3, 4), depth: v.in(0.7, 1), seed: v.Uint64()}
	sin, cos := math.Sincos(v.in(0, math.Pi))
	top := min(rise(s, h, min(v.logIn(18, 160), 8*reach)), 0.6*h)
	thick := v.logIn(1, 2.5)
	half := reach * v.in(0.25, 0.9)
	seed := t.seed
	broken, rubble := v.in(-0.9, -0.2), v.in(0.05, 0.35)
	worn := func(dg, dy float64) float64 {
		e := 1 + 0.3*lumps(seed, dg/5, dy/5) + 0.15*lumps(seed+1, dg/2, dy/2)
		if lumps(seed+2, dg/7, dy/7) < broken {
			e *= 0.3
		}
		return e
	}
	var shape func(x, y float64) float64 // part of the top's height
	switch v.IntN(4) {
	case 0:
		t.kind = "crib" // log walls around a filled middle
		middle := v.in(0, 0.6)
		shape = func(x, y float64) float64 {
			if math.Abs(x) < reach-2*thick && math.Abs(y) < half-2*thick {
				return middle
			}
			return 1
		}
	case 1:
		t.kind = "wall"
		sin, cos = math.Sincos(math.Pi/2 + v.NormFloat64()*0.5) // one that is seen end on throws no broad shadow
		half = thick
		shape = func(float64, float64) float64 { return 1 }
	case 2:
		t.kind = "hull" // pointed, with ribs
		rib := v.in(5, 10)
		shape = func(x, y float64) float64 {
			u := x / reach
			edge := half * math.Sqrt(max(0, 1-u*u))
			switch {
			case math.Abs(y) > edge:
				return 0
			case math.Abs(y) > edge-2*thick:
				return 1
			case math.Mod(x+1000*rib, rib) < 1.2*thick:
				return 0.5
			}
			return 0.08
		}
	default:
		t.kind = "frame" // an open lattice
		bay := v.in(6, 14)
		shape = func(x, y float64) float64 {
			if math.Abs(math.Abs(y)-half) < 2*thick || math.Abs(x) > reach-2*thick || math.Mod(x+1000*bay, bay) < 1.5*thick {
				return 1
			}
			return 0
		}
	}
	aspect, wobble := math.Sqrt(v.aspect), v.logIn(0.4, 2.5)
	height := func(dg, dy float64) float64 {
		dy /= aspect
		// Nothing that has lain in water for long is straight.
		dg, dy = dg+wobble*lumps(seed+4, dg/7, dy/7), dy+wobble*lumps(seed+6, dg/7, dy/7)
		x, y := dg*cos+dy*sin, dy*cos-dg*sin
		if math.Abs(x) > reach || math.Abs(y) > half {
			return 0
		}
		// What has fallen off lies about inside and at its feet.
		return top * max(shape(x, y)*worn(dg, dy), rubble*lumps(seed+3, dg/2.5, dy/2.5))
	}
	rg, ry := reach*math.Abs(cos)+half*math.Abs(sin), reach*math.Abs(sin)+half*math.Abs(cos)
	t.solid = &solid{-rg - wobble, rg + wobble, -(ry + wobble) * aspect, (ry + wobble) * aspect, height}
	return t
}

// fish is one fish or a small school at slant range s. Over the bottom its shadow begins gap pixels behind it.
func (v *view) fish(s, h, reach float64, inWater bool) *thing {
	t := &thing{class: detect.SuspendedTarget, kind: "fish", level: v.logIn(1.5, 6), depth: v.in(0.5, 1), seed: v.Uint64()}
	t.haze = v.in(0.1, 0.7)
	z := 0.0
	if inWater {
		// No nearer to the bottom than the ray to it allows.
		z = h - s*v.in(0.6, 0.98)
		t.level = v.logIn(0.4, 4)
	} else {
		// The ray under it meets the bottom gap pixels behind its far edge.
		gap := v.logIn(3, 60)
		z = min(rise(s, h, gap+reach)+0.4*reach, 0.7*h)
	}
	if v.chance(0.12) {
		t.depth = 0
	}
	one := func(dg, dy, dz, reach float64) drifter {
		sin, cos := math.Sincos(v.in(0, math.Pi))
		wide := max(0.6, reach*v.in(0.25, 0.5))
		up := max(0.5, min(reach*v.in(0.3, 0.5), 0.8*(z+dz)))
		return drifter{dg, dy, reach, wide, up, max(up, z+dz), sin, cos, v.in(0.6, 1)}
	}
	if reach < 5 || v.chance(0.6) {
		t.floats = []drifter{one(0, 0, 0, reach)}
		return t
	}
	t.kind = "school"
	for range v.from(6, 18) {
		dg, dy := v.NormFloat64()*reach*0.45, v.NormFloat64()*reach*0.4*v.aspect
		t.floats = append(t.floats, one(dg, dy, v.NormFloat64()*0.08*z, v.in(1.3, 3)))
	}
	return t
}
