package placeworld

import (
	"math"

	"shadowgap/detect"
)

// glare is how strongly a thing echoes, as a multiple of ordinary bottom.
func (w *world) glare() float64 { return w.logUni(1.3, 10) }

// lay makes a labelled thing of a height, or none (id 0) in a place that holds none. ok tells whether to draw it.
func (w *world) lay(class detect.Class, kind string, high float64) (id uint16, ok bool) {
	if w.empty || len(w.things) > 400 {
		return 0, false
	}
	return w.newThing(thing{class: class, kind: kind, heightM: high}), true
}

// classOf calls what throws a long shadow a structure.
func (w *world) classOf(high float64) detect.Class {
	if high > 2 || high > 0.8 && high > 0.3*w.depthM {
		return detect.RaisedStructure
	}
	return detect.BottomObject
}

// lump is a rough rounded body: the shape of stones and heaps.
func (w *world) lump(high, glare float64) shape {
	salt := w.Uint32()
	grain := w.between(1, 4)
	rag := w.uni(0.1, 0.7)
	return func(p, q float64, x, y int) (float64, float64, bool) {
		n := float64(hash(salt, x/grain, y/grain))
		d := p*p + q*q + rag*(n-0.5)
		if d > 1 {
			return 0, 1, false
		}
		return high * math.Sqrt(1-math.Max(0, d)) * (1 - 0.5*rag*n), glare * (0.4 + 1.2*float64(hash(salt+1, x, y))), true
	}
}

func (w *world) rock(u, v, r float64) {
	high := w.height(r * w.logUni(0.6, 2.2))
	if id, ok := w.lay(detect.BottomObject, "rock", high); ok {
		w.stamp(u, v, r, r*w.uni(0.5, 1), w.uni(0, math.Pi), w.lump(high, w.glare()), id)
	}
}

// rocks are some stones around a place.
func (w *world) rocks(n int, u, v, spread, loM, hiM float64) {
	for range n {
		w.rock(u+spread*w.NormFloat64(), v+spread*w.NormFloat64(), w.size(loM, hiM))
	}
}

// timber is a trunk that lies, with one end perhaps off the ground, and gaps where it is buried.
func (w *world) timber(u, v, half, dir float64, kind string) {
	thick := math.Max(half*w.logUni(0.03, 0.15), 0.08)
	high := w.height(thick * w.uni(0.8, 2.2))
	id, ok := w.lay(detect.BottomObject, kind, high)
	if !ok {
		return
	}
	tip := w.uni(0, 2)
	glare, salt := w.glare(), w.Uint32()
	bare := float32(w.uni(0.5, 1))
	w.stamp(u, v, half, thick, dir, func(p, q float64, x, y int) (float64, float64, bool) {
		piece := int(math.Round(p * 7))
		if hash(salt, piece, 0) > bare {
			return 0, 1, false
		}
		return high * math.Sqrt(math.Max(0.05, 1-q*q)) * (1 + tip*math.Max(0, p)), glare * (0.3 + 1.4*float64(hash(salt, x, y))), true
	}, id)
	if kind == "tree" {
		for range w.between(2, 7) {
			p := w.uni(-0.2, 1) * half
			bu, bv := u+p*math.Cos(dir), v+p*math.Sin(dir)
			branch := w.wander(bu, bv, dir+w.sign()*w.uni(0.3, 1.1), half*w.uni(0.15, 0.6), 0.1)
			w.along(branch, thick*0.5, w.strand(high*w.uni(0.5, 1.5), glare*0.7, 0.8), id)
		}
	}
}

// strand is the shape of thin long things: seen here and there only, by a share of their length.
func (w *world) strand(high, glare float64, seen float64) shape {
	salt := w.Uint32()
	piece := w.logUni(2, 25) * w.dg
	return func(_, s float64, x, y int) (float64, float64, bool) {
		if float64(hash(salt, int(s/piece), 1)) > seen {
			return 0, 1, false
		}
		return high, glare * (0.3 + 1.4*float64(hash(salt, x, y))), true
	}
}

// line is a cable, a chain, a pipe or a rope on the bottom.
func (w *world) line(u, v, dir, long float64, kind string) {
	width := map[string]float64{"cable": 0.06, "chain": 0.15, "pipe": w.logUni(0.2, 1.2), "rope": 0.04, "net": 0.3}[kind]
	high := w.height(math.Max(width*w.uni(0.6, 1.2), w.dg*w.uni(0.1, 0.6)))
	id, ok := w.lay(detect.BottomObject, kind, high)
	if !ok {
		return
	}
	turn := map[string]float64{"cable": 0.06, "chain": 0.16, "pipe": 0, "rope": 0.22, "net": 0.1}[kind]
	w.along(w.wander(u, v, dir, long, turn*w.uni(0.3, 1.3)), width, w.strand(high, w.logUni(1.3, 7), w.uni(0.55, 1.1)), id)
}

// post stands: a pile, a fence post, a trunk.
func (w *world) post(u, v, r, high float64, kind string) {
	high = w.height(high)
	id, ok := w.lay(w.classOf(high), kind, high)
	if !ok {
		return
	}
	lean, salt, glare := w.uni(0, 0.4), w.Uint32(), w.glare()
	w.stamp(u, v, r, r*w.uni(0.7, 1), 0, func(p, q float64, x, y int) (float64, float64, bool) {
		if p*p+q*q+0.5*float64(hash(salt, x, y)) > 1.4 {
			return 0, 1, false
		}
		return high * (1 - lean*math.Abs(q)), glare * (0.4 + 1.2*float64(hash(salt, x, y))), true
	}, id)
}

// wall is a length of masonry, a quay or a bank of sheet piles: a line from a to b. Its top is uneven.
func (w *world) wall(path []point, thick, high float64, kind string) {
	high = w.height(high)
	id, ok := w.lay(w.classOf(high), kind, high)
	if !ok {
		return
	}
	salt, glare, worn := w.Uint32(), w.glare(), w.uni(0, 0.8)
	block := w.logUni(2, 14) * w.dg
	w.along(path, thick, func(_, s float64, x, y int) (float64, float64, bool) {
		top := 1 - worn*float64(hash(salt, int(s/block), 0))
		return high * top, glare * (0.4 + 1.2*float64(hash(salt, x, y))), true
	}, id)
}

// hollow things: only their rims stand. form is "ring", "frame" (a crate), "hull" or "ladder".
func (w *world) hollow(u, v, a, b, dir float64, form, kind string) {
	high := w.height(math.Max(b*w.logUni(0.25, 1.2), 0.1))
	id, ok := w.lay(w.classOf(high), kind, high)
	if !ok {
		return
	}
	rim := math.Max(w.uni(0.12, 0.4), 0.8*math.Max(w.dg, w.dv)/b)
	salt, glare := w.Uint32(), w.glare()
	keep := float32(w.uni(0.6, 1))
	inside := w.uni(-0.15, 0.2)
	w.stamp(u, v, a, b, dir, func(p, q float64, x, y int) (float64, float64, bool) {
		if p < -1 || p > 1 || q < -1 || q > 1 {
			return 0, 1, false
		}
		edge := edgeOf(form, p, q, a/b)
		if edge > 1 || hash(salt, int(p*6), int(q*6)) > keep {
			return 0, 1, false
		}
		if edge < 1-rim {
			if form == "ladder" {
				return 0, 1, false
			}
			return high * inside, 0.8, true
		}
		return high, glare * (0.4 + 1.2*float64(hash(salt, x, y))), true
	}, id)
}

// edgeOf is 1 at the outline of a form and 0 at its heart; long is its length over its width.
func edgeOf(form string, p, q, long float64) float64 {
	switch form {
	case "ring":
		return math.Hypot(p, q)
	case "hull":
		return math.Abs(q) / math.Sqrt(math.Max(0.02, 1-p*p*p*p))
	case "ladder":
		if math.Mod(p+1, 0.25) < 0.08 {
			return 1
		}
		return math.Abs(q)
	default:
		return math.Max(math.Abs(q), 1-(1-math.Abs(p))*long)
	}
}

// block is a flat-topped body: a mooring block, a car-sized box, a pillar.
func (w *world) block(u, v, a, b, high, dir float64, kind string) {
	high = w.height(high)
	id, ok := w.lay(w.classOf(high), kind, high)
	if !ok {
		return
	}
	salt, glare, step := w.Uint32(), w.glare(), w.uni(0.5, 1)
	w.stamp(u, v, a, b, dir, func(p, q float64, x, y int) (float64, float64, bool) {
		if math.Abs(p) > 1 || math.Abs(q) > 1 {
			return 0, 1, false
		}
		top := 1.0
		if math.Abs(p) > 0.55 {
			top = step
		}
		return high * top * (0.9 + 0.1*float64(hash(salt, x/2, y/2))), glare * (0.4 + 1.2*float64(hash(salt+1, x, y))), true
	}, id)
}

// brush is a soft pile: twigs that each throw a thread of shadow.
func (w *world) brush(u, v, r float64, kind string) {
	high := w.height(r * w.logUni(0.4, 2))
	id, ok := w.lay(w.classOf(high), kind, high)
	if !ok {
		return
	}
	salt, glare, dense := w.Uint32(), w.glare(), float32(w.uni(0.25, 0.8))
	w.stamp(u, v, r, r*w.uni(0.5, 1), w.uni(0, math.Pi), func(p, q float64, x, y int) (float64, float64, bool) {
		d := p*p + q*q
		if d > 1 || hash(salt, x, y) > dense*float32(1.2-d) {
			return 0, 1, false
		}
		return high * (1 - 0.6*d) * float64(hash(salt+1, x, y)), glare * (0.2 + 1.6*float64(hash(salt+2, x, y))), true
	}, id)
}

// rubble are stones too dense to tell apart, labelled as a region with its outstanding stones as marks.
func (w *world) rubble(u, v, a, b, dir, stone float64) {
	if w.empty {
		return
	}
	area := math.Pi * a * b
	n := int(math.Min(500, area/(stone*stone*w.uni(8, 16))))
	if n < 12 {
		w.rocks(n, u, v, a/2, stone/2, stone*2)
		return
	}
	id := w.newThing(thing{kind: "rock-field", region: true})
	sin, cos := math.Sincos(dir)
	for k := range n {
		r, t := math.Sqrt(w.Float64()), w.uni(0, 2*math.Pi)
		p, q := a*r*math.Cos(t), b*r*math.Sin(t)
		su, sv := u+p*cos-q*sin, v+p*sin+q*cos
		if k%40 == 39 {
			w.rock(su, sv, stone*w.uni(2, 3.5))
			continue
		}
		r = stone * w.logUni(0.4, 1.5)
		w.stamp(su, sv, r, r*w.uni(0.5, 1), w.uni(0, 3), w.lump(w.height(r*w.uni(0.4, 1.4)), w.glare()), id)
	}
}

// offForGap is how high a thing must hang for its shadow to begin so many bins behind it; ratio of slant ranges along one ray.
func (w *world) offForGap(g, bins float64) float64 {
	gap := bins * w.dg
	return w.depthM * gap / (math.Hypot(g, w.depthM) + gap)
}

// fish hangs at a place: near is the chance that it keeps close to the bottom.
func (w *world) fish(u, v, near float64) {
	if w.empty {
		return
	}
	s := swimmer{port: u < 0, g: math.Abs(u), v: v}
	s.thick = w.logUni(1, 5) * w.dg
	s.half = w.logUni(0.6, 6) * math.Max(w.dv, 0.5*w.dg)
	if w.chance(0.3) {
		s.thick, s.half = w.logUni(4, 14)*w.dg, w.logUni(0.5, 1.6)*w.dv
	}
	s.body = math.Min(math.Max(w.logUni(0.05, 0.5), 0.6*w.dg), 0.15*w.depthM)
	s.lean = w.uni(-1, 1) * w.uni(0, 1.5)
	if w.chance(0.4) {
		s.curve = w.logUni(0.5, 5) * w.dg * w.sign()
	}
	gap := w.logUni(2, 10) + s.thick/w.dg
	if !w.chance(near) {
		gap = w.logUni(6, 120)
	}
	s.off = math.Min(w.offForGap(s.g, gap), 0.75*w.depthM)
	s.level = w.logUni(2.3, 15)
	s.through = float32(w.uni(0, 0.5))
	s.id = w.newThing(thing{class: detect.SuspendedTarget, kind: "fish", heightM: s.body, offBottomM: s.off})
	w.swimmers = append(w.swimmers, s)
}

// school is many small fish under one label; loose ones show their members, dense ones are a cloud.
func (w *world) school(u, v float64, kind string) {
	if w.empty {
		return
	}
	across, along := w.logUni(4, 35)*w.dg, w.logUni(3, 25)*w.dv
	off := math.Min(w.offForGap(math.Abs(u), w.logUni(3, 90)+across/w.dg*0.7), 0.6*w.depthM)
	tall := math.Min(w.logUni(0.2, 0.5)*across, 0.25*w.depthM)
	id := w.newThing(thing{class: detect.SuspendedTarget, kind: kind, heightM: tall, offBottomM: off})
	level, through := w.logUni(1.6, 8), float32(w.uni(0.35, 0.85))
	n := w.between(8, 45)
	for range n {
		s := swimmer{id: id, port: u < 0, level: level * w.logUni(0.5, 2), through: through}
		s.g = math.Abs(u) + 0.35*across*clamp(w.NormFloat64(), -2, 2)
		s.v = v + 0.35*along*clamp(w.NormFloat64(), -2, 2)
		s.off = off + tall*w.Float64()
		s.body = math.Max(0.04, 0.3*w.dg)
		s.thick, s.half = w.logUni(0.8, 2.5)*w.dg, w.logUni(0.5, 2)*w.dv
		w.swimmers = append(w.swimmers, s)
	}
}
