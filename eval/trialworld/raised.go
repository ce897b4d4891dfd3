package trialworld

import (
	"math"

	"shadowgap/detect"
)

// erect raises something that throws a long shadow.
func (w *world) erect() {
	r := w.r
	s, ok := w.find(w.anySide(), 60)
	if !ok || s.perAltX < 0.3 {
		return
	}
	sizePx := logUni(r, 10, 90)
	high := w.heightFor(s, logUni(r, 25, 220))
	q := part{y: s.y, x: s.x, halfL: sizePx / 2 * w.pxAlongM, halfW: sizePx / 2 * w.pxM, turn: 0.3 * r.NormFloat64(), high: high,
		strength: s.strong * logUni(r, 1, 9), ragged: uni(r, 0.1, 0.7)}
	switch k := r.Float64(); {
	case k < 0.22:
		q.form = block
		q.halfL *= uni(r, 1, 4)
		q.halfW = math.Max(q.halfW*0.1, 1.2*w.pxM)
		w.finish(w.add(detect.RaisedStructure, "wall", s), q)
	case k < 0.4:
		w.posts(w.add(detect.RaisedStructure, "piles", s), q)
	case k < 0.58:
		w.hull(w.add(detect.RaisedStructure, "wreck", s), q)
	case k < 0.74:
		w.snag(w.add(detect.RaisedStructure, "standing-tree", s), q)
	case k < 0.86:
		w.hump(w.add(detect.RaisedStructure, "hump", s), q)
	case k < 0.93:
		q.form = block
		q.halfL, q.halfW = q.halfL*0.6, q.halfW*0.4
		q.high = s.alt * uni(r, 0.6, 1.1)
		w.finish(w.add(detect.RaisedStructure, "pillar", s), q)
	default:
		w.quay(s)
	}
}

// posts is a row of piles.
func (w *world) posts(t *thing, q part) {
	r := w.r
	n := 3 + r.IntN(7)
	step := math.Max(q.halfL*uni(r, 0.3, 0.9), 9*w.pxAlongM)
	dir := uni(r, -1, 1)
	for i := range n {
		if chance(r, 0.1) {
			continue
		}
		k := q
		at := float64(i) - float64(n)/2
		k.y += at * step * math.Cos(dir)
		k.x += at * step * math.Sin(dir) * w.pxM / w.pxAlongM
		k.halfL, k.halfW = logUni(r, 1, 3)*w.pxAlongM, logUni(r, 1, 3)*w.pxM
		k.form, k.turn = block, 0
		k.high *= uni(r, 0.6, 1)
		w.finish(t, k)
	}
}

// hull is two curved sides, ribs and a low inside.
func (w *world) hull(t *thing, q part) {
	r := w.r
	turn := r.Float64() * math.Pi
	half, wide := math.Max(q.halfL, q.halfW)*uni(r, 1, 1.8), math.Max(q.halfL, q.halfW)*uni(r, 0.25, 0.5)
	c, s := math.Cos(turn), math.Sin(turn)
	toX := w.pxM / w.pxAlongM
	place := func(u, v float64) (y, x float64) { return q.y + c*u - s*v, q.x + (s*u+c*v)*toX }
	const pieces = 12
	for i := range pieces {
		u := (2*(float64(i)+0.5)/pieces - 1)
		for _, side := range []float64{-1, 1} {
			if chance(r, 0.12) { // broken away
				continue
			}
			k := q
			k.form, k.turn = bar, turn-side*u*wide/half
			k.y, k.x = place(u*half, side*wide*(1-u*u))
			k.halfL, k.halfW = half/pieces*1.3, wide*0.12
			k.high *= uni(r, 0.3, 0.7)
			w.finish(t, k)
		}
		if chance(r, 0.4) {
			k := q
			k.form, k.turn = bar, turn+math.Pi/2
			k.y, k.x = place(u*half, 0)
			k.halfL, k.halfW = wide*(1-u*u), half*0.03
			k.high *= uni(r, 0.1, 0.4)
			w.finish(t, k)
		}
	}
	q.halfL, q.halfW, q.turn, q.strength = half*0.25, wide*0.5, turn, q.strength*0.6
	q.y, q.x = place(uni(r, -0.5, 0.5)*half, 0)
	w.finish(t, q)
}

// snag is a standing trunk with a crown of thin limbs that let some sound through.
func (w *world) snag(t *thing, q part) {
	r := w.r
	trunk := q
	trunk.form, trunk.halfL, trunk.halfW = block, 2*w.pxAlongM, 2*w.pxM
	w.finish(t, trunk)
	for range 8 + r.IntN(16) {
		k := q
		k.form, k.hangs = bar, true
		k.y += uni(r, -1, 1) * q.halfL
		k.x = math.Max(k.x+uni(r, -1, 1)*q.halfW, w.binM)
		k.turn = r.Float64() * math.Pi
		k.halfL, k.halfW = q.halfL*uni(r, 0.2, 0.7), uni(r, 0.6, 1.5)*w.pxM
		k.base = q.high * uni(r, 0.3, 0.95)
		k.high = q.high * uni(r, 0.03, 0.12)
		k.opaque, k.strength = uni(r, 0.3, 0.8), q.strength*uni(r, 0.2, 1)
		w.build(t, k)
	}
}

// hump is a steep mound of the bottom's own stuff.
func (w *world) hump(t *thing, q part) {
	q.form = dome
	q.halfL, q.halfW = q.halfL*w.r.Float64()*2+6*w.pxAlongM, q.halfW+6*w.pxM
	q.high = math.Max(q.high, q.halfW*1.2)
	q.high = math.Min(q.high, w.altM*0.8)
	q.strength *= 0.5
	w.pile(t, q)
}

// quay is a wall along the whole way or most of it; all behind it is dark.
func (w *world) quay(s site) {
	r := w.r
	t := w.add(detect.RaisedStructure, "quay", s)
	from, to := 0, w.pings-1
	if chance(r, 0.6) {
		from = int(uni(r, 0, 0.6) * float64(w.pings))
		to = min(from+int(uni(r, 0.3, 0.9)*float64(w.pings)), w.pings-1)
	}
	wander := smooth1(r, w.pings, uni(r, 80, 400))
	slope := uni(r, -0.15, 0.15) * w.sy / w.sx
	strength := s.strong * logUni(r, 2, 12)
	t.high = w.altM * uni(r, 0.9, 1.2)
	thick := max(int(uni(r, 1, 4)/w.sx), 2)
	for p := from; p <= to; p++ {
		j := s.j + int(slope*float64(p-s.p)+wander[p]*0.02*float64(w.bins))
		for k := max(j, 3); k < min(j+thick, w.bins); k++ {
			i := p*w.bins + k
			s.b.height[i], s.b.strength[i], s.b.id[i] = float32(t.high), float32(strength), t.id
		}
		t.p0, t.p1, t.j0, t.j1 = min(t.p0, p), max(t.p1, p), min(t.j0, j), max(t.j1, j)
	}
	t.j1 = w.bins // nothing else is to be put into its shadow
}

// hangFish puts one fish or a school into the water.
func (w *world) hangFish() {
	r := w.r
	b := w.anySide()
	s, ok := w.find(b, 24)
	if !ok {
		return
	}
	sizePx := 4.5 * math.Pow(5, math.Pow(r.Float64(), 1.3))
	q := part{y: s.y, x: s.x, halfL: sizePx / 2 * w.pxAlongM, halfW: math.Max(sizePx*uni(r, 0.12, 0.4), 1) / 2 * w.pxM, hangs: true,
		strength: s.strong * logUni(r, 2.2, 20), ragged: uni(r, 0, 0.7), opaque: uni(r, 0.6, 0.98)}
	q.turn = 0.6 * r.NormFloat64()
	if chance(r, 0.2) {
		q.turn = r.Float64() * math.Pi
	}
	q.high = w.heightFor(s, math.Max(sizePx*uni(r, 0.25, 1.2), 3))
	gap := logUni(r, 1.5, 9)
	switch k := r.Float64(); {
	case k < 0.15:
		gap = logUni(r, 8, 70)
	case k < 0.3:
		w.midWater(&q, s)
		gap = 0
	}
	if gap > 0 {
		// The gap runs from the far end of the highlight, that of the lower side, to where the ray under it meets the bottom.
		q.base = w.heightFor(s, gap+1.2*q.halfW/w.pxM+0.8*w.sx)
	}
	if q.base < 0.5*q.high && gap > 0 {
		q.high = math.Max(q.base, 1.5*w.pxM)
	}
	if chance(r, 0.2) {
		w.school(s, q)
		return
	}
	t := w.add(detect.SuspendedTarget, "fish", s)
	t.high, t.off = q.high, q.base
	w.build(t, q)
	if chance(r, 0.3) { // bent into a comma
		k := q
		k.halfL *= 0.6
		k.y += math.Cos(q.turn) * q.halfL
		k.x += math.Sin(q.turn)*q.halfL*w.pxM/w.pxAlongM + uni(r, -1.5, 1.5)*q.halfW
		k.turn += uni(r, -1, 1)
		w.build(t, k)
	}
	t.slant = math.Hypot(q.x, s.alt-q.base)
}

// midWater moves a part high enough and near enough that its echo comes before the bottom's.
func (w *world) midWater(q *part, s site) {
	q.base = s.alt * uni(w.r, 0.15, 0.8)
	up := s.alt - q.base
	most := math.Sqrt(math.Max(s.alt*s.alt*0.9-up*up, w.binM))
	q.x = uni(w.r, 0.1, 0.95) * most
	q.high = math.Max(2*w.pxM, 0.2*q.halfL)
	q.strength *= 0.5
}

// school strews small fish over an ellipse.
func (w *world) school(s site, q part) {
	r := w.r
	t := w.add(detect.SuspendedTarget, "school", s)
	n := 5 + r.IntN(25)
	wideL, wideW := q.halfL*uni(r, 2, 5), q.halfL*uni(r, 1, 3)*w.pxM/w.pxAlongM
	t.high, t.off = 0, math.Inf(1)
	thick := q.high * uni(r, 1, 3)
	q.opaque *= 0.8
	for range n {
		k := q
		k.y += wideL * r.NormFloat64() / 2
		k.x = math.Max(k.x+wideW*r.NormFloat64()/2, w.binM)
		k.base += thick * r.Float64()
		k.halfL *= uni(r, 0.2, 0.7)
		k.turn += 0.4 * r.NormFloat64()
		k.strength *= math.Exp(uni(r, -0.8, 0.5))
		t.off = math.Min(t.off, k.base)
		t.high = math.Max(t.high, k.base+k.high)
		w.build(t, k)
	}
	t.high -= t.off
	t.slant = math.Hypot(q.x, s.alt-q.base)
}
