package groundworld

import (
	"math"

	"shadowgap/detect"
)

// hanger is a small ellipsoid in the water: metres of its middle, height over the grid's level, axes, and how much it lets through.
type hanger struct {
	id          uint8
	x, y, z     float64
	long, thick float64
	turn        float64
	refl        float64
	opaque      float64
}

// slice is what a ping meets of a hanger.
type slice struct {
	id           uint8
	slant, reach float64 // metres of its middle and half its depth in slant range
	g            float64 // ground range
	cLow, cHigh  float64 // cotangents, of the ray over it and of the ray under it
	refl, opaque float64
}

// cut slices a hanger at an along-track position, for a side and a transducer height; false where the ping passes it.
func (h *hanger) cut(y, sign, height float64, g *grid) (slice, bool) {
	a, b := h.long/2, h.thick/2
	c, s := math.Cos(h.turn), math.Sin(h.turn)
	ay := max(math.Sqrt(a*a*s*s+b*b*c*c), 0.6*g.pm)
	dy := y - h.y
	if math.Abs(dy) >= ay {
		return slice{}, false
	}
	round := math.Sqrt(1 - dy*dy/(ay*ay))
	half := max(a*b/ay*round, 0.5*g.cm)
	across := sign * (h.x + dy*(a*a-b*b)*s*c/(ay*ay))
	if across < 0.02 {
		return slice{}, false
	}
	up, d := b*round, height-h.z
	slant := math.Hypot(across, d)
	return slice{id: h.id, slant: slant, reach: max(half*across/slant, 0.8*g.cm), g: across,
		cLow: (d - up) / across, cHigh: (d + up) / across, refl: h.refl, opaque: h.opaque}, true
}

// poise draws where something hangs: close over the bottom, in the column, at the first return, or anywhere between; x as the grid has
// it, up metres over the bottom. What hangs is long by thick metres.
func (w *world) poise(long, thick float64) (x, y, up float64) {
	x, y = w.spot(overBottom)
	g, h := math.Abs(x), w.altM
	roll := w.d.Float64()
	if w.frame == tile && roll > 0.45 {
		roll = 0.9
	}
	switch {
	case roll < 0.45:
		return x, y, w.overGap(g, w.d.in(3, 10)*w.binM/w.sx+long/2, thick/2)
	case roll < 0.7:
		slant := h * w.d.in(0.25, 0.97)
		if roll < 0.55 {
			slant = h * w.d.in(0.95, 1.04)
		}
		turn := w.d.in(0.05, 1.2)
		g, up = slant*math.Sin(turn), h-slant*math.Cos(turn)
		return math.Copysign(g, x), y, max(0.03*h, up)
	}
	return x, y, h * w.d.scale(0.04, 0.6)
}

// overGap is the height over the bottom at which the gap between the middle of something and its shadow has a length, metres of slant
// range, where its underside is half metres lower than its middle.
func (w *world) overGap(g, gap, half float64) float64 {
	lo, hi := 0.0, 0.9*w.altM-half
	for range 30 {
		mid := (lo + hi) / 2
		if w.gapOf(g, mid) < gap {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + half
}

// gapOf is the slant range from something up metres over a level bottom to where its shadow begins.
func (w *world) gapOf(g, up float64) float64 {
	h := w.altM
	return math.Hypot(g*h/(h-up), h) - math.Hypot(g, h-up)
}

// hangOne hangs a fish or a float.
func (w *world) hangOne(r *recipe) {
	long := max(w.d.scale(r.lo, r.hi), 2.5*w.pxM())
	if r.kind == "fish" && w.d.may(0.6) {
		long = max(long, w.pxM()*w.d.scale(3.5, 16))
	}
	thick := long * w.d.in(0.25, 0.45)
	if w.d.may(0.7) {
		thick = max(thick, 1.7*w.pxM())
	}
	if r.kind == "float" {
		thick = long
	}
	x, y, up := w.poise(long, thick)
	t := &thing{kind: r.kind, class: detect.SuspendedTarget, x: x, y: y, hanging: true, off: max(0, up-thick/2), tall: thick,
		body: body{reach: long, high: up + thick/2}}
	if w.add(t) {
		w.hang(t.id, x, y, up, long, thick, w.d.scale(1.5, 16))
	}
}

func (w *world) hang(id uint8, x, y, up, long, thick, refl float64) {
	opaque := w.d.in(0.6, 1)
	if w.d.may(0.2) {
		opaque = w.d.in(0, 0.4)
	}
	w.hung = append(w.hung, hanger{id: id, x: x, y: y, z: w.g.height(x, y) + up, long: long, thick: thick, turn: w.d.in(0, math.Pi),
		refl: refl, opaque: opaque})
}

// hangSchool hangs fish together: one thing where they are closer than thrice their size, else a thing each.
func (w *world) hangSchool(r *recipe) {
	long := max(w.d.scale(r.lo, r.hi), w.pxM()*w.d.scale(2, 8))
	x, y, up := w.poise(long, long/3)
	spacing := w.d.scale(0.7, 7)
	n := w.d.upTo(4, 30)
	apart := spacing * long
	radius := 0.55 * apart * math.Sqrt(float64(n))
	squash := w.d.in(0.3, 1)
	one := spacing < 3
	refl := w.d.scale(1.5, 10)
	school := &thing{kind: "school", class: detect.SuspendedTarget, x: x, y: y, hanging: true, off: max(0, up-long/4), tall: long / 2,
		body: body{reach: radius, high: up + long/4}}
	if one && !w.add(school) {
		return
	}
	for range n {
		turn, rho := w.d.in(0, 2*math.Pi), radius*math.Sqrt(w.d.Float64())
		fx, fy := x+rho*math.Cos(turn), y+squash*rho*math.Sin(turn)
		fup := max(0.5*long, up+0.15*min(up, radius)*w.d.NormFloat64())
		id := school.id
		if !one {
			fish := &thing{kind: "fish", class: detect.SuspendedTarget, x: fx, y: fy, hanging: true, off: max(0, fup-long/6), tall: long / 3,
				body: body{reach: long, high: fup + long/6}}
			if !w.add(fish) {
				return
			}
			id = fish.id
		}
		w.hang(id, fx, fy, min(fup, 0.93*w.altM), long, max(1.4*w.pxM(), long*w.d.in(0.25, 0.45)), refl*w.d.scale(0.5, 2))
	}
}
