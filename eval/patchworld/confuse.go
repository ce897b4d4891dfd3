package patchworld

import (
	"image"
	"math"

	"shadowgap/detect"
)

// field is a rock field as set, in native pixels of its side.
type field struct {
	on  *side
	box image.Rectangle
}

// confuse lays what is no mark though it may look like one: patches, hollows, weed, gravel, and fields of stones too dense to tell
// apart, which are given back with the few stones in them that are marks.
func confuse(d dice, sides []*side, sc scales) (fields []field, outstanding []thing) {
	for _, s := range sides {
		for range d.pick(2, 2, 2, 2, 1, 1, 1) {
			patch(d.fork(), s, sc)
		}
		for range d.pick(5, 2, 1, 1) {
			hollow(d.fork(), s, sc)
		}
		for range d.pick(6, 2, 1) {
			weed(d.fork(), s, sc)
		}
		for range d.pick(5, 1, 1) {
			gravel(d.fork(), s, sc)
		}
		if d.chance(0.08) {
			f, big := stones(d.fork(), s, sc)
			fields, outstanding = append(fields, f), append(outstanding, big...)
		}
	}
	return fields, outstanding
}

// somewhere is a place on the bottom of a side.
func somewhere(d dice, s *side) (x, r int) {
	r = d.IntN(s.h)
	f := int(s.first[r])
	return f + d.IntN(max(s.w-f, 1)), r
}

// patch is bright without a shadow or dark without a highlight, soft for the most part.
func patch(d dice, s *side, sc scales) {
	size, ratio := d.logBetween(6, 120), math.Sqrt(d.logBetween(0.2, 5))
	draw := []outline{smear, blob, smear, dots}[d.IntN(4)]
	p := stamp(d, draw, int(size*ratio/sc.x), int(size/ratio/sc.y))
	x, r := somewhere(d, s)
	amp := d.between(0.1, 0.9)
	if d.chance(0.5) {
		amp = -d.between(0.15, 0.85)
	}
	if size < 14 { // what is small and plain as well would be a mark
		amp = min(amp, 0.35)
	}
	s.tint(p, x-p.w/2, r-p.h/2, float32(amp))
}

// hollow is a pit: its near wall is dark, its far wall bright.
func hollow(d dice, s *side, sc scales) {
	size, ratio := d.logBetween(6, 50), math.Sqrt(d.logBetween(0.4, 2.5))
	w, h := max(int(size*ratio/sc.x), 3), max(int(size/ratio/sc.y), 3)
	x, r := somewhere(d, s)
	dark, lit := stamp(d, blob, w, h), stamp(d, []outline{crescent, arc, smear}[d.IntN(3)], max(w/2, 2), h)
	s.tint(dark, x, r, -float32(d.between(0.3, 0.9)))
	s.tint(lit, x+w-w/6, r, float32(d.between(0.3, 1.8)))
}

// weed is a bed of soft flecks, bright and dim by turns.
func weed(d dice, s *side, sc scales) {
	x, r := somewhere(d, s)
	reach := d.logBetween(15, 90)
	bright, dim := d.between(0.1, 1), d.between(0, 0.6)
	for range d.count(15, 120) {
		size := d.logBetween(2, 12)
		p := smear(d, max(int(size/sc.x), 2), max(int(size/sc.y), 2))
		at, y := x+int(d.NormFloat64()*reach*0.5/sc.x), r+int(d.NormFloat64()*reach*0.5/sc.y)
		s.tint(p, at, y, float32(bright*d.Float64()))
		s.tint(p, at+p.w, y, -float32(dim*d.Float64()))
	}
}

// gravel is a patch of grains a few pixels wide, each as bright as chance has it.
func gravel(d dice, s *side, sc scales) {
	size, ratio := d.logBetween(30, 250), math.Sqrt(d.logBetween(0.3, 3))
	p := blob(d, max(int(size*ratio/sc.x), 4), max(int(size/ratio/sc.y), 4))
	n := newPlane(p.w, p.h)
	d.addNoise(n, d.logBetween(1.5, 5), d.logBetween(1.5, 5), 1)
	for i := range p.v {
		p.v[i] *= max(n.v[i], -0.7)
	}
	x, r := somewhere(d, s)
	s.tint(p, x-p.w/2, r-p.h/2, float32(d.between(0.2, 0.9)))
}

// stones is a field of small rocks with short shadows; only those much larger than the rest are marks.
func stones(d dice, s *side, sc scales) (f field, outstanding []thing) {
	x, r := somewhere(d, s)
	wide, high := d.logBetween(40, 180)/sc.x, d.logBetween(40, 180)/sc.y
	f.on = s
	n := min(int(wide*sc.x*high*sc.y/d.between(60, 200)), 220)
	bright, dark := d.logBetween(0.6, 3), d.between(0.4, 1)
	for range n {
		size := d.logBetween(2.5, 7)
		big := d.chance(0.03)
		if big {
			size = d.between(9, 18)
		}
		p := stamp(d, []outline{blob, crescent}[d.IntN(2)], max(int(size/sc.x), 2), max(int(size/sc.y), 2))
		at, y := x+int((d.Float64()-0.5)*wide), r+int((d.Float64()-0.5)*high)
		if y < 0 || y >= s.h || at < int(s.first[y])+2 || at >= s.w-p.w {
			continue
		}
		t, ok := s.set(d, p, at, y, "rock", detect.BottomObject, d.logBetween(2, 20)/sc.x, strength(d, bright), softness(d, dark))
		if ok {
			f.box = f.box.Union(t.highlight).Union(t.shadow)
			if big {
				outstanding = append(outstanding, t)
			}
		}
	}
	return f, outstanding
}
