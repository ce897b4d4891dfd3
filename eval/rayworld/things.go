package rayworld

import (
	"math"

	"shadowgap/detect"
)

// populate puts the labelled things down: none in a sixth of the scenes; in some more none can be seen, so that a fifth comes out empty.
func (sc *scene) populate() {
	d := sc.d
	if d.chance(0.17) {
		return
	}
	n := d.intIn(4, 19)
	if d.chance(0.4) {
		n = d.intIn(1, 8)
	}
	for range n {
		switch u := d.Float64(); {
		case u < 0.42:
			sc.fish()
		case u < 0.54:
			sc.structure()
		default:
			sc.object()
		}
	}
	if d.chance(0.12) {
		sc.rockField()
	}
}

// claim reserves pings and slant bins for a thing and its shadow, or says they are taken.
func (sc *scene) claim(s spot) bool {
	if s.p0 < 0 || s.p1 > float64(sc.pings) || s.b1 > float64(sc.bins)*1.6 || s.b0 > float64(sc.bins)*0.985 {
		return false
	}
	for _, o := range sc.taken {
		if s.meets(o) {
			return false
		}
	}
	sc.taken = append(sc.taken, s)
	return true
}

func (sc *scene) add(t thing) int16 {
	sc.things = append(sc.things, t)
	return int16(len(sc.things))
}

// place is where a thing is set down: side, metres along and across, ping, and the bottom's height and the altitude over it there.
type place struct {
	side             int
	x, y, bottom, up float64
}

func (pl place) slant() float64 { return math.Hypot(pl.y, pl.up) }

func (sc *scene) somewhere() place {
	d := sc.d
	side := d.IntN(2)
	p := d.IntN(sc.pings)
	near := math.Max(0.02*sc.rangeM, 0.12*sc.depthM)
	far := math.Sqrt(max(sc.rangeM*sc.rangeM-sc.depthM*sc.depthM, near*near*4)) * 0.97
	y := d.in(near, far)
	if d.chance(0.3) {
		y = d.logIn(near, far)
	}
	k := min(int(y/sc.cellM), sc.cells-2)
	b := float64(sc.sides[side].base[p*sc.cells+k])
	return place{side: side, x: float64(p) * sc.pingM, y: y, bottom: b, up: max(sc.altitude[p]-b, 0.2*sc.depthM)}
}

// shadowHeight is the height of a thing at the place whose shadow is m metres of slant range long.
func (pl place) shadowHeight(m float64) float64 { return pl.up * m / (pl.slant() + m) }

// object lays one thing on the bottom.
func (sc *scene) object() {
	d := sc.d
	for range 25 {
		pl := sc.somewhere()
		size := d.logIn(3, 22)
		if d.chance(0.08) {
			size = d.logIn(20, 50)
		}
		sizeM := max(size*sc.binM, 2.5*sc.pingM)
		h := min(pl.shadowHeight(sc.binM*d.logIn(3, 45)), sizeM*d.in(0.3, 1.6), 0.55*pl.up)
		h = max(h, sizeM*0.12)
		if h > 0.7*pl.up {
			continue
		}
		shadow := pl.slant() * h / (pl.up - h) / sc.binM
		at := pl.slant() / sc.binM
		half := 0.8 * sizeM / sc.pingM
		if !sc.claim(spot{pl.side, pl.x/sc.pingM - half - 3, pl.x/sc.pingM + half + 3,
			at - size*0.6 - 3 - h*pl.up/pl.slant()/sc.binM, at + size*0.6 + shadow + 4}) {
			continue
		}
		kinds := []string{"rock", "rock", "rock", "timber", "timber", "tree", "tyre", "crate", "pipe", "debris"}
		kind := kinds[d.IntN(len(kinds))]
		id := sc.add(thing{class: detect.BottomObject, kind: kind, side: pl.side, heightM: h})
		strength := d.logIn(1.2, 16)
		switch kind {
		case "rock":
			sc.boulder(pl, id, sizeM/2, h, strength)
		case "timber", "pipe":
			sc.pole(pl, id, sizeM, h, strength, kind == "pipe")
		case "tree":
			sc.tree(pl, id, sizeM, h, strength)
		case "tyre":
			sc.tyre(pl, id, sizeM/2, h, strength)
		case "crate":
			sc.crate(pl, id, sizeM/2, sizeM/2*d.in(0.3, 1), h, strength)
		case "debris":
			for range d.intIn(3, 7) {
				q := pl
				q.x += sizeM * d.in(-0.4, 0.4)
				q.y += sizeM * d.in(-0.4, 0.4)
				if d.chance(0.5) {
					sc.crate(q, id, sizeM*d.in(0.05, 0.25), sizeM*d.in(0.05, 0.2), h*d.in(0.3, 1), strength)
				} else {
					sc.boulder(q, id, sizeM*d.in(0.08, 0.22), h*d.in(0.3, 1), strength)
				}
			}
		}
		if d.chance(0.2) {
			sc.scour(pl, sizeM)
		}
		return
	}
}

// raise lifts the cell at to top metres over the bare bottom for thing id, with the echo strength times mult.
func (sw *swath) raise(at int, top, mult float64, id int16) {
	z := sw.base[at] + float32(top)
	if top < 0.01 || z <= sw.height[at] {
		return
	}
	sw.height[at], sw.owner[at] = z, id
	sw.echo[at] = sw.sand[at]*0.3 + float32(mult)
}

// boulder is an ellipsoid whose outline and top noise deforms.
func (sc *scene) boulder(pl place, id int16, r, h, strength float64) {
	d := sc.d
	sw := sc.sides[pl.side]
	var amp, ph [5]float64
	ragged := d.in(0, 0.5)
	for i := range amp {
		amp[i], ph[i] = d.NormFloat64()*ragged/float64(i+1), d.in(0, 6.3)
	}
	long, turn := d.logIn(0.5, 1), d.in(0, 3.2)
	ct, st := math.Cos(turn), math.Sin(turn)
	flat, rough := d.in(0.3, 1), d.in(0, 0.35)
	sc.stamp(pl.x, pl.y, r*1.8, r*1.8, func(_, _, at int, dx, dy float64) {
		u, v := (dx*ct+dy*st)/r, (dy*ct-dx*st)/(r*long)
		t := math.Atan2(v, u)
		edge := 1.0
		for i := range amp {
			edge += amp[i] * math.Sin(float64(i+1)*t+ph[i])
		}
		q := (u*u + v*v) / (edge * edge)
		if q < 1 {
			sw.raise(at, h*math.Pow(1-q, 0.5*flat)*(1-rough*d.Float64()), strength*d.in(0.4, 1.6), id)
		}
	})
}

// pole is a log or a pipe: a half-buried cylinder, logs with a taper, a bend and stubs.
func (sc *scene) pole(pl place, id int16, length, h, strength float64, pipe bool) {
	d := sc.d
	sw := sc.sides[pl.side]
	turn := d.in(0, math.Pi)
	ct, st := math.Cos(turn), math.Sin(turn)
	r := max(min(length*d.in(0.04, 0.18), h), 0.6*sc.cellM)
	bend, taper, lift := d.in(-0.15, 0.15)*length, d.in(0, 0.6), d.in(0.5, 1)
	if pipe {
		bend, taper, lift = 0, 0, 1
	}
	wide := max(r, 0.5*sc.pingM*math.Abs(st)+0.4*sc.cellM)
	sc.stamp(pl.x, pl.y, length*0.6+wide, length*0.6+wide, func(_, _, at int, dx, dy float64) {
		u := (dx*ct + dy*st) / length * 2
		if math.Abs(u) > 1 {
			return
		}
		v := dy*ct - dx*st - bend*(u*u-0.4)
		w := wide * (1 - taper*(u+1)/2)
		if q := v * v / (w * w); q < 1 {
			sw.raise(at, h*math.Sqrt(1-q*0.9)*(lift+(1-lift)*u*u)*(1-taper*(u+1)/3), strength*d.in(0.3, 1.7), id)
		}
	})
	for range d.IntN(4) {
		if pipe {
			break
		}
		u := d.in(-0.45, 0.45) * length
		sc.branch(pl, id, pl.x+u*ct, pl.y+u*st, h*0.6, turn+d.sign()*d.in(0.4, 1.4), d.in(0, 0.9), length*d.in(0.1, 0.35), r*0.4, strength*0.7)
	}
}

// branch is a stick in the water from (x, y) at height z over the bottom, by its direction, rise and length.
func (sc *scene) branch(pl place, id int16, x, y, z, dir, rise, length, thick, strength float64) {
	d := sc.d
	sw := sc.sides[pl.side]
	step := 0.7 * min(sc.pingM, sc.binM)
	n := min(int(length/step)+1, 200)
	opacity := d.in(0.4, 1)
	last := -1
	for i := range n {
		t := float64(i) * step
		px, py := x+t*math.Cos(dir)*math.Cos(rise), y+t*math.Sin(dir)*math.Cos(rise)
		if !sw.holds(sc, px, py) {
			return
		}
		p := int(px / sc.pingM)
		if p == last && math.Abs(math.Cos(dir)) > 0.5 {
			continue
		}
		last = p
		sw.pieces[p] = append(sw.pieces[p], piece{
			ground: float32(py), height: float32(pl.bottom + min(z+t*math.Sin(rise), 0.8*pl.up)), half: float32(max(thick, 0.01)),
			echo: float32(strength * d.in(0.1, 1.4)), spread: float32(d.in(0.5, 1)), opacity: float32(opacity), thing: id,
		})
	}
}

// tree is a fallen tree: a trunk that lies, and a crown of branches.
func (sc *scene) tree(pl place, id int16, size, h, strength float64) {
	d := sc.d
	sc.pole(pl, id, size, h*0.5, strength, false)
	turn := d.in(0, 2*math.Pi)
	for range d.intIn(4, 14) {
		dir := turn + d.in(-0.9, 0.9)
		x, y := pl.x+size*0.3*math.Cos(turn)*d.Float64(), pl.y+size*0.3*math.Sin(turn)*d.Float64()
		sc.branch(pl, id, x, y, h*d.in(0, 0.5), dir, d.in(-0.1, 1.2), size*d.in(0.2, 0.6), h*d.in(0.02, 0.12), strength*d.in(0.2, 1))
	}
}

func (sc *scene) tyre(pl place, id int16, r, h, strength float64) {
	d := sc.d
	sw := sc.sides[pl.side]
	hole := d.in(0.3, 0.55)
	squash := d.in(0.7, 1)
	sc.stamp(pl.x, pl.y, r*1.1, r*1.1, func(_, _, at int, dx, dy float64) {
		q := math.Hypot(dx/squash, dy) / r
		if q < hole || q > 1 {
			return
		}
		t := (q - (1+hole)/2) * 2 / (1 - hole)
		sw.raise(at, h*math.Sqrt(1-t*t*0.95), strength*d.in(0.4, 1.6), id)
	})
}

func (sc *scene) crate(pl place, id int16, a, b, h, strength float64) {
	d := sc.d
	sw := sc.sides[pl.side]
	turn := d.in(0, math.Pi)
	ct, st := math.Cos(turn), math.Sin(turn)
	b = max(b, 0.6*sc.cellM)
	tx, ty := d.in(-0.4, 0.4), d.in(-0.4, 0.4)
	sc.stamp(pl.x, pl.y, a+b, a+b, func(_, _, at int, dx, dy float64) {
		u, v := (dx*ct+dy*st)/a, (dy*ct-dx*st)/b
		if math.Abs(u) < 1 && math.Abs(v) < 1 {
			sw.raise(at, h*(1+tx*u+ty*v)/(1+math.Abs(tx)+math.Abs(ty)), strength*d.in(0.3, 1.5), id)
		}
	})
}

// scour digs a hollow around a thing's foot, in the bottom with the things only.
func (sc *scene) scour(pl place, size float64) {
	d := sc.d
	sw := sc.sides[pl.side]
	depth, ox := size*d.in(0.03, 0.15), size*d.in(-0.5, 0.5)
	sc.stamp(pl.x+ox, pl.y, size*2, size*2, func(_, _, at int, dx, dy float64) {
		if sw.owner[at] == 0 {
			sw.height[at] -= float32(depth * math.Exp(-(dx*dx+dy*dy)/(size*size)*2))
		}
	})
}

// structure sets up something that stands high: wall, row of piles, hull, standing tree, steep hump.
func (sc *scene) structure() {
	d := sc.d
	for range 25 {
		pl := sc.somewhere()
		size := d.logIn(14, 130)
		sizeM := max(size*sc.binM, 6*sc.pingM)
		sizeM = min(sizeM, 0.35*float64(sc.pings)*sc.pingM)
		size = sizeM / sc.binM
		h := pl.shadowHeight(sc.binM * d.logIn(25, 220))
		h = min(h, 0.75*pl.up)
		shadow := pl.slant() * h / (pl.up - h) / sc.binM
		at := pl.slant() / sc.binM
		turn := d.NormFloat64() * 0.35
		if d.chance(0.3) {
			turn = d.in(0, math.Pi)
		}
		kinds := []string{"wall", "piles", "hull", "standing-tree", "hump"}
		kind := kinds[d.IntN(len(kinds))]
		if kind == "standing-tree" {
			size, sizeM = size*0.3, sizeM*0.3
		}
		half := (0.6*math.Abs(math.Cos(turn)) + 0.25) * sizeM / sc.pingM
		across := (0.6*math.Abs(math.Sin(turn)) + 0.2) * size
		if !sc.claim(spot{pl.side, pl.x/sc.pingM - half - 3, pl.x/sc.pingM + half + 3,
			at - across - 4 - h*pl.up/pl.slant()/sc.binM, min(at+across+shadow+4, float64(sc.bins)*1.59)}) {
			continue
		}
		id := sc.add(thing{class: detect.RaisedStructure, kind: kind, side: pl.side, heightM: h})
		strength := d.logIn(1, 10)
		ct, st := math.Cos(turn), math.Sin(turn)
		switch kind {
		case "wall":
			sc.wall(pl, id, sizeM, turn, h, strength)
		case "piles":
			n := d.intIn(3, 14)
			for i := range n {
				u := (float64(i)/float64(n-1) - 0.5) * sizeM
				q := pl
				q.x, q.y = pl.x+u*ct+d.NormFloat64()*0.2*sc.pingM, pl.y+u*st+d.NormFloat64()*0.3*sc.binM
				sc.boulder(q, id, max(0.7*sc.cellM, 0.8*sc.pingM, sizeM*0.012), h*d.in(0.6, 1), strength)
			}
		case "hull":
			sc.hull(pl, id, sizeM, turn, h, strength)
		case "standing-tree":
			sc.standingTree(pl, id, sizeM, h, strength)
		case "hump":
			sc.boulder(pl, id, sizeM*0.4, h, strength*0.3+0.5)
		}
		return
	}
}

func (sc *scene) wall(pl place, id int16, length, turn, h, strength float64) {
	d := sc.d
	sw := sc.sides[pl.side]
	ct, st := math.Cos(turn), math.Sin(turn)
	thick := max(length*d.logIn(0.008, 0.08), sc.cellM*1.2)
	thick = max(thick, math.Abs(st)*sc.pingM)
	crumble, wave := d.in(0, 0.5), d.in(1, 12)
	ph := d.in(0, 6)
	sc.stamp(pl.x, pl.y, length*0.6, length*0.6, func(_, _, at int, dx, dy float64) {
		u, v := (dx*ct+dy*st)/length*2, (dy*ct-dx*st)/thick
		if math.Abs(u) < 1 && math.Abs(v) < 1 {
			top := 1 - crumble*(0.5+0.5*math.Sin(u*wave+ph))
			sw.raise(at, h*top, strength*d.in(0.3, 1.5), id)
		}
	})
}

// hull is a boat on the bottom: rim, hollow inside, thwarts, here and there broken.
func (sc *scene) hull(pl place, id int16, length, turn, h, strength float64) {
	d := sc.d
	sw := sc.sides[pl.side]
	ct, st := math.Cos(turn), math.Sin(turn)
	beam := max(length*d.in(0.18, 0.4)/2, 2.5*sc.cellM)
	deep, list, ribs := d.in(0.1, 0.9), d.in(-0.4, 0.4), d.in(3, 12)
	broken, stern := d.in(-1.6, 1.6), d.in(0, 0.9)
	sc.stamp(pl.x, pl.y, length*0.6, length*0.6, func(_, _, at int, dx, dy float64) {
		u := (dx*ct + dy*st) / length * 2
		if math.Abs(u) > 1 {
			return
		}
		w := beam * math.Sqrt(max(1-u*u*u*u, 0))
		if u < 0 {
			w = beam * (stern + (1-stern)*math.Sqrt(1-u*u))
		}
		v := (dy*ct - dx*st) / max(w, 1e-6)
		if math.Abs(v) > 1 {
			return
		}
		top := 1 + list*v*0.5
		if math.Abs(v) < 0.72 && math.Abs(u) < 0.93 && math.Sin(u*ribs) < 0.85 {
			top *= 1 - deep
		}
		if math.Abs(u-broken) < 0.12 {
			top *= 0.3
		}
		sw.raise(at, h*top*d.in(0.9, 1), strength*d.in(0.2, 1.7), id)
	})
}

// standingTree is a trunk with branches that reach up into the water.
func (sc *scene) standingTree(pl place, id int16, size, h, strength float64) {
	d := sc.d
	q := pl
	sc.boulder(q, id, max(0.7*sc.cellM, 0.8*sc.pingM, size*0.06), h, strength)
	for range d.intIn(5, 24) {
		z := h * d.in(0.15, 1)
		sc.branch(pl, id, pl.x, pl.y, z, d.in(0, 2*math.Pi), d.in(-0.2, 0.8), size*d.in(0.15, 0.6), h*d.in(0.005, 0.04), strength*d.in(0.2, 0.9))
	}
}

// fish hangs a fish or a school in the water; the gap to its shadow is drawn first, many of them small.
func (sc *scene) fish() {
	d := sc.d
	for range 25 {
		pl := sc.somewhere()
		school := d.chance(0.16)
		gap := d.logIn(2, 10)
		if d.chance(0.45) {
			gap = d.logIn(8, 140)
		}
		long, wide := d.logIn(3, 22), d.logIn(0.9, 3.5) // pings, bins
		if d.chance(0.25) {
			long, wide = d.logIn(2, 6), d.logIn(2, 12)
		}
		// Over a flat bottom the shadow lies slant·b/(altitude−b) farther out; solved for the height b.
		gapM := gap * sc.binM
		foot := gapM * pl.up / (pl.slant() + gapM)
		// Its height follows from the length wanted of the shadow, by the same similar triangles.
		over := pl.up - foot
		half := min(0.5*d.logIn(1.5, 16)*sc.binM*over*over/(pl.up*pl.slant()), 0.3*over)
		b := foot + half
		if b+half > 0.9*pl.up {
			continue
		}
		if school {
			long, wide = d.logIn(8, 50), d.logIn(5, 40)
		}
		slant := math.Hypot(pl.y, pl.up-b)
		at := slant / sc.binM
		lo, hi := at-wide-4, math.Hypot(pl.y, pl.up)/sc.binM*(1+b/(pl.up-b))+wide+2*half/sc.binM+4
		if !school {
			hi = min(hi, at+wide+gap*1.2+40)
		}
		if at < 0.06*float64(sc.bins) || !sc.claim(spot{pl.side, pl.x/sc.pingM - long*0.6 - 3, pl.x/sc.pingM + long*0.6 + 3, lo, hi}) {
			continue
		}
		kind := "fish"
		if school {
			kind = "school"
		}
		id := sc.add(thing{class: detect.SuspendedTarget, kind: kind, side: pl.side, offBottomM: foot, heightM: b + half - foot})
		strength := d.logIn(1.5, 25)
		if school {
			for range d.intIn(6, 60) {
				q := pl
				q.x += d.NormFloat64() * long / 4 * sc.pingM
				q.y += d.NormFloat64() * wide / 4 * sc.binM
				up := max(b+d.NormFloat64()*foot*0.25, half+foot*0.4)
				sc.body(q, id, d.logIn(1, 6), d.logIn(0.6, 2), min(up, 0.93*pl.up), half*d.in(0.3, 1), strength*d.logIn(0.2, 1), false)
			}
		} else {
			sc.body(pl, id, long, wide, b, half, strength, true)
		}
		return
	}
}

// body is one fish as the pings that cross it see it: a streak, a comma, an arc or a dot.
func (sc *scene) body(pl place, id int16, long, wide, b, half, strength float64, bent bool) {
	d := sc.d
	sw := sc.sides[pl.side]
	drift, arc := 0.0, 0.0
	if bent {
		drift, arc = d.NormFloat64()*0.5*wide, d.NormFloat64()*0.8*wide
	}
	opacity := d.in(0.45, 1)
	taper := d.in(0, 0.7)
	p0, p1 := pl.x/sc.pingM-long/2, pl.x/sc.pingM+long/2
	for p := max(int(math.Round(p0)), 0); p <= min(int(math.Round(p1)), sc.pings-1); p++ {
		t := 0.0
		if p1-p0 > 1 {
			t = min(max((float64(p)-p0)/(p1-p0)*2-1, -1), 1)
		}
		env := math.Sqrt(1.02-t*t) * (1 - taper*(t+1)/2)
		y := pl.y + (drift*t+arc*(t*t-0.3))*sc.binM
		if !sw.holds(sc, float64(p)*sc.pingM, y) {
			continue
		}
		sw.pieces[p] = append(sw.pieces[p], piece{
			ground: float32(y), height: float32(pl.bottom + b), half: float32(half * max(env, 0.3)),
			echo: float32(strength * env * d.in(0.4, 1.5)), spread: float32(max(wide/2*env, 0.5)), opacity: float32(opacity), thing: id,
		})
	}
}

// rockField strews stones too dense to tell apart; only the region is labelled.
func (sc *scene) rockField() {
	d := sc.d
	for range 20 {
		pl := sc.somewhere()
		rx, ry := sc.rangeM*d.logIn(0.05, 0.15), sc.rangeM*d.logIn(0.05, 0.15)
		at := pl.slant() / sc.binM
		s := spot{pl.side, (pl.x - rx) / sc.pingM, (pl.x + rx) / sc.pingM, at - ry/sc.binM, at + ry/sc.binM}
		if s.b0 < 0 || s.p1-s.p0 < 20 || !sc.claim(s) {
			continue
		}
		sc.rockFields = append(sc.rockFields, s)
		n := min(int((s.p1-s.p0)*(s.b1-s.b0)/d.logIn(40, 160)), 400)
		for range n {
			q := pl
			q.x += rx * d.in(-0.9, 0.9)
			q.y += ry * d.in(-0.9, 0.9)
			r := max(sc.binM*d.logIn(0.8, 3), 0.7*sc.pingM)
			sc.boulder(q, 0, r, min(r*d.in(0.5, 1.3), 0.3*pl.up), d.logIn(1, 5))
		}
		for range d.IntN(4) {
			q := pl
			q.x += rx * d.in(-0.9, 0.9)
			q.y += ry * d.in(-0.9, 0.9)
			r := max(sc.binM*d.logIn(4, 8), 2*sc.pingM)
			h := min(r*d.in(0.6, 1.5), 0.4*pl.up)
			sc.boulder(q, sc.add(thing{class: detect.BottomObject, kind: "rock", side: pl.side, heightM: h}), r, h, d.logIn(2, 12))
		}
		return
	}
}
