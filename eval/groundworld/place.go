package groundworld

import (
	"math"
	"slices"

	"shadowgap/detect"
)

// mostThings is how many things the grid can tell apart.
const mostThings = 250

// add takes a thing in, unless there are too many.
func (w *world) add(t *thing) bool {
	if len(w.things) >= mostThings {
		return false
	}
	t.id = uint8(len(w.things) + 1)
	w.things = append(w.things, t)
	return true
}

// stampThings places what the plan names and sets everything that lies on the bottom into the ground.
func (w *world) stampThings() {
	for _, kind := range w.kinds {
		r := recipeOf(kind)
		switch kind {
		case "fish", "float":
			w.hangOne(r)
		case "school":
			w.hangSchool(r)
		case "pier":
			w.pier(r)
		default:
			w.put(r)
		}
	}
	surface := slices.Max(w.track) + w.d.in(0.02, 0.4)*w.altM
	for _, t := range w.things {
		if !t.hanging {
			t.body.top = under(t.body.top, surface)
			t.tall = w.g.stamp(t.body.top, t.x, t.y, t.turn, t.body.reach, t.body.drape, t.id)
		}
	}
}

// under cuts a surface off at a height, metres.
func under(top surface, most float64) surface {
	return func(u, v float64) (float64, float64, bool) {
		z, refl, there := top(u, v)
		return min(z, most), refl, there
	}
}

// length draws how long a thing of a kind is, in metres.
func (w *world) length(r *recipe) float64 {
	px := w.d.scale(4, 0.5*float64(min(w.wide, w.high)))
	switch r.kind {
	case "pipe", "cable":
		px = w.d.scale(40, 1.6*float64(max(w.wide, w.high)))
	case "mound":
		px = w.d.scale(60, 400)
	}
	l := max(min(r.hi, max(r.lo, px*w.pxM())), 3*w.pxM())
	switch r.kind {
	case "pipe", "cable", "mound", "quay":
		return l
	}
	return min(l, 0.7*w.pxM()*float64(min(w.wide, w.high)))
}

// spot draws where a thing goes, metres.
func (w *world) spot(at where) (x, y float64) {
	y = w.d.in(0.01, 0.99) * w.g.long()
	if w.frame == tile {
		_, hi := w.g.spanX()
		lo := math.Sqrt(w.startM*w.startM - w.altM*w.altM)
		x = w.d.in(lo, hi)
		if at == outerEdge {
			x = w.d.in(lo+0.6*(hi-lo), hi)
		}
		return x, y
	}
	far := math.Sqrt(w.rangeM*w.rangeM - w.altM*w.altM)
	switch at {
	case farOut:
		x = w.d.in(0.5, 0.98) * far
	case closeIn:
		x = min(0.9*far, w.d.in(0.2, 1.6)*w.altM)
	case outerEdge:
		x = w.d.in(0.6, 0.95) * far
	default:
		x = w.d.in(min(0.5, 0.25*w.altM/far), 0.98) * far
	}
	if w.frame == wholeSwath && w.d.may(0.5) {
		x = -x
	}
	return x, y
}

// free reports whether nothing is within a distance.
func (w *world) free(x, y, reach float64) bool {
	for _, t := range w.things {
		if math.Hypot(t.x-x, t.y-y) < 0.7*(min(t.body.reach, 30)+min(reach, 30)) {
			return false
		}
	}
	return true
}

// put makes one thing and finds it a place.
func (w *world) put(r *recipe) {
	l := w.length(r)
	b := r.form(w.d, l, w.g.fine())
	if most := 0.4 * w.altM; b.high > most && r.kind != "pile" && r.kind != "quay" && r.kind != "footing" {
		b = r.form(w.d, l*most/b.high, w.g.fine())
	}
	if !b.raised && r.kind != "tyre" && w.d.may(0.35) {
		b = b.sunk(w.d.scale(0.08, 0.6))
	}
	for range 12 {
		x, y := w.spot(r.where)
		if !w.free(x, y, b.reach) {
			continue
		}
		t := &thing{kind: r.kind, class: detect.BottomObject, x: x, y: y, turn: w.d.in(0, 2*math.Pi), body: b}
		if b.raised {
			t.class = detect.RaisedStructure
		}
		if r.kind == "quay" {
			most := 0.5 * math.Abs(x) / w.g.long() // or it would lie under the boat somewhere
			t.turn = min(most, max(-most, 0.1*w.d.NormFloat64()))
			if x < 0 {
				t.turn += math.Pi
			}
		}
		w.add(t)
		return
	}
}

// pier is a row of piles, each of which is a thing.
func (w *world) pier(r *recipe) {
	l := w.length(r)
	n := w.d.upTo(3, 8)
	x, y := w.spot(r.where)
	turn, twin := w.d.in(0, math.Pi), w.d.may(0.3)
	thick := max(0.35, 2*w.pxM()) * w.d.in(0.8, 1.4)
	b := pileForm(w.d, thick, w.g.fine())
	for i := range n {
		along := l * (float64(i)/float64(n-1) - 0.5)
		w.pile(b, x+along*math.Cos(turn), y+along*math.Sin(turn))
		if twin {
			w.pile(b, x+along*math.Cos(turn)-0.2*l*math.Sin(turn), y+along*math.Sin(turn)+0.2*l*math.Cos(turn))
		}
	}
}

func (w *world) pile(b body, x, y float64) {
	lo, hi := w.g.spanX()
	if x < lo || x > hi || y < 0 || y > w.g.long() || math.Abs(x) < 0.1*w.altM {
		return
	}
	w.add(&thing{kind: "pile", class: detect.RaisedStructure, x: x, y: y, body: b})
}

// cobbles is a pavement of stones; those that stand out are things, unless the capture is to hold none.
func (w *world) cobbles() {
	a := w.area()
	lo, hi := w.g.spanX()
	a.r = min(a.r, w.d.scale(0.1, 0.45)*min(hi-lo, w.g.long()))
	zone := w.zoneOf("rock-field")
	w.g.within(a.x, a.y, 2*a.r, func(i int, cx, cy float64) {
		if a.depth(cx, cy) > 0 {
			w.g.zone[i] = zone
		}
	})
	size := w.pxM() * w.d.scale(1.5, 6)
	great := 2.5 + w.d.Float64()
	n := int(min(1500, w.d.scale(0.02, 0.6)*a.r*a.r/(size*size)))
	for range n {
		x, y := a.x+w.d.in(-1.2, 1.2)*a.r, a.y+w.d.in(-1.2, 1.2)*a.r
		if a.depth(x, y) < 0 {
			continue
		}
		times := math.Pow(1-w.d.Float64(), -0.45)
		if len(w.kinds) == 0 {
			times = min(times, 2)
		}
		l := min(size*times, 0.5*w.altM, 14*size)
		b := rockForm(w.d, l, 0)
		turn := w.d.in(0, math.Pi)
		inView := x > lo && x < hi && y > 0 && y < w.g.long()
		if times > great && inView && w.add(&thing{kind: "rock", class: detect.BottomObject, x: x, y: y, turn: turn, body: b}) {
			continue
		}
		w.g.stamp(b.top, x, y, turn, b.reach, false, 0)
	}
}
