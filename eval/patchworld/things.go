package patchworld

import (
	"image"
	"math"

	"shadowgap/detect"
)

// thing is one mark as it was set, in native pixels of its side.
type thing struct {
	class     detect.Class
	kind      string
	on        *side
	highlight image.Rectangle
	shadow    image.Rectangle // empty where none falls
	heightPx  float64         // its own
	offPx     float64
	gapPx     float64
	slantPx   float64
	inWater   bool
}

// scales are final pixels per native pixel, across and along track.
type scales struct{ x, y float64 }

// form is a kind of thing and the outlines it comes in.
type form struct {
	kind  string
	draws []outline
	grow  float64 // on its size
	slim  float64 // across over along track, before chance
}

func bottomForms() []form {
	return []form{
		{"rock", []outline{blob, crescent, crescent, blob, arc}, 1, 1},
		{"log", []outline{bar, bar, streak}, 1.8, 1},
		{"tyre", []outline{ring}, 1.1, 1},
		{"crate", []outline{crate}, 1.2, 1},
		{"debris", []outline{dots, branches, bar, comma}, 1.3, 1},
		{"other", []outline{arc, smear, comma, blob}, 1, 1},
	}
}

func hangingForms() []form {
	return []form{
		{"fish", []outline{streak}, 1.2, 0.3},
		{"fish", []outline{comma, arc}, 1.1, 0.6},
		{"fish", []outline{blob}, 0.7, 0.9},
		{"fish", []outline{streak, bar}, 1.4, 2.2},
		{"school", []outline{dots, dots, smear}, 2.4, 1.2},
		{"other", []outline{branches, ring, bar}, 1.2, 1},
	}
}

func raisedForms() []form {
	return []form{
		{"wall", []outline{bar, streak}, 5, 0.3},
		{"wall", []outline{bar, streak, bar}, 20, 0.06},
		{"ridge", []outline{bar, arc, crescent}, 4, 0.4},
		{"piles", []outline{piles}, 4, 0.3},
		{"wreck", []outline{hull}, 4, 0.8},
		{"tree", []outline{branches, branches, streak}, 2.5, 1},
		{"hump", []outline{crescent, smear, blob}, 4, 0.7},
	}
}

// furnish sets the capture's things on its sides. An empty one gets none.
func furnish(d dice, sides []*side, sc scales) []thing {
	if d.chance(0.21) {
		return nil
	}
	n := min(2+int(d.logBetween(1, 16)-0.5), 15)
	hanging := d.between(0.05, 0.66)
	raised := d.between(0, 0.2)
	base := d.logBetween(4.5, 13) // the picture's typical size, final pixels
	bright, dark := d.logBetween(1.4, 7), d.between(0.5, 1)
	var out []thing
	for range n {
		on := sides[d.IntN(len(sides))]
		var t thing
		var ok bool
		switch u := d.Float64(); {
		case u < hanging:
			t, ok = hang(d.fork(), on, sc, base, bright, dark, out)
		case u < hanging+raised:
			t, ok = raise(d.fork(), on, sc, base, bright, dark, out)
		default:
			t, ok = lay(d.fork(), on, sc, base, bright, dark, out)
		}
		if ok {
			out = append(out, t)
		}
	}
	if d.chance(0.6) { // shadows have soft edges, the more so the wider the beam
		spread := d.between(0.4, 1.3)
		for _, s := range sides {
			s.shade = blur(s.shade, spread, 1)
		}
	}
	return out
}

// draw makes a stamp of a form, not much larger than its side.
func (f form) draw(d dice, on *side, base float64, sc scales) plane {
	size := base * f.grow * d.logBetween(0.7, 2.2)
	if d.chance(0.08) {
		size *= d.between(1.5, 3)
	}
	ratio := math.Sqrt(f.slim * d.logBetween(0.4, 2.5))
	w, h := min(max(size*ratio/sc.x, 2), float64(on.w)/3), min(max(size/ratio/sc.y, 3), 1.2*float64(on.h))
	return stamp(d, f.draws[d.IntN(len(f.draws))], int(math.Round(w)), int(math.Round(h)))
}

// spot finds a place for a stamp between two slant ranges, given as shares of the bottom in view. Mostly clear of what is
// there; now and then on purpose behind or over it.
func spot(d dice, on *side, p plane, lo, hi float64, near []thing) (x, r int, ok bool) {
	over := d.chance(0.12)
	if d.chance(0.12) { // at the first return's own edge
		lo, hi = 0, 0.03
	}
	for range 12 {
		r = d.count(-p.h/4, on.h-1-3*p.h/4)
		f := max(float64(on.first[min(max(r+p.h/2, 0), on.h-1)]), float64(on.from-p.w/4))
		room := float64(on.w) - f
		if room < 20 {
			return 0, 0, false
		}
		x = int(f + room*d.between(lo, hi))
		if over && len(near) > 0 {
			n := near[d.IntN(len(near))]
			if n.on == on {
				r = n.highlight.Min.Y + d.count(-6, 6)
				x = n.highlight.Max.X + d.count(-4, max(n.shadow.Dx(), 12))
				return x, r, x < on.w-3 && x > int(f)
			}
		}
		box := image.Rect(x-3, r-3, x+p.w+3, r+p.h+3)
		free := true
		for _, n := range near {
			free = free && (n.on != on || !box.Overlaps(n.highlight) && !box.Overlaps(n.shadow))
		}
		if free {
			return x, r, true
		}
	}
	return 0, 0, false
}

// strength draws how bright a highlight is over its surroundings.
func strength(d dice, bright float64) float64 { return bright * d.logBetween(0.45, 2.4) }

// softness draws what a shadow looks like, but for its heights.
func softness(d dice, dark float64) cast {
	c := cast{depth: min(dark*d.between(0.6, 1.3), 1), ragged: d.between(0, 3), teeth: d.logBetween(1.4, 6)}
	if d.chance(0.3) {
		c.fade = d.between(0.2, 0.9)
	}
	return c
}

// lay sets a thing on the bottom.
func lay(d dice, on *side, sc scales, base, bright, dark float64, near []thing) (thing, bool) {
	forms := bottomForms()
	f := forms[d.pick(6, 2, 0.8, 1, 1.6, 1)]
	p := f.draw(d, on, base, sc)
	x, r, ok := spot(d, on, p, 0, 0.96, near)
	if !ok {
		return thing{}, false
	}
	length := max(float64(p.w), 3/sc.x) * d.logBetween(0.5, 5)
	return on.set(d, p, x, r, f.kind, detect.BottomObject, length, strength(d, bright), softness(d, dark))
}

// raise sets a thing that throws a long shadow.
func raise(d dice, on *side, sc scales, base, bright, dark float64, near []thing) (thing, bool) {
	forms := raisedForms()
	f := forms[d.pick(1.5, 1.5, 2, 1, 2, 2, 2)]
	p := f.draw(d, on, base, sc)
	x, r, ok := spot(d, on, p, 0, 0.8, near)
	if !ok {
		return thing{}, false
	}
	length := max(d.logBetween(45, 450)/sc.x, 1.2*float64(p.w))
	return on.set(d, p, x, r, f.kind, detect.RaisedStructure, length, strength(d, bright), softness(d, min(dark+0.2, 1)))
}

// set casts the shadow of a thing that stands on the bottom, length pixels long, and lights it.
func (s *side) set(d dice, p plane, x, r int, kind string, class detect.Class, length, bright float64, c cast) (thing, bool) {
	mid := min(max(r+p.h/2, 0), s.h-1)
	if x >= s.w-2 {
		return thing{}, false
	}
	h, at := float64(s.first[mid]), float64(x+p.w)
	c.tall = min(heightFor(at, at+length, h), 0.95*h)
	ref := s.level(x+p.w/2, mid)
	t := thing{class: class, kind: kind, on: s, heightPx: c.tall, slantPx: at}
	t.highlight = s.add(p, x, r, ref*float32(bright)) // before the shadow, which doesn't fall on what throws it
	before := s.lit(p, x, r)
	t.shadow = s.shadow(d, p, x, r, c)
	s.relight(p, x, r, before)
	if class == detect.BottomObject && float64(t.shadow.Dx()) > 120+3*float64(p.w) {
		t.class = detect.RaisedStructure
	}
	return t, !t.highlight.Empty()
}

// hang sets a thing off the bottom: mostly over it, with its shadow farther out, or inside the water column.
func hang(d dice, on *side, sc scales, base, bright, dark float64, near []thing) (thing, bool) {
	forms := hangingForms()
	f := forms[d.pick(3, 3, 2, 1.5, 1.5, 0.6)]
	p := f.draw(d, on, base, sc)
	c := softness(d, dark)
	t := thing{class: detect.SuspendedTarget, kind: f.kind, on: on}
	var x, r int
	var ok bool
	tall := min(float64(p.h), float64(p.w)+2) * d.between(0.3, 1)
	if d.chance(0.28) {
		x, r, ok = inColumn(d, on, p, near)
		t.inWater = true
	} else {
		x, r, ok = spot(d, on, p, 0, 0.85, near)
	}
	if !ok || x >= on.w-2 {
		return thing{}, false
	}
	mid := min(max(r+p.h/2, 0), on.h-1)
	h := float64(on.first[mid])
	gap := d.logBetween(2.5, 12) / sc.x
	if d.chance(0.4) {
		gap = d.logBetween(6, 90) / sc.x
	}
	if t.inWater {
		gap = d.logBetween(4, 120)/sc.x + h - float64(x+p.w)
	}
	far := float64(x + p.w)
	if !t.inWater {
		gap = max(gap, 0.12*float64(p.w))
	}
	c.off = heightFor(float64(x), far+gap, h)
	if c.off >= 0.93*h { // so near the surface that its shadow leaves the picture
		c.off = 0.93 * h
	}
	c.tall = min(max(tall*h/far, 0.02*h, heightFor(far, far+3/sc.x, h)), 0.97*h-c.off)
	t.offPx, t.heightPx, t.slantPx = c.off, c.tall, far
	if !d.chance(0.12) {
		t.shadow = on.shadow(d, p, x, r, c)
	}
	ref := on.level(x+p.w/2, mid)
	t.highlight = on.add(p, x, r, ref*float32(strength(d, bright)))
	if t.highlight.Empty() {
		return thing{}, false
	}
	if !t.shadow.Empty() {
		t.gapPx = float64(t.shadow.Min.X - t.highlight.Max.X)
	}
	return t, true
}

// inColumn finds a place between the nadir and the first return.
func inColumn(d dice, on *side, p plane, near []thing) (x, r int, ok bool) {
	for range 12 {
		r = d.count(0, max(on.h-p.h, 0))
		top := float64(on.h)
		for j := max(r, 0); j < min(r+p.h, on.h); j++ {
			top = min(top, float64(on.first[j]))
		}
		begin := float64(on.from)
		room := top - begin - float64(p.w) - 3
		if room < 6 {
			return 0, 0, false
		}
		x = int(begin+d.between(0.2, 1)*room) + 1
		box := image.Rect(x-2, r-2, x+p.w+2, r+p.h+2)
		free := true
		for _, n := range near {
			free = free && (n.on != on || !box.Overlaps(n.highlight))
		}
		if free {
			return x, r, true
		}
	}
	return 0, 0, false
}
