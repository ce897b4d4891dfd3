package trialworld

import (
	"math"
	"slices"

	"shadowgap/detect"
)

// thing is one labelled thing and, once sounded, where it shows.
type thing struct {
	class  detect.Class
	kind   string
	b      *seabed
	high   float64 // own height, metres
	off    float64 // lower end over the bottom, metres
	slant  float64
	ground []float32 // heights to stand on, where they aren't the side's own
	patchy float64   // how much strength and height change over the thing
	shift  int       // where in the fraying field they are read
	p0, p1 int       // pings and cells it was built on
	j0, j1 int
	id     int16
}

// part is a solid: an ellipsoid, box, or bar, turned in the plane.
type part struct {
	y, x     float64 // metres along and ground metres
	halfL    float64
	halfW    float64
	turn     float64 // of the long axis from along track
	base     float64 // of the lower end over the bottom, metres; below zero it is half buried
	high     float64
	form     form
	strength float64
	ragged   float64
	hangs    bool
	opaque   float64
}

type form int

const (
	dome form = iota
	block
	bar
	ring
)

// cross is the height of a form at its own coordinates, as a part of its full height; 0 outside.
func (f form) cross(u, v float64) float64 {
	switch f {
	case block:
		if math.Abs(u) < 1 && math.Abs(v) < 1 {
			return 1
		}
	case bar:
		if math.Abs(u) < 1 && math.Abs(v) < 1 {
			return math.Sqrt(1 - v*v)
		}
	case ring:
		d := (math.Hypot(u, v) - 0.7) / 0.3
		if d > -1 && d < 1 {
			return math.Sqrt(1 - d*d)
		}
	default:
		if d := u*u + v*v; d < 1 {
			return math.Sqrt(1 - d)
		}
	}
	return 0
}

// build lays a part on or over the bottom.
func (w *world) build(t *thing, q part) {
	// A form thinner than a cell would fall between the cells.
	q.halfL, q.halfW = math.Max(q.halfL, 0.55*math.Min(w.pingM, w.binM)), math.Max(q.halfW, 0.55*w.binM)
	if math.Abs(math.Cos(q.turn)) > 0.7 {
		q.halfL = math.Max(q.halfL, 0.55*w.pingM)
	} else {
		q.halfL, q.halfW = math.Max(q.halfL, 0.55*w.binM), math.Max(q.halfW, 0.55*w.pingM)
	}
	reach := math.Hypot(q.halfL, q.halfW)
	c, s := math.Cos(q.turn), math.Sin(q.turn)
	j0, j1 := max(int((q.x-reach)/w.binM), 0), min(int((q.x+reach)/w.binM)+1, w.bins-1)
	for p := range w.pings {
		dy := w.along[p] - q.y
		if math.Abs(dy)-q.x*0.2 > reach {
			continue
		}
		for j := j0; j <= j1; j++ {
			x := (float64(j) + 0.5) * w.binM
			along := dy + x*w.yaw[p]
			dx := x - q.x
			k := q.form.cross((c*along+s*dx)/q.halfL, (c*dx-s*along)/q.halfW)
			if k <= 0 {
				continue
			}
			w.raise(t, q, p, j, k)
		}
	}
}

// buriedBelow is the level of the fraying field under which a piece of a thing is gone or buried.
const buriedBelow = -1.8

// raise books one cell of a part.
func (w *world) raise(t *thing, q part, p, j int, k float64) {
	r := w.r
	b := t.b
	i := p*w.bins + j
	v := float64(w.warp[0][(i+t.shift)%len(w.warp[0])])
	if v < buriedBelow {
		return
	}
	v = math.Min(v, 2)
	strength := q.strength * math.Exp(q.ragged*r.NormFloat64()+t.patchy*v)
	t.p0, t.p1, t.j0, t.j1 = min(t.p0, p), max(t.p1, p), min(t.j0, j), max(t.j1, j)
	if q.hangs {
		if b.hanging == nil {
			b.hanging = make([][]hung, w.pings)
		}
		mid := float64(b.height[i]) + q.base + q.high/2
		half := q.high / 2 * math.Max(k, 0.3)
		b.hanging[p] = append(b.hanging[p], hung{j, mid - half, mid + half, strength, q.opaque, t.id})
		return
	}
	top := q.base + q.high*k*(1-0.5*q.ragged*r.Float64())*(1+0.3*t.patchy*v)
	if top <= 0 {
		return
	}
	// Parts of one thing stand on the bottom, not on each other, except where another thing is already higher.
	base := float64(b.height[i])
	if t.ground != nil {
		base = float64(t.ground[i])
	} else if b.id[i] != 0 {
		base -= 0.7 * q.high * k
	}
	b.height[i] = max(b.height[i], float32(base+top))
	b.strength[i] = float32(strength)
	b.id[i] = t.id
}

// placeThings draws how many of what and puts them where the panel shows them.
func (w *world) placeThings() {
	r := w.r
	if chance(r, 0.2) {
		return
	}
	n := 1 + int(15*math.Pow(r.Float64(), 1.4))
	lean := math.Pow(uni(r, 0, 1), 0.7) // the capture's share of hanging things varies
	for range n {
		switch k := r.Float64(); {
		case k < lean*0.58:
			w.hangFish()
		case k < 0.87:
			w.lay()
		default:
			w.erect()
		}
	}
	if chance(r, 0.12) {
		w.stoneField()
	}
}

// site is a free place on the bottom.
type site struct {
	b       *seabed
	p, j    int
	y, x    float64 // metres along, ground metres
	alt     float64 // over the bottom there
	strong  float64
	slant   float64
	perAltX float64 // ground range over altitude
}

// find looks for ground that the panel shows and that no thing lies on within margin pixels.
func (w *world) find(b *seabed, marginPx float64) (site, bool) {
	r := w.r
	cut := w.cutOf(b.side)
	for range 20 {
		p := int(uni(r, 0.02, 0.98) * float64(w.pings))
		from := math.Max(float64(cut.from)*w.binM, w.altM)
		slant := uni(r, from, float64(cut.to)*w.binM*0.97)
		ground := math.Sqrt(math.Max(slant*slant-w.altM*w.altM, 0))
		if ground < 0.15*w.altM {
			ground = 0.15 * w.altM
		}
		j := int(ground / w.binM)
		if j >= w.bins-3 {
			continue
		}
		if !w.free(b, p, j, marginPx) {
			continue
		}
		i := p*w.bins + j
		alt := w.alt[p] - float64(b.height[i])
		if alt < 0.3*w.altM {
			continue
		}
		s := site{b: b, p: p, j: j, y: w.along[p] + ground*w.yaw[p], x: (float64(j) + 0.5) * w.binM, alt: alt}
		s.strong = w.around(b, p, j)
		s.slant = math.Hypot(s.x, alt)
		s.perAltX = s.x / alt
		return s, true
	}
	return site{}, false
}

func (w *world) free(b *seabed, p, j int, marginPx float64) bool {
	for _, t := range w.things {
		if t.b != b {
			continue
		}
		dp := max(t.p0-p, p-t.p1, 0)
		dj := max(t.j0-j, j-t.j1, 0)
		// Outwards the other's shadow needs room.
		if float64(dp)*w.sy < marginPx && float64(dj)*w.sx < marginPx*1.5+10 {
			return false
		}
	}
	return true
}

// around is the mean strength near a cell.
func (w *world) around(b *seabed, p, j int) float64 {
	var sum float64
	var n int
	for q := max(p-6, 0); q <= min(p+6, w.pings-1); q += 3 {
		for k := max(j-9, 0); k <= min(j+9, w.bins-1); k += 3 {
			sum += float64(b.strength[q*w.bins+k])
			n++
		}
	}
	return sum / float64(n)
}

func (w *world) anySide() *seabed { return w.sides[w.r.IntN(len(w.sides))] }

func (w *world) add(class detect.Class, kind string, s site) *thing {
	t := &thing{class: class, kind: kind, b: s.b, id: int16(len(w.things) + 1), p0: s.p, p1: s.p, j0: s.j, j1: s.j, slant: s.slant,
		patchy: uni(w.r, 0, 1), shift: w.r.IntN(len(w.warp[0]))}
	w.things = append(w.things, t)
	return t
}

// heightFor gives the height whose shadow on level ground is so many pixels long: shadow on the ground = x*a/(h-a).
func (w *world) heightFor(s site, shadowPx float64) float64 {
	// Slant grows by x/slant of the ground.
	ground := shadowPx * w.pxM * s.slant / s.x
	return math.Min(s.alt*ground/(s.x+ground), 0.6*s.alt)
}

// lay puts a thing on the bottom.
func (w *world) lay() {
	r := w.r
	s, ok := w.find(w.anySide(), 24)
	if !ok {
		return
	}
	sizePx := 5 * math.Pow(6, math.Pow(r.Float64(), 1.25))
	if chance(r, 0.08) {
		sizePx *= 2.5
	}
	high := w.heightFor(s, math.Max(sizePx*logUni(r, 0.5, 3), 3))
	q := part{y: s.y, x: s.x, halfL: sizePx / 2 * w.pxAlongM, halfW: sizePx / 2 * w.pxM, turn: r.Float64() * math.Pi, high: high,
		strength: s.strong * logUni(r, 0.8, 14), ragged: uni(r, 0.1, 0.9)}
	switch k := r.Float64(); {
	case k < 0.38:
		q.halfL *= logUni(r, 0.5, 1.8)
		q.base = -high * uni(r, 0, 0.4)
		q.high -= q.base
		w.pile(w.add(detect.BottomObject, "rock", s), q)
	case k < 0.62:
		w.timber(w.add(detect.BottomObject, "timber", s), q)
	case k < 0.7:
		q.form = ring
		q.high = math.Min(q.high, q.halfW*1.5)
		w.finish(w.add(detect.BottomObject, "tyre", s), q)
	case k < 0.8:
		q.form = block
		q.halfL *= logUni(r, 0.5, 1.5)
		w.finish(w.add(detect.BottomObject, "crate", s), q)
	case k < 0.87:
		q.form = bar
		q.halfL *= uni(r, 3, 9)
		q.halfW *= 0.25
		w.finish(w.add(detect.BottomObject, "pipe", s), q)
	case k < 0.92:
		w.ladder(w.add(detect.BottomObject, "ladder", s), q)
	case k < 0.95:
		w.anchor(w.add(detect.BottomObject, "anchor", s), q)
	default:
		w.debris(w.add(detect.BottomObject, "debris", s), q)
	}
}

func (w *world) finish(t *thing, q part) {
	t.high = math.Max(t.high, q.base+q.high)
	w.build(t, q)
}

// pile is a stone of one to three humps.
func (w *world) pile(t *thing, q part) {
	r := w.r
	w.finish(t, q)
	for range r.IntN(3) {
		k := q
		k.y += uni(r, -0.8, 0.8) * q.halfL
		k.x += uni(r, -0.8, 0.8) * q.halfW
		k.halfL, k.halfW, k.high = q.halfL*uni(r, 0.3, 0.8), q.halfW*uni(r, 0.3, 0.8), q.high*uni(r, 0.4, 0.9)
		w.finish(t, k)
	}
}

// timber is a trunk, now and then propped up at one end or with branches that stand off the bottom.
func (w *world) timber(t *thing, q part) {
	r := w.r
	q.form = bar
	q.halfL *= logUni(r, 1.2, 4)
	q.halfW *= uni(r, 0.15, 0.5)
	pieces := 1
	if chance(r, 0.5) {
		pieces = 3
	}
	bend, rise := uni(r, -0.25, 0.25), uni(r, -0.6, 0.6)
	for i := range pieces {
		k := q
		k.halfL /= float64(pieces)
		at := 2*float64(i) - float64(pieces-1)
		k.turn += bend * float64(i)
		k.y += math.Cos(q.turn) * at * k.halfL
		k.x += math.Sin(q.turn) * at * k.halfL * w.pxM / w.pxAlongM
		k.high *= math.Max(1+rise*float64(i-1), 0.3)
		w.finish(t, k)
	}
	if chance(r, 0.4) {
		for range 1 + r.IntN(5) {
			k := q
			at := uni(r, -0.9, 0.9)
			k.y, k.x = k.y+math.Cos(q.turn)*at*q.halfL, k.x+math.Sin(q.turn)*at*q.halfL
			k.turn += uni(r, 0.5, 2.6)
			k.halfL, k.halfW = q.halfL*uni(r, 0.15, 0.5), q.halfW*0.4
			k.hangs, k.opaque, k.base, k.high = true, uni(r, 0.2, 0.6), q.high*uni(r, 0.3, 1), q.high*uni(r, 0.2, 0.6)
			k.strength *= 0.5
			w.build(t, k)
		}
	}
}

// ladder is two rails and rungs.
func (w *world) ladder(t *thing, q part) {
	q.form = bar
	length := q.halfL * uni(w.r, 2, 5)
	wide := q.halfW * uni(w.r, 0.4, 0.9)
	c, s := math.Cos(q.turn), math.Sin(q.turn)
	for _, side := range []float64{-1, 1} {
		k := q
		k.halfL, k.halfW = length, wide*0.15
		k.y, k.x = q.y-s*side*wide, q.x+c*side*wide
		w.finish(t, k)
	}
	n := 3 + w.r.IntN(8)
	for i := range n {
		at := (2*float64(i)+1)/float64(n) - 1
		k := q
		k.halfL, k.halfW, k.turn = wide, wide*0.12, q.turn+math.Pi/2
		k.y, k.x = q.y+c*at*length, q.x+s*at*length
		w.finish(t, k)
	}
}

// anchor is a shank, a stock and two flukes.
func (w *world) anchor(t *thing, q part) {
	q.form = bar
	for i, turn := range []float64{0, math.Pi / 2, 0.7, -0.7} {
		k := q
		k.turn += turn
		k.halfW *= 0.2
		if i > 0 {
			k.halfL *= 0.6
			k.y += math.Cos(q.turn) * q.halfL * 0.9
			k.x += math.Sin(q.turn) * q.halfL * 0.9
		}
		w.finish(t, k)
	}
}

// debris is a heap of odds and ends.
func (w *world) debris(t *thing, q part) {
	r := w.r
	for range 3 + r.IntN(6) {
		k := q
		k.form = []form{dome, block, bar}[r.IntN(3)]
		k.y += uni(r, -1, 1) * q.halfL
		k.x += uni(r, -1, 1) * q.halfW
		k.turn = r.Float64() * math.Pi
		k.halfL, k.halfW, k.high = q.halfL*uni(r, 0.15, 0.6), q.halfW*uni(r, 0.1, 0.4), q.high*uni(r, 0.2, 1)
		k.strength *= math.Exp(uni(r, -0.7, 0.7))
		w.finish(t, k)
	}
}

// stoneField strews stones too close to tell apart.
func (w *world) stoneField() {
	r := w.r
	s, ok := w.find(w.anySide(), 10)
	if !ok {
		return
	}
	halfP, halfJ := int(uni(r, 25, 90)/w.sy), int(uni(r, 25, 90)/w.sx)
	f := fieldOfStones{side: s.b.side, p0: max(s.p-halfP, 0), p1: min(s.p+halfP, w.pings), b0: max(s.j-halfJ, 0), b1: min(s.j+halfJ, w.bins)}
	// Stones of the field carry no id, so nothing tells them from the bottom but its heights before they came: they'd stack.
	loose := &thing{b: s.b, ground: slices.Clone(s.b.height)}
	for range 30 + r.IntN(90) {
		p, j := uni(r, float64(f.p0), float64(f.p1)), uni(r, float64(f.b0), float64(f.b1))
		if j < 3 {
			continue
		}
		size := logUni(r, 2, 9)
		at := min(int(p), w.pings-1)
		q := part{y: w.along[at] + j*w.binM*w.yaw[at], x: j * w.binM, halfL: size / 2 * w.pxAlongM, halfW: size / 2 * w.pxM,
			turn: r.Float64() * 3, strength: s.strong * logUni(r, 0.8, 4), ragged: 0.4, high: size * w.pxM * uni(r, 0.2, 0.7)}
		w.build(loose, q)
	}
	// Slant bins of the field, from the ground cells.
	slantBin := func(j int) int { return int(math.Hypot(float64(j)*w.binM, s.alt) / w.binM) }
	f.b0, f.b1 = slantBin(f.b0), slantBin(f.b1)
	w.fields = append(w.fields, f)
}
