package groundworld

import "math"

// recipe tells how a kind of thing is made. Lengths lo to hi are metres of its longest side.
type recipe struct {
	kind   string
	weight float64
	lo, hi float64
	where  where
	form   func(d dice, l, fine float64) body
}

type where int

// Where on the swath a kind is put.
const (
	anywhere where = iota
	farOut
	closeIn
	outerEdge
	overBottom // it hangs
)

var recipes = []recipe{
	{"rock", 3, 0.3, 4, anywhere, rockForm},
	{"timber", 3, 1.5, 15, anywhere, logForm},
	{"pole", 1.5, 2, 14, anywhere, poleForm},
	{"pipe", 1.5, 4, 400, anywhere, pipeForm},
	{"cable", 1.5, 5, 120, anywhere, cableForm},
	{"chain", 1, 3, 40, anywhere, chainForm},
	{"ladder", 1, 2, 8, anywhere, ladderForm},
	{"net", 1, 1.5, 14, anywhere, netForm},
	{"tyre", 2, 0.6, 2.2, anywhere, tyreForm},
	{"ring", 0.7, 0.8, 5, anywhere, ringForm},
	{"frame", 1, 1, 8, anywhere, frameForm},
	{"cage", 1, 1, 7, anywhere, cageForm},
	{"crate", 1, 0.5, 3, anywhere, crateForm},
	{"barrel", 1.5, 0.7, 1.6, anywhere, barrelForm},
	{"boat", 2.5, 2.5, 26, anywhere, boatForm},
	{"wreck", 1.2, 6, 60, anywhere, wreckForm},
	{"car", 1.2, 3, 8, anywhere, carForm},
	{"anchor", 0.5, 0.8, 3, anywhere, anchorForm},
	{"clump", 3, 1, 12, farOut, clumpForm},
	{"plate", 2.5, 0.6, 6, closeIn, plateForm},
	{"faint", 2, 0.8, 8, farOut, faintForm},
	{"mound", 2, 4, 60, anywhere, moundForm},
	{"pile", 1.5, 0.3, 1, anywhere, pileForm},
	{"pier", 0.8, 5, 40, anywhere, nil},
	{"quay", 0.6, 10, 60, outerEdge, quayForm},
	{"footing", 0.6, 2, 14, anywhere, footingForm},
	{"fish", 4, 0.25, 1.4, overBottom, nil},
	{"school", 2, 0.15, 0.6, overBottom, nil},
	{"float", 0.5, 0.3, 1.2, overBottom, nil},
}

func recipeOf(kind string) *recipe {
	for i := range recipes {
		if recipes[i].kind == kind {
			return &recipes[i]
		}
	}
	return nil
}

func rockForm(d dice, l, _ float64) body {
	wide := l * d.in(0.5, 1)
	high := wide * d.in(0.25, 0.8)
	return body{top: lump(d, l, wide, high, d.scale(0.9, 3.5)), reach: 0.75 * l, high: high}
}

// logForm is a trunk, perhaps bent, with branches and a root plate.
func logForm(d dice, l, fine float64) body {
	r := l * d.scale(0.012, 0.04)
	bend, sunk := l*d.in(-0.06, 0.06), r*d.in(0, 1.2)
	list := []stroke{{u0: -l / 2, u1: 0, v1: bend, r0: r * 1.1, r1: r, low: sunk}, {v0: bend, u1: l / 2, r0: r, r1: 0.6 * r, low: sunk}}
	if d.may(0.6) {
		for range d.upTo(1, 7) {
			u, out := l*d.in(-0.2, 0.5), l*d.in(0.05, 0.25)
			turn := d.in(0.4, 1.2) * float64(1-2*d.IntN(2))
			list = append(list, stroke{u0: u, v0: bend * (1 - 2*math.Abs(u)/l), u1: u + out*math.Cos(turn), v1: out * math.Sin(turn),
				r0: 0.4 * r, r1: 0.15 * r, lift: out * d.in(0, 0.5)})
		}
	}
	high := 2 * r
	top := strokes(list, fine, d.scale(1.1, 3.5))
	if d.may(0.4) {
		plate := r * d.in(2, 4.5)
		high = 1.6 * plate
		top = join(top, set(lump(d, plate*0.9, 2*plate, high, d.scale(1, 3)), -l/2, 0, 0))
	}
	return body{top: top, reach: 0.62 * l, high: high}
}

func poleForm(d dice, l, fine float64) body {
	r := d.in(0.04, 0.12)
	top := strokes([]stroke{{u0: -l / 2, u1: l / 2, r0: r, r1: 0.7 * r, low: r * d.in(0, 1), lift: l * d.in(0, 0.1)}}, fine, d.scale(1.2, 4))
	return body{top: top, reach: l/2 + 1, high: 2 * r}
}

// pipeForm is straight and of any length, and lies under the sediment here and there.
func pipeForm(d dice, l, fine float64) body {
	r := min(d.scale(0.08, 0.7), l/12)
	cover := d.in(-1.5, 0.9)
	k, p := d.scale(3, 12)/l, d.in(0, 6)
	bar := strokes([]stroke{{u0: -l / 2, u1: l / 2, r0: r, r1: r, low: r * d.in(0, 1)}}, fine, d.scale(1.2, 4))
	return body{reach: l/2 + 1, high: 2 * r, drape: true, top: func(u, v float64) (float64, float64, bool) {
		z, refl, there := bar(u, v)
		z -= max(0, cover+math.Sin(k*u*4+p)+0.5*math.Sin(k*u*11+2*p)) * 2 * r
		return z, refl, there && z > 0
	}}
}

// wander is a curved row of points over l metres.
func wander(d dice, l float64, curl float64) []stroke {
	n := d.upTo(20, 60)
	list := make([]stroke, 0, n)
	u, v, heading, turn := -l/2, 0.0, 0.0, 0.0
	step := l / float64(n)
	for range n {
		turn = 0.8*turn + curl*d.NormFloat64()
		heading = 0.97*heading + turn
		u1, v1 := u+step*math.Cos(heading), v+step*math.Sin(heading)
		list = append(list, stroke{u0: u, v0: v, u1: u1, v1: v1})
		u, v = u1, v1
	}
	return list
}

// cableForm is thin, curved and broken by burial.
func cableForm(d dice, l, fine float64) body {
	r, refl := d.scale(0.02, 0.12), d.scale(1.5, 5)
	var shown []stroke
	bury := d.in(0, 0.12)
	out := true
	for _, s := range wander(d, l, d.scale(0.01, 0.12)) {
		if d.may(bury) {
			out = !out
		}
		if out {
			s.r0, s.r1 = r, r
			shown = append(shown, s)
		}
	}
	return body{top: strokes(shown, 0.8*fine, refl), reach: l, high: 2 * r, drape: true}
}

// chainForm is a row of links.
func chainForm(d dice, l, fine float64) body {
	r, refl := d.scale(0.05, 0.2), d.scale(2, 6)
	list := wander(d, l, d.scale(0.03, 0.2))
	for i := range list {
		list[i].r0, list[i].r1 = r*d.in(0.3, 1.2), r*d.in(0.3, 1.2)
		list[i].u1 -= 0.35 * (list[i].u1 - list[i].u0)
		list[i].v1 -= 0.35 * (list[i].v1 - list[i].v0)
	}
	return body{top: strokes(list, 0.8*fine, refl), reach: l, high: 2 * r, drape: true}
}

func ladderForm(d dice, l, fine float64) body {
	wide, r := l*d.in(0.1, 0.2), d.in(0.03, 0.07)
	list := []stroke{{u0: -l / 2, u1: l / 2, v0: wide / 2, v1: wide / 2, r0: r, r1: r},
		{u0: -l / 2, u1: l / 2, v0: -wide / 2, v1: -wide / 2, r0: r, r1: r}}
	for n, i := d.upTo(5, 14), 0; i < n; i++ {
		u := l * ((float64(i)+0.5)/float64(n) - 0.5)
		list = append(list, stroke{u0: u, u1: u, v0: -wide / 2, v1: wide / 2, r0: r, r1: r})
	}
	return body{top: strokes(list, 0.7*fine, d.scale(1.5, 5)), reach: 0.6 * l, high: 2 * r}
}

// netForm is a heap of folds with ropes out of it.
func netForm(d dice, l, fine float64) body {
	high := l * d.in(0.02, 0.15)
	top := rags(d, 0.35*l, high, d.scale(1, 3.5), d.in(-0.1, 0.5))
	ropes := wander(d, l, 0.2)
	for i := range ropes {
		ropes[i].r0, ropes[i].r1 = 0.03, 0.03
	}
	return body{top: join(top, strokes(ropes, 0.8*fine, 1.8)), reach: 0.8 * l, high: high, drape: true}
}

func anchorForm(d dice, l, fine float64) body {
	r := l * d.in(0.03, 0.06)
	arm := l * d.in(0.25, 0.4)
	return body{reach: 0.8 * l, high: arm * 0.8, top: strokes([]stroke{
		{u0: -l / 2, u1: l / 2, r0: r, r1: r},
		{u0: l / 2, u1: l/2 - arm*0.6, v1: arm, r0: r, r1: 0.7 * r, lift: 0.4 * arm},
		{u0: l / 2, u1: l/2 - arm*0.6, v1: -arm, r0: r, r1: 0.7 * r},
		{u0: -l / 2, u1: -l / 2, v0: -arm * 0.7, v1: arm * 0.7, r0: 0.6 * r, r1: 0.6 * r, lift: 0.3 * arm}}, fine, d.scale(2, 6))}
}

func clumpForm(d dice, l, _ float64) body {
	high := l * d.in(0.003, 0.03)
	return body{top: rags(d, l/2, high, d.scale(2.5, 9), d.in(-0.6, 0.3)), reach: l, high: high, drape: true}
}

func plateForm(d dice, l, _ float64) body {
	high := l * d.in(0.01, 0.15)
	return body{top: box(l, l*d.in(0.4, 1), high, d.scale(1.8, 5)), reach: l, high: high}
}

func faintForm(d dice, l, fine float64) body {
	b := []func(dice, float64, float64) body{rockForm, poleForm, crateForm, clumpForm}[d.IntN(4)](d, l, fine)
	top, dim := b.top, d.in(0.2, 0.5)
	b.top = func(u, v float64) (float64, float64, bool) {
		z, refl, there := top(u, v)
		return z, refl * dim, there
	}
	return b
}

// moundForm may be of the bottom's own stuff, or of rubble.
func moundForm(d dice, l, _ float64) body {
	high := min(4, l*d.in(0.04, 0.16))
	return body{top: mound(d, l, l*d.in(0.35, 0.9), high, d.scale(0.8, 1.8)), reach: l, high: high, drape: true, raised: high > 1}
}
