package screenworld

import (
	"math"
	"sort"

	"shadowgap/detect"
)

// thing is one of the things that a record shows. Its number, from 1, is its place in world.things plus 1.
type thing struct {
	kind   string
	class  detect.Class
	highM  float64 // over the bottom, of its top
	offM   float64 // over the bottom, of its underside; 0 for what stands
	x, y   float64
	reachM float64 // no other thing is put nearer
}

// place puts the planned things, and the outstanding rocks of rock fields, into the world.
func (w *world) place() {
	for _, kind := range w.plan.kinds {
		w.put(kind, w.spot)
	}
	if len(w.plan.kinds) > 0 {
		for _, a := range w.areas {
			if a.kind != "rock-field" {
				continue
			}
			for range 1 + w.r.IntN(3) {
				w.put("rock", func() (float64, float64) {
					return a.x + between(w.r, -0.6, 0.6)*a.halfX, a.y + between(w.r, -0.6, 0.6)*a.halfY
				})
			}
		}
	}
	for s := range w.columns {
		for _, cols := range w.columns[s] {
			sort.SliceStable(cols, func(i, j int) bool { return cols[i].cell < cols[j].cell })
		}
	}
}

func (w *world) put(kind string, where func() (float64, float64)) {
	var x, y float64
	for range 12 {
		x, y = where()
		if w.free(x, y) {
			break
		}
	}
	t := thing{kind: kind, class: detect.BottomObject, x: x, y: y, reachM: w.plan.rangeM * 0.04}
	id := uint8(len(w.things) + 1)
	builders[kind](w, id, &t)
	w.things = append(w.things, t)
}

func (w *world) free(x, y float64) bool {
	for _, t := range w.things {
		if math.Hypot(t.x-x, t.y-y) < t.reachM+w.plan.rangeM*0.03 {
			return false
		}
	}
	return true
}

// builders put a thing of a kind into the world and complete what is known of it.
var builders = map[string]func(w *world, id uint8, t *thing){
	"rock": (*world).rock, "timber": (*world).timber, "pipe": (*world).pipe, "cable": (*world).cable, "tyre": (*world).tyre,
	"ring": (*world).ring, "wreck": (*world).wreck, "wall": (*world).wall, "pile": (*world).pile, "frame": (*world).frame,
	"ladder": (*world).ladder, "crate": (*world).crate, "fish": (*world).fish, "school": (*world).school,
	"loose-school": (*world).looseSchool, "chain": (*world).chain, "mound": (*world).mound,
}

// size draws a length in metres that spans some cells of the record, larger ones rarer: from lo to hi cells.
func (w *world) size(lo, hi float64) float64 {
	return math.Max(w.cellM, w.pingM*0.7) * lo * math.Pow(hi/lo, w.r.Float64())
}

// least keeps a thickness from falling between cells and pings.
func (w *world) least(m float64) float64 { return math.Max(m, 0.55*math.Max(w.cellM, w.pingM)) }

// stamp stands columns wherever f, of metres along and across a thing that is turned by an angle, gives a top over low. Both are metres
// over the bottom.
func (w *world) stamp(id uint8, t *thing, reach, angle, strength float64, f func(u, v float64) (low, high float64)) {
	s, c := math.Sincos(angle)
	w.over(t.x, t.y, reach, reach, func(p, col int, dx, dy float64) {
		low, high := f(dx*c+dy*s, dy*c-dx*s)
		if high > low {
			w.stand(id, p, col, low, high, strength*between(w.r, 0.7, 1.3))
		}
	})
}

// strength draws how well a thing throws sound back, bottom of reflectivity 1 being 1.
func (w *world) strength(lo, hi float64) float64 { return lo * math.Pow(hi/lo, w.r.Float64()) }

func (w *world) rock(id uint8, t *thing) {
	r := w.r
	size := w.size(1.2, 9)
	t.highM = size * between(r, 0.3, 1.1)
	flat, power := between(r, 0.6, 1), between(r, 1.6, 4)
	lumps, phase := 2+float64(r.IntN(4)), r.Float64()*6
	w.stamp(id, t, size, r.Float64()*math.Pi, w.strength(0.7, 2.5), func(u, v float64) (float64, float64) {
		v /= flat
		rim := size * (1 - 0.18*(1+math.Sin(lumps*math.Atan2(v, u)+phase)))
		d := math.Pow(math.Hypot(u, v)/rim, power)
		return 0, t.highM * math.Sqrt(math.Max(1-d, 0)) * between(r, 0.9, 1)
	})
}

// bar is a long body on the bottom: half a length and half a width in metres, and a height that may vary along it, from -1 to 1.
func (w *world) bar(id uint8, t *thing, half, wide, angle, strength float64, high func(along float64) float64) {
	wide = w.least(wide)
	w.stamp(id, t, half+wide, angle, strength, func(u, v float64) (float64, float64) {
		if math.Abs(u) > half || math.Abs(v) > wide {
			return 0, 0
		}
		return 0, high(u/half) * (0.4 + 0.6*math.Sqrt(1-v*v/(wide*wide)))
	})
}

func (w *world) timber(id uint8, t *thing) {
	r := w.r
	half := w.size(4, 28)
	thick := half * between(r, 0.04, 0.14)
	t.highM = thick * between(r, 1.2, 3)
	tip, taper := between(r, -0.3, 0.9), between(r, 0, 0.5)
	angle := r.Float64() * math.Pi
	w.bar(id, t, half, thick, angle, w.strength(0.6, 2.2), func(a float64) float64 {
		return t.highM * (1 - taper*(a+1)/2) * math.Max(1-math.Max(tip, 0)*(1-a)/2, 0.2)
	})
	if chance(r, 0.3) { // a root or a fork at one end
		s, c := math.Sincos(angle)
		fork := *t
		fork.x, fork.y = t.x-half*c*0.9, t.y-half*s*0.9
		w.bar(id, &fork, half*0.3, thick, angle+between(r, 0.5, 1.3), 1.3, func(float64) float64 { return t.highM })
	}
}

// laid draws a long line over the bottom that comes and goes as it is buried.
func (w *world) laid(id uint8, t *thing, wide, high, strength float64) {
	r := w.r
	half := w.plan.rangeM * between(r, 0.25, 1)
	buried, waves, phase := between(r, -0.5, 0.6), between(r, 2, 9), r.Float64()*6
	t.highM = high
	t.reachM = 0
	w.bar(id, t, half, wide, between(r, -1.2, 1.2)+math.Pi/2*float64(r.IntN(2)), strength, func(a float64) float64 {
		return high * math.Min((math.Sin(a*waves+phase)-buried)*2.5, 1)
	})
}

func (w *world) pipe(id uint8, t *thing) {
	wide := w.size(0.8, 2.2)
	w.laid(id, t, wide, wide*between(w.r, 0.7, 1.6), w.strength(0.8, 2.5))
}

func (w *world) cable(id uint8, t *thing) {
	wide := w.size(0.3, 0.7)
	w.laid(id, t, wide, wide*between(w.r, 0.3, 0.8), w.strength(0.6, 1.8))
}

// hoop stands a lying ring of a radius, a width of its rim and a height.
func (w *world) hoop(id uint8, t *thing, radius, rim, high float64) {
	t.highM = high
	rim = w.least(rim)
	gap := w.r.Float64()*12 - 6 // a break in the rim, mostly at no angle there is
	w.stamp(id, t, radius+rim, 0, w.strength(0.7, 2.2), func(u, v float64) (float64, float64) {
		if math.Abs(math.Hypot(u, v)-radius) > rim || math.Abs(math.Atan2(v, u)-gap) < 0.4 {
			return 0, 0
		}
		return 0, high
	})
}

func (w *world) tyre(id uint8, t *thing) {
	radius := w.size(2.2, 6)
	w.hoop(id, t, radius, radius*0.3, radius*between(w.r, 0.3, 0.6))
}

func (w *world) ring(id uint8, t *thing) {
	radius := w.size(5, 18)
	w.hoop(id, t, radius, radius*between(w.r, 0.06, 0.14), radius*between(w.r, 0.1, 0.3))
}

func (w *world) crate(id uint8, t *thing) {
	half := w.size(1.5, 7)
	flat := between(w.r, 0.4, 1)
	t.highM = half * between(w.r, 0.4, 1.6)
	w.stamp(id, t, half*1.5, w.r.Float64()*math.Pi, w.strength(0.8, 2.5), func(u, v float64) (float64, float64) {
		if math.Abs(u) > half || math.Abs(v) > w.least(half*flat) {
			return 0, 0
		}
		return 0, t.highM
	})
}

func (w *world) pile(id uint8, t *thing) {
	wide := w.least(w.size(0.5, 1.6))
	alt := w.plan.altitudePart * w.plan.rangeM
	t.highM = math.Max(alt*between(w.r, 0.2, 1.1), wide*2)
	t.reachM = 0
	w.stamp(id, t, wide, 0, w.strength(0.8, 4), func(u, v float64) (float64, float64) {
		if math.Hypot(u, v) > wide {
			return 0, 0
		}
		return 0, t.highM
	})
}

func (w *world) mound(id uint8, t *thing) {
	r := w.r
	alt := w.plan.altitudePart * w.plan.rangeM
	half := w.plan.rangeM * between(r, 0.06, 0.16)
	t.highM = math.Min(alt*between(r, 0.15, 0.5), half*0.45)
	if t.highM > 1 {
		t.class = detect.RaisedStructure
	}
	t.reachM = half
	a := area{x: t.x, y: t.y, halfX: half, halfY: half * between(r, 0.6, 1.5), up: r.Float64() * math.Pi}
	w.inside(a, func(p, c int, depth, _, _ float64) {
		w.z.row(p)[c] += float32(t.highM * (0.5 - 0.5*math.Cos(math.Pi*depth)))
		if depth > 0.12 {
			w.owner[p*2*w.cells+c] = id
		}
	})
}
