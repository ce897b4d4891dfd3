package screenworld

import (
	"math"

	"shadowgap/detect"
)

// wreckShape is what is drawn at random of a wreck; lengths are metres.
type wreckShape struct {
	half, wide, hull, cabin, cabinAt float64
	ribs, breakAt                    float64
	blunt                            bool
}

// top is the wreck's height at a place along it (-1 to 1) and across it (-1 to 1).
func (s wreckShape) top(a, b float64) float64 {
	beam := 1 - math.Pow(math.Abs(a), 2.5)
	if s.blunt && a < 0 {
		beam = math.Min(beam+0.6, 1)
	}
	if beam <= 0 || math.Abs(b) > beam || math.Abs(a-s.breakAt) < 0.07 {
		return 0
	}
	edge := math.Abs(b) / beam
	h := s.hull * 0.3
	if edge > 0.72 { // the ship's side
		h = s.hull * (0.8 + 0.3*math.Max(a, 0))
	} else if s.ribs > 0 && math.Sin(a*s.ribs) > 0.5 {
		h = s.hull * 0.6
	}
	if math.Abs(a-s.cabinAt) < 0.16 && edge < 0.7 {
		h = s.hull + s.cabin
	}
	return h
}

func (w *world) wreck(id uint8, t *thing) {
	r := w.r
	s := wreckShape{half: w.size(9, 38), breakAt: 5, blunt: chance(r, 0.5), cabinAt: between(r, -0.6, 0.4)}
	s.wide = w.least(s.half * between(r, 0.16, 0.34))
	s.hull = s.wide * between(r, 0.35, 1)
	s.cabin = s.hull * between(r, 0, 1.2)
	if chance(r, 0.4) {
		s.ribs = between(r, 14, 40)
	}
	if chance(r, 0.35) {
		s.breakAt = between(r, -0.5, 0.5)
	}
	t.highM = s.hull + s.cabin
	if t.highM > 1.5 {
		t.class = detect.RaisedStructure
	}
	t.reachM = s.half
	w.stamp(id, t, s.half, r.Float64()*math.Pi, w.strength(0.7, 2), func(u, v float64) (float64, float64) {
		return 0, s.top(u/s.half, v/s.wide) * between(r, 0.85, 1)
	})
}

// wall stands a quay or wall along the outer edge of a side. Where it rises over the transducer nothing is seen behind it.
func (w *world) wall(id uint8, t *thing) {
	r := w.r
	t.class = detect.RaisedStructure
	t.reachM = 0
	long := float64(w.pings) * w.pingM
	alt := w.plan.altitudePart * w.plan.rangeM
	out := math.Copysign(between(r, 0.62, 0.9)*math.Sqrt(w.plan.rangeM*w.plan.rangeM-alt*alt), t.x)
	t.highM = alt * between(r, 0.7, 1.5)
	from, to := 0.0, long
	if chance(r, 0.5) {
		from, to = long*between(r, 0, 0.4), long*between(r, 0.6, 1)
	}
	lean, tooth := between(r, -0.12, 0.12), between(r, 0, 1)
	every := w.size(12, 60)
	thick := w.least(w.size(1, 4))
	strength := w.strength(0.6, 2)
	for p := range w.pings {
		y := (float64(p) + 0.5) * w.pingM
		if y < from || y > to {
			continue
		}
		at := out + lean*(y-long/2)
		high := t.highM
		if tooth > 0.5 && math.Mod(y, every) < every*0.25 { // piers of the quay stand out
			at -= math.Copysign(thick*1.5, t.x)
			high *= 0.9
		}
		w.over(at, y, thick, 0, func(q, c int, dx, _ float64) {
			if q == p && math.Abs(dx) < thick {
				w.stand(id, q, c, 0, high, strength*between(r, 0.6, 1.4))
			}
		})
	}
	t.x, t.y = out, (from+to)/2
}

// frame stands a grid of bars on legs.
func (w *world) frame(id uint8, t *thing) {
	r := w.r
	t.class = detect.RaisedStructure
	half := w.size(5, 16)
	flat := between(r, 0.5, 1)
	bar := w.least(half * 0.06)
	t.highM = math.Max(half*between(r, 0.3, 0.9), 0.8)
	t.reachM = half
	fields := float64(1 + r.IntN(3))
	w.stamp(id, t, half*1.5, r.Float64()*math.Pi, w.strength(0.7, 2), func(u, v float64) (float64, float64) {
		v /= flat
		if math.Abs(u) > half+bar || math.Abs(v) > half+bar {
			return 0, 0
		}
		pitch := 2 * half / fields
		onU := math.Abs(math.Remainder(u+half, pitch)) < bar
		onV := math.Abs(math.Remainder(v+half, pitch)) < bar
		switch {
		case onU && onV:
			return 0, t.highM
		case onU || onV:
			return t.highM * 0.75, t.highM
		}
		return 0, 0
	})
}

func (w *world) ladder(id uint8, t *thing) {
	half := w.size(8, 26)
	wide := half * between(w.r, 0.16, 0.3)
	bar := w.least(half * 0.03)
	t.highM = bar * between(w.r, 0.8, 2)
	pitch := math.Max(half*2/float64(4+w.r.IntN(6)), bar*3.5)
	w.stamp(id, t, half*1.1, w.r.Float64()*math.Pi, w.strength(0.8, 2.2), func(u, v float64) (float64, float64) {
		rail := math.Abs(math.Abs(v)-wide) < bar
		rung := math.Abs(math.Remainder(u+half, pitch)) < bar*0.8 && math.Abs(v) < wide
		if math.Abs(u) > half || !rail && !rung {
			return 0, 0
		}
		return 0, t.highM
	})
}

// swim hangs one fish at a place, off metres over the bottom and half as long as it is.
func (w *world) swim(id uint8, x, y, off, half float64) {
	at := thing{x: x, y: y}
	thick := w.least(half * 0.35)
	w.stamp(id, &at, half+thick, w.r.Float64()*math.Pi, w.strength(0.6, 1.6), func(u, v float64) (float64, float64) {
		d := 1 - u*u/(half*half) - v*v/(thick*thick)
		if d <= 0 {
			return 0, 0
		}
		return off, off + thick*2*math.Sqrt(d)
	})
}

// hover draws a height over the bottom for what hangs.
func (w *world) hover(t *thing) float64 {
	t.class = detect.SuspendedTarget
	t.offM = math.Max(w.plan.altitudePart*w.plan.rangeM*between(w.r, 0.08, 0.8), w.cellM*2)
	return t.offM
}

func (w *world) fish(id uint8, t *thing) {
	half := w.least(w.size(0.9, 4.5))
	off := w.hover(t)
	t.highM = off + w.least(half*0.35)*2
	w.swim(id, t.x, t.y, off, half)
}

// shoal hangs so many fish round a place, spread over some metres.
func (w *world) shoal(id uint8, t *thing, n int, spread, half float64) {
	off := w.hover(t)
	t.reachM = spread
	for range n {
		dx, dy := w.r.NormFloat64()*spread*0.4, w.r.NormFloat64()*spread*0.4
		up := math.Max(off*(1+0.15*w.r.NormFloat64()), w.cellM)
		w.swim(id, t.x+dx, t.y+dy, up, w.least(half*between(w.r, 0.7, 1.3)))
		t.offM = math.Min(t.offM, up)
		t.highM = math.Max(t.highM, up+w.least(half*0.35)*2)
	}
}

func (w *world) school(id uint8, t *thing) {
	w.shoal(id, t, 18+w.r.IntN(50), w.size(5, 14), w.size(0.6, 1.5))
}

func (w *world) looseSchool(id uint8, t *thing) {
	w.shoal(id, t, 5+w.r.IntN(14), w.size(10, 28), w.size(0.6, 1.8))
	t.kind = "school"
}

// chain hangs a buoy's chain: from the bottom up, leaning.
func (w *world) chain(id uint8, t *thing) {
	r := w.r
	alt := w.plan.altitudePart * w.plan.rangeM
	t.highM = alt * between(r, 0.6, 1)
	t.reachM = 0
	lean, along := between(r, -0.3, 0.3)*alt, between(r, -0.3, 0.3)*alt
	links := max(int(t.highM/w.cellM), 4)
	thick := w.least(0)
	for i := range links {
		k := float64(i) / float64(links)
		x, y := t.x+lean*k, t.y+along*k
		low := t.highM * k
		w.over(x, y, thick, thick, func(p, c int, dx, dy float64) {
			if math.Abs(dx) <= w.cellM/2 && math.Abs(dy) <= w.pingM/2 {
				w.stand(id, p, c, low, low+t.highM/float64(links), w.strength(0.8, 3.5))
			}
		})
	}
}
