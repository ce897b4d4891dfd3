package placeworld

import "math"

type point struct{ u, v float64 }

// shape gives, for a place of a thing, what it adds to the height (metres) and by what it multiplies the echo. x and y are cells.
type shape func(p, q float64, x, y int) (high, refl float64, ok bool)

// stamp puts a shape on the ground. Half length a and half width b are metres, the angle is the length's from starboard;
// p and q run from -1 to 1 along the length and across.
func (w *world) stamp(u, v, a, b, angle float64, f shape, id uint16) {
	least := 0.55 * math.Max(w.dg, w.dv)
	a, b = math.Max(a, least), math.Max(b, least)
	sin, cos := math.Sincos(angle)
	du := math.Hypot(a*cos, b*sin)
	dv := math.Hypot(a*sin, b*cos)
	x0, x1 := max(0, int((u-1.5*du)/w.dg)+w.ng), min(2*w.ng-1, int((u+1.5*du)/w.dg)+w.ng)
	y0, y1 := max(0, int((v-1.5*dv)/w.dv)), min(w.h-1, int((v+1.5*dv)/w.dv))
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			eu, ev := (float64(x-w.ng)+0.5)*w.dg-u, (float64(y)+0.5)*w.dv-v
			p, q := (eu*cos+ev*sin)/a, (ev*cos-eu*sin)/b
			if p < -1.1 || p > 1.1 || q < -1.1 || q > 1.1 {
				continue
			}
			if high, refl, ok := f(p, q, x, y); ok {
				w.put(y*2*w.ng+x, high, refl, id)
			}
		}
	}
}

func (w *world) put(i int, high, refl float64, id uint16) {
	w.z[i] += float32(high)
	if id == 0 {
		w.refl[i] *= float32(refl)
		return
	}
	// a thing hides the ground's own strength
	w.refl[i] = float32(refl)
	w.id[i] = id
}

// along puts a strip of a width (metres) on a path; c runs from -1 to 1 across it and s is the metres along it.
func (w *world) along(path []point, width float64, f shape, id uint16) {
	half := math.Max(width/2, 0.5*math.Max(w.dg, w.dv))
	done := map[int]bool{}
	s := 0.0
	for k := 1; k < len(path); k++ {
		a, b := path[k-1], path[k]
		long := math.Hypot(b.u-a.u, b.v-a.v)
		if long == 0 {
			continue
		}
		du, dv := (b.u-a.u)/long, (b.v-a.v)/long
		x0, x1 := max(0, int((math.Min(a.u, b.u)-half)/w.dg)+w.ng), min(2*w.ng-1, int((math.Max(a.u, b.u)+half)/w.dg)+w.ng)
		y0, y1 := max(0, int((math.Min(a.v, b.v)-half)/w.dv)), min(w.h-1, int((math.Max(a.v, b.v)+half)/w.dv))
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				i := y*2*w.ng + x
				eu, ev := (float64(x-w.ng)+0.5)*w.dg-a.u, (float64(y)+0.5)*w.dv-a.v
				t, c := eu*du+ev*dv, (ev*du-eu*dv)/half
				if t < -half || t > long+half || c < -1 || c > 1 || done[i] {
					continue
				}
				if high, refl, ok := f(c, s+t, x, y); ok {
					w.put(i, high, refl, id)
					done[i] = true
				}
			}
		}
		s += long
	}
}

// wander is a path that starts somewhere and turns as it goes.
func (w *world) wander(u, v, dir, long, turn float64) []point {
	step := math.Max(long/60, 2*w.dg)
	path := []point{{u, v}}
	bend := 0.0
	for s := 0.0; s < long; s += step {
		bend = 0.8*bend + turn*w.NormFloat64()
		dir += bend
		u, v = u+math.Cos(dir)*step, v+math.Sin(dir)*step
		path = append(path, point{u, v})
	}
	return path
}
