package placeworld

import "math"

// furnish picks a place and puts into it what belongs there, then what fools a reader in any place.
func (w *world) furnish() {
	places := []func(*world){
		floodedTimber, stumpField, oldRoad, foundations, riverBend, damRiprap, bridge, marina, dump, fishHouses, weedLanes, dropOff,
		sandFlat, mudFlat, ledges, musselBed, springs, baitWater, spawningBeds, cableField, giant, specks, fishOnly,
	}
	places[w.IntN(len(places))](w)
	if w.chance(0.12) {
		places[w.IntN(len(places))](w)
	}
	w.foolers()
	if n := w.between(-2, 6); n > 0 && w.chance(0.7) {
		for range n {
			u, v := w.spot()
			w.fish(u, v, 0.55)
		}
	}
	if w.chance(0.4) {
		w.rocksAnywhere(w.between(1, 4))
	}
	if w.chance(0.25) {
		for range w.between(1, 4) {
			u, v := w.spot()
			w.post(u, v, w.size(0.1, 1), w.depthM*w.uni(0.3, 0.7), "pile")
		}
	}
}

// foolers are found anywhere and are no marks.
func (w *world) foolers() {
	chances := []struct {
		p    float64
		draw func()
	}{
		{0.4, func() { w.patches(w.between(1, 14)) }},
		{0.3, func() { w.pits(w.between(1, 9)) }},
		{0.3, func() { w.scars(w.between(1, 5)) }},
		{0.25, w.ripples},
		{0.3, w.gravel},
		{0.2, func() { w.weed(w.uni(0, 0.9)) }},
		{0.12, func() { w.ledge(w.logUni(0.1, 0.25)*w.depthM, w.uni(2, 40)) }},
	}
	for _, c := range chances {
		if w.chance(c.p) {
			c.draw()
		}
	}
}

func floodedTimber(w *world) {
	for range w.between(1, 7) {
		u, v := w.spot()
		w.post(u, v, w.logUni(0.1, 0.4), w.logUni(0.8, 8), "standing-tree")
	}
	flow := w.uni(0, math.Pi)
	for range w.between(1, 8) {
		u, v := w.spot()
		kind := "timber"
		if w.chance(0.4) {
			kind = "tree"
		}
		w.timber(u, v, w.size(0.8, 6), flow+w.NormFloat64()*w.uni(0.1, 1), kind)
	}
	if w.chance(0.6) {
		u, v := w.spot()
		w.fish(u, v, 0.7)
	}
}

func stumpField(w *world) {
	// stumps of a felled wood keep the spacing of the trees
	step := w.logUni(0.06, 0.25) * w.rangeM
	r := w.size(0.15, 0.6)
	high := w.logUni(0.15, 1.2)
	u0, v0 := w.spot()
	for range w.between(4, 13) {
		u, v := u0+step*2*w.NormFloat64(), v0+step*2*w.NormFloat64()
		w.post(u, v, r*w.logUni(0.6, 1.6), high*w.logUni(0.5, 2), "stump")
	}
	w.weed(w.uni(0.3, 1))
}

func oldRoad(w *world) {
	dir := w.uni(0.3, 2.8)
	u, v := w.spot()
	long := 3 * w.rangeM
	width := w.logUni(2, 8)
	start := point{u - long/2*math.Cos(dir), v - long/2*math.Sin(dir)}
	road := w.wander(start.u, start.v, dir, long, 0.03)
	high := w.uni(0.1, 0.5)
	w.groove(road, width, high, w.uni(0.6, 2))
	for _, side := range []float64{-1, 1} {
		ditch := make([]point, len(road))
		for i, p := range road {
			ditch[i] = point{p.u - side*math.Sin(dir)*width*0.8, p.v + side*math.Cos(dir)*width*0.8}
		}
		w.groove(ditch, width*0.4, -high*1.5, 0.7)
		if side > 0 || w.chance(0.3) {
			step := w.between(2, 6)
			for i := 0; i < len(ditch); i += step {
				if w.chance(0.55) && w.within(ditch[i]) {
					w.post(ditch[i].u, ditch[i].v, 0.12, w.logUni(0.3, 1.6), "fence-post")
				}
			}
		}
	}
	mid := road[len(road)/2]
	w.hollow(mid.u, mid.v, w.logUni(0.5, 2), w.logUni(0.4, 1), dir+math.Pi/2, "frame", "culvert")
}

func (w *world) within(p point) bool {
	return p.v > 0 && p.v < w.lengthM() && math.Abs(p.u) < 0.95*w.rangeM && math.Abs(p.u) > 0.2*w.depthM
}

func foundations(w *world) {
	dir := w.uni(0, math.Pi)
	for range w.between(1, 3) {
		u, v := w.spot()
		a, b := w.logUni(1, 7), w.logUni(1, 5)
		if w.chance(0.4) {
			sin, cos := math.Sincos(dir)
			corner := func(p, q float64) point { return point{u + p*cos - q*sin, v + p*sin + q*cos} }
			path := []point{corner(-a, -b), corner(a, -b), corner(a, b), corner(-a, b)}
			w.wall(path[:w.between(2, 4)], w.logUni(0.3, 0.8), w.logUni(0.2, 2.5), "wall")
			continue
		}
		w.hollow(u, v, a, b, dir, "frame", "foundation")
		w.rocks(w.between(0, 4), u, v, a, 0.1, 0.5)
	}
	w.line(-w.rangeM, w.uni(0, 1)*w.lengthM(), w.uni(-0.5, 0.5), 2*w.rangeM, "cable")
}

func riverBend(w *world) {
	w.ledge(w.uni(0.15, 0.7)*w.depthM, w.uni(4, 60))
	if w.chance(0.7) {
		w.gravel()
	}
	if w.chance(0.7) {
		w.ripples()
	}
	u, v := w.spot()
	flow := math.Pi/2 + w.NormFloat64()*0.3
	for range w.between(0, 7) {
		w.timber(u+w.NormFloat64()*2, v+w.NormFloat64()*2, w.size(0.5, 4), flow+w.NormFloat64()*0.6, "timber")
	}
	for range w.between(0, 4) {
		su, sv := w.spot()
		w.rock(su, sv, w.size(0.2, 1.5))
	}
}

func damRiprap(w *world) {
	u, v := w.spot()
	stone := math.Max(w.logUni(0.2, 0.9), 1.1*w.dg)
	w.ledge(w.uni(0.2, 0.6)*w.depthM, w.uni(1, 8))
	w.rubble(u, v, w.logUni(0.15, 0.8)*w.lengthM()/2, w.logUni(0.06, 0.25)*w.rangeM, math.Pi/2+w.NormFloat64()*0.1, stone)
	w.rocks(w.between(0, 4), u, v, 0.2*w.rangeM, 0.2, 0.8)
	if w.chance(0.4) {
		w.hollow(u*0.7, v, w.logUni(0.6, 2), w.logUni(0.5, 1.5), w.uni(0, 3), "frame", "intake")
	}
}

func bridge(w *world) {
	u0, v0 := w.spot()
	dir := w.uni(-0.25, 0.25)
	step := w.logUni(0.2, 0.7) * w.rangeM
	a, b, high := math.Min(w.logUni(0.8, 4), 0.08*w.rangeM), math.Min(w.logUni(0.5, 2), 0.06*w.rangeM), w.logUni(2, 12)
	for k := -3; k <= 3; k++ {
		p := point{u0 + float64(k)*step*math.Cos(dir), v0 + float64(k)*step*math.Sin(dir)}
		if !w.within(p) {
			continue
		}
		deep := w.uni(0.2, 1.2)
		w.stamp(p.u, p.v, 3*a, 2.2*b, math.Pi/2, func(x, y float64, _, _ int) (float64, float64, bool) {
			d := x*x + y*y
			return -deep * math.Max(0, 1-d), 1.1, d < 1
		}, 0)
		w.block(p.u, p.v, a, b, high, math.Pi/2+dir, "pillar")
	}
	w.rocks(w.between(0, 5), u0, v0, step, 0.2, 1)
	for range w.between(0, 3) {
		w.timber(u0+w.NormFloat64()*2, v0+w.NormFloat64()*3, w.size(0.5, 3), w.uni(0, 3), "timber")
	}
}

func marina(w *world) {
	if w.chance(0.5) {
		side := w.sign()
		x := side * w.uni(0.4, 0.95) * w.rangeM
		lean := w.uni(-0.15, 0.15) * w.lengthM()
		from := w.uni(-0.2, 0.5) * w.lengthM()
		w.wall([]point{{x - lean, from}, {x + lean, from + w.uni(0.4, 1.1)*w.lengthM()}}, w.logUni(0.4, 1.5), w.logUni(2, 9), "quay-wall")
	}
	u, v := w.spot()
	dir := w.uni(0, math.Pi)
	step := w.logUni(0.05, 0.2) * w.rangeM
	for k := range w.between(2, 8) {
		p := point{u + float64(k)*step*math.Cos(dir), v + float64(k)*step*math.Sin(dir)}
		if w.within(p) {
			w.post(p.u, p.v, w.logUni(0.1, 0.35), w.logUni(1.5, 8), "pile")
		}
	}
	for range w.between(0, 3) {
		bu, bv := w.spot()
		a := w.size(0.3, 1.2)
		w.block(bu, bv, a, a*w.uni(0.6, 1), a*w.uni(0.5, 1.2), w.uni(0, 3), "mooring-block")
		if w.chance(0.7) {
			w.line(bu, bv, w.uni(0, 6), w.logUni(0.1, 0.5)*w.rangeM, "chain")
		}
	}
	w.tyres(w.between(0, 4))
}

func (w *world) tyres(n int) {
	for range n {
		u, v := w.spot()
		r := math.Max(w.logUni(0.3, 0.9), 1.8*w.dg)
		w.hollow(u, v, r, r*w.uni(0.75, 1), w.uni(0, 3), "ring", "tyre")
	}
}

func dump(w *world) {
	u, v := w.spot()
	for range w.between(1, 3) {
		w.hollow(u+w.NormFloat64()*3, v+w.NormFloat64()*3, w.logUni(1, 3.5), w.logUni(0.5, 1.2), w.uni(0, 3), "hull", "rowing-boat")
		u, v = w.spot()
	}
	if w.chance(0.5) {
		w.block(u, v, w.uni(1.6, 2.4), w.uni(0.7, 1), w.uni(0.9, 1.6), w.uni(0, 3), "car")
	}
	if w.chance(0.5) {
		hu, hv := w.spot()
		for range w.between(3, 8) {
			r := math.Max(w.logUni(0.3, 0.5), 1.5*w.dg)
			w.hollow(hu+w.NormFloat64()*5*r, hv+w.NormFloat64()*5*r, r, r, 0, "ring", "tyre")
		}
	}
	for range w.between(0, 3) {
		lu, lv := w.spot()
		w.hollow(lu, lv, w.logUni(1, 4), math.Max(0.25, 1.5*w.dg), w.uni(0, 3), "ladder", "ladder")
	}
	for range w.between(0, 3) {
		pu, pv := w.spot()
		w.line(pu, pv, w.uni(0, 6), w.logUni(0.1, 0.8)*w.rangeM, "pipe")
	}
}

func fishHouses(w *world) {
	for range w.between(1, 5) {
		u, v := w.spot()
		switch w.IntN(3) {
		case 0:
			a := math.Max(w.logUni(0.4, 1.5), 2*w.dg)
			w.hollow(u, v, a, a*w.uni(0.5, 1), w.uni(0, 3), "frame", "crate")
		case 1:
			w.brush(u, v, w.size(0.5, 2.5), "brush-pile")
		default:
			for range w.between(2, 4) {
				w.timber(u+w.NormFloat64(), v+w.NormFloat64(), w.size(0.6, 2), w.uni(0, 3), "timber")
			}
		}
		for range w.between(0, 3) {
			w.fish(u+w.NormFloat64()*8*w.dg, v+w.NormFloat64()*8*w.dv, 0.5)
		}
	}
}

func weedLanes(w *world) {
	w.weed(w.uni(-0.6, 0.3))
	for range w.between(1, 3) {
		u, v := w.spot()
		path := w.wander(u, v-w.rangeM, math.Pi/2, 2*w.rangeM, 0.08)
		w.along(path, w.logUni(4, 20)*w.dg, func(_, _ float64, x, y int) (float64, float64, bool) {
			i := y*2*w.ng + x
			if w.soft[i] {
				w.z[i] -= float32(0.8 * w.dg)
			}
			return 0, 0.6, true
		}, 0)
		for range w.between(0, 3) {
			p := path[w.IntN(len(path))]
			if w.within(p) {
				w.fish(p.u, p.v, 0.6)
			}
		}
	}
	w.rocksAnywhere(w.between(0, 3))
}

func (w *world) rocksAnywhere(n int) {
	for range n {
		u, v := w.spot()
		w.rock(u, v, w.size(0.15, 1.2))
	}
}

func dropOff(w *world) {
	w.ledge(w.sign()*w.uni(0.15, 0.6)*w.depthM, w.uni(4, 50))
	u, v := w.spot()
	w.rocks(w.between(2, 9), u, v, w.logUni(0.05, 0.3)*w.rangeM, 0.2, 2)
	// fish keep in a line along the edge
	x := w.sign() * w.uni(0.3, 0.8) * w.rangeM
	lean := w.uni(-0.4, 0.4)
	at := w.uni(0, 0.8) * w.lengthM()
	for range w.between(0, 7) {
		w.fish(x+lean*(at-w.lengthM()/2)+w.NormFloat64()*3*w.dg, at, 0.6)
		at += w.logUni(5, 50) * w.dv
	}
}

func sandFlat(w *world) {
	w.ripples()
	if w.chance(0.5) {
		w.ripples()
	}
	w.rocksAnywhere(w.between(0, 2))
	if w.chance(0.5) {
		u, v := w.spot()
		w.fish(u, v, 0.8)
	}
}

func mudFlat(w *world) {
	w.pits(w.between(3, 25))
	w.scars(w.between(1, 8))
	for range w.between(0, 3) {
		u, v := w.spot()
		a := w.size(0.2, 1)
		w.block(u, v, a, a*w.uni(0.4, 1), a*w.uni(0.5, 1.3), w.uni(0, 3), "box")
	}
	if w.chance(0.3) {
		u, v := w.spot()
		w.line(u, v, w.uni(0, 6), w.logUni(0.3, 1.2)*w.rangeM, "rope")
	}
}

func ledges(w *world) {
	for range w.between(1, 4) {
		w.ledge(w.sign()*w.logUni(0.03, 0.3)*w.depthM, w.uni(5, 60))
	}
	w.rocksAnywhere(w.between(1, 8))
}

func musselBed(w *world) {
	w.gravel()
	w.patches(w.between(5, 20))
	w.gravel()
	w.rocksAnywhere(w.between(0, 4))
	w.tyres(w.between(0, 2))
}

func springs(w *world) {
	w.pits(w.between(2, 8))
	for range w.between(1, 5) {
		u, v := w.spot()
		// bubbles stand in a string from the bottom up, without a shadow and unlabelled
		for k := range w.between(4, 14) {
			w.swimmers = append(w.swimmers, swimmer{
				port: u < 0, g: math.Abs(u) + w.NormFloat64()*w.dg, v: v + w.NormFloat64()*w.dv, off: float64(k) * w.depthM * 0.06, body: 0.02,
				half: w.dv, thick: w.dg, level: w.logUni(0.3, 2), through: 1,
			})
		}
	}
	w.rocksAnywhere(w.between(0, 3))
}

func baitWater(w *world) {
	for range w.between(1, 3) {
		u, v := w.spot()
		w.school(u, v, "school")
		for range w.between(0, 4) {
			w.fish(u+w.NormFloat64()*20*w.dg, v+w.NormFloat64()*15*w.dv, 0.2)
		}
	}
}

func spawningBeds(w *world) {
	u0, v0 := w.spot()
	r := math.Max(w.logUni(0.3, 0.8), 2*w.dg)
	for range w.between(3, 14) {
		u, v := u0+w.NormFloat64()*6*r, v0+w.NormFloat64()*6*r
		rim, bright := w.uni(0.05, 0.25), w.uni(1.2, 3)
		w.stamp(u, v, r*w.uni(0.7, 1.3), r*w.uni(0.7, 1.3), 0, func(p, q float64, _, _ int) (float64, float64, bool) {
			d := math.Hypot(p, q)
			if d > 1 {
				return 0, 1, false
			}
			return r * (rim*math.Exp(-20*(d-0.8)*(d-0.8)) - 0.2*(1-d)), 0.5 + (bright-0.5)*d*d, true
		}, 0)
		if w.chance(0.4) {
			w.fish(u, v, 0.95)
		}
	}
}

func cableField(w *world) {
	kinds := []string{"cable", "chain", "pipe", "rope", "net"}
	dir := w.uni(0, math.Pi)
	for range w.between(1, 5) {
		u, v := w.spot()
		w.line(u, v, dir+w.NormFloat64()*0.4, w.logUni(0.1, 1.5)*w.rangeM, kinds[w.IntN(len(kinds))])
	}
	for range w.between(0, 3) {
		u, v := w.spot()
		// an anchor line rises from its block through the water
		a := w.size(0.2, 0.8)
		w.block(u, v, a, a, a, 0, "anchor")
		if !w.empty && w.chance(0.6) {
			w.anchorLine(u, v)
		}
	}
}

func (w *world) anchorLine(u, v float64) {
	id := w.newThing(thing{class: "suspended-target", kind: "anchor-line", heightM: 0.5 * w.depthM, offBottomM: 0.1 * w.depthM})
	drift, level := w.uni(-0.6, 0.6), w.logUni(1, 5)
	for k := range 24 {
		up := 0.1 + 0.5*float64(k)/24
		w.swimmers = append(w.swimmers, swimmer{
			id: id, port: u < 0, g: math.Abs(u) + drift*up*w.depthM, v: v + up*w.depthM*w.uni(0.3, 0.4), off: up * w.depthM, body: 0.05,
			half: 1.1 * w.dv, thick: w.dg, level: level, through: 0.5,
		})
	}
}

func giant(w *world) {
	u, v := w.spot()
	switch w.IntN(4) {
	case 0:
		w.hollow(u, v, w.uni(0.15, 0.6)*w.rangeM, w.uni(0.06, 0.2)*w.rangeM, w.uni(0, 3), "hull", "wreck")
	case 1:
		far := w.sign()
		w.wall([]point{{far * 0.15 * w.depthM, v}, {far * w.rangeM, v + w.uni(-0.3, 0.3)*w.rangeM}}, w.logUni(0.5, 3), w.logUni(1, 5), "dam-wall")
	case 2:
		w.line(-w.rangeM, v, w.uni(-0.3, 0.3), 2*w.rangeM, "pipe")
	default:
		a := w.uni(0.1, 0.3) * w.rangeM
		w.block(u, v, a, a*w.uni(0.3, 0.8), w.logUni(1, 6), w.uni(0, 3), "barge")
	}
	w.rocks(w.between(0, 6), u, v, 0.3*w.rangeM, 0.2, 1.5)
	w.tyres(w.between(0, 2))
}

func specks(w *world) {
	for range w.between(3, 14) {
		u, v := w.spot()
		if w.chance(0.4) {
			w.fish(u, v, 0.7)
			continue
		}
		w.rock(u, v, w.uni(1, 2.5)*w.dg)
	}
}

func fishOnly(w *world) {
	for range w.between(2, 12) {
		u, v := w.spot()
		w.fish(u, v, 0.55)
	}
	if w.chance(0.3) {
		u, v := w.spot()
		w.school(u, v, "school")
	}
}
