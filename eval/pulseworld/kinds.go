package pulseworld

import (
	"math"
	"slices"

	"shadowgap/detect"
)

// spot is a free place with the scales that hold there.
type spot struct {
	sw          int
	s, h, g, y  float64 // slant, altitude, ground range and along-track place, metres
	mR, mA      float64 // metres of ground a picture pixel, across and along track
	slantPx     float64 // metres of slant a picture pixel
	shadowPx    float64 // wanted length of the shadow
	lenPx, wiPx float64 // wanted size along track and along range
	db          float64
}

// claim is a taken rectangle of the record: slant and along track, metres.
type claim struct {
	sw             int
	s0, s1, y0, y1 float64
}

// populate sets things on the bottom and in the water. A fifth of the captures gets none.
func (w *world) populate() {
	n := 0
	if !w.chance(0.2) {
		n = max(1, int(math.Round(w.logu(1.5, 22))))
	}
	var taken []claim
	order := make([]float64, n)
	for i := range order {
		order[i] = w.Float64()
	}
	slices.Sort(order) // high things first: what comes later may stand in their shadow
	for _, u := range order {
		for range 12 {
			var t *thing
			switch {
			case u < 0.15:
				t = w.raise(&taken)
			case u < 0.65:
				t = w.lay(&taken)
			default:
				t = w.hang(&taken)
			}
			if t == nil {
				continue
			}
			w.cast(t)
			w.things = append(w.things, t)
			break
		}
	}
	w.growWeeds()
	if n > 0 && w.chance(0.1) {
		w.strewStones(&taken)
	}
}

// pick finds a free spot; lo and hi bound the slant as shares of the way from the first return to the full range.
func (w *world) pick(taken *[]claim, lo, hi, big float64) *spot {
	i := w.IntN(len(w.swaths))
	sw := w.swaths[i]
	p := &spot{sw: i, y: w.uni(w.y[0], w.y[w.pings-1])}
	p.h = w.altitudeAt(sw, p.y)
	end := w.slant(sw.nb - 1)
	start := max(p.h*1.01, w.near)
	if start > 0.93*end {
		return nil
	}
	p.s = start + w.uni(lo, hi)*(end-start)
	p.g = math.Sqrt(max(0.01, p.s*p.s-p.h*p.h))
	p.slantPx = w.binM / w.disp.fx
	p.mR = p.slantPx * min(3, p.s/p.g)
	p.mA = w.rowM / w.disp.fy
	p.lenPx = w.logu(4, 26)
	if w.chance(0.16) {
		p.lenPx = w.logu(20, 80)
	}
	p.lenPx *= big
	p.wiPx = p.lenPx * w.logu(0.3, 1.6)
	p.shadowPx = w.logu(4, 50) * math.Sqrt(big)
	p.db = w.uni(4, 20)
	if w.chance(0.15) {
		p.db = w.uni(-2, 6)
	}
	half := (p.lenPx/2 + 5) * p.mA
	c := claim{i, p.s - (p.wiPx+6)*p.slantPx, p.s + (p.wiPx+p.shadowPx+6)*p.slantPx, p.y - half, p.y + half}
	if !c.free(*taken) {
		return nil
	}
	*taken = append(*taken, c)
	return p
}

func (c claim) free(taken []claim) bool {
	for _, o := range taken {
		if c.sw == o.sw && c.s0 < o.s1 && o.s0 < c.s1 && c.y0 < o.y1 && o.y0 < c.y1 {
			return false
		}
	}
	return true
}

// topFor is the height whose shadow ends at the slant range s1, for a thing at the ground range g.
func topFor(g, h, s1 float64) float64 {
	end := math.Sqrt(max(s1*s1-h*h, g*g))
	return h * (1 - g/end)
}

func round(a, b float64) float64 { return math.Sqrt(max(0, 1-a*a-b*b)) }

// lay makes something that lies on the bottom.
func (w *world) lay(taken *[]claim) *thing {
	p := w.pick(taken, 0.01, 0.97, 1)
	if p == nil {
		return nil
	}
	t := &thing{class: detect.BottomObject, sw: p.sw, x: p.g, y: p.y}
	s := &solid{
		x: p.g, y: p.y, lenM: p.lenPx * p.mA, widM: p.wiPx * p.mR, rot: 0,
		topM:   topFor(p.g, p.h, p.s+(p.wiPx/2+p.shadowPx)*p.slantPx), // the shadow shows from behind its far side
		ragged: w.uni(0.05, 0.6), opacity: w.uni(0.85, 1.3), db: p.db, topDB: w.uni(-34, -8), spiky: w.uni(0.4, 2), profile: round,
	}
	switch w.IntN(9) {
	case 0, 1, 2:
		t.kind = "rock"
		s.rot = w.uni(-0.6, 0.6)
		k := w.uni(0.3, 1)
		s.profile = func(a, b float64) float64 { return math.Pow(round(a, b), k) }
	case 3: // a cylinder flashes along one line when its side faces the beam
		t.kind = "timber"
		s.lenM *= w.uni(1, 2.5)
		s.widM = max(w.logu(1.2, 4)*p.mR, 0.06*s.lenM)
		s.rot = w.uni(-0.9, 0.9)
		s.flash = w.uni(0.1, 0.6)
		s.db += 10 * math.Abs(s.rot)
		s.bend = w.uni(-1.5, 1.5)
		s.topM *= w.uni(0.4, 1)
		s.profile = func(_, b float64) float64 { return math.Sqrt(1 - b*b) }
	case 4:
		t.kind = "tyre"
		s.widM = s.lenM / p.mA * p.mR * w.uni(0.6, 1)
		hole := w.uni(0.2, 0.5)
		s.profile = func(a, b float64) float64 {
			if r := a*a + b*b; r > 1 || r < hole {
				return 0
			}
			return 1
		}
	case 5:
		t.kind = "crate"
		s.rot = w.uni(-0.7, 0.7)
		s.ragged *= 0.3
		s.profile = func(_, _ float64) float64 { return 1 }
	case 6: // a slanted plate: one edge high
		t.kind = "plate"
		s.rot = w.uni(-0.5, 0.5)
		tip := w.uni(-1, 1)
		s.topDB = w.uni(-10, 3)
		s.profile = func(a, b float64) float64 { return 0.55 - 0.45*b*tip + 0.1*a }
	case 7:
		t.kind = "debris"
		s.ragged = w.uni(0.6, 1.2)
		cut := w.uni(-0.3, 0.3)
		lat, off := w.disp.plan.raw, float32(w.uni(0, 400))
		s.profile = func(a, b float64) float64 {
			return round(a, b) * math.Max(0, float64(lat.at(off+float32(a*40), off+float32(b*40)))*0.5+0.5+cut)
		}
	case 8:
		t.kind = "branch"
		t.heightM = s.topM
		w.growTree(t, p, s.topM, w.uni(-1.4, 1.4), w.uni(0.05, 0.4))
		return t
	}
	t.heightM = s.topM
	w.build(t, s)
	return t
}

// growTree adds a skeleton of limbs: the trunk leans from its foot, each limb forks into thinner ones.
func (w *world) growTree(t *thing, p *spot, topM, lean, steep float64) {
	lenA, lenR := p.lenPx*p.mA, p.wiPx*p.mR
	unit := math.Sqrt(w.around(w.swaths[t.sw], p.s, p.y)) * math.Pow(10, (p.db+3)/20) * 0.6
	var limb func(x, y, z, ang, up, length float64, depth int)
	limb = func(x, y, z, ang, up, length float64, depth int) {
		n := max(3, int(length*14))
		for range n {
			k := 1 / float64(n)
			ang += w.NormFloat64() * 0.05
			x += math.Sin(ang) * length * lenR * k
			y += math.Cos(ang) * length * lenA * k
			z = min(max(0, z+up*length*topM*k), topM)
			if x < 0.05 {
				return
			}
			thick := p.mA * 1.3 / float64(depth+1)
			t.posts = append(t.posts, newPost(x, y, z*0.8, z+0.04*topM+0.2*p.slantPx, thick, 0.8))
			if w.chance(0.75) {
				t.pts = append(t.pts, scatterer{
					x: float32(x), y: float32(y), z: float32(z), phase: float32(w.uni(0, 6.28)), drift: float32(w.uni(-1, 1)),
					amp: float32(unit * math.Pow(w.ExpFloat64(), 0.8)),
				})
			}
			if depth < 3 && w.chance(0.13) {
				limb(x, y, z, ang+w.uni(-1.1, 1.1), up*w.uni(0.3, 1.2), length*w.uni(0.3, 0.6), depth+1)
			}
		}
	}
	limb(p.g, p.y-lenA/2*math.Cos(lean), 0, lean, 1/(steep*2+0.6), 1, 0)
}

// raise makes something that stands high: its shadow is long.
func (w *world) raise(taken *[]claim) *thing {
	kind := w.IntN(7)
	big := 2.0
	if kind == 3 || kind == 6 {
		big = 0.8
	}
	p := w.pick(taken, 0.02, 0.8, big)
	if p == nil {
		return nil
	}
	p.shadowPx = w.logu(25, 220)
	p.db = w.uni(6, 22)
	t := &thing{class: detect.RaisedStructure, sw: p.sw, x: p.g, y: p.y}
	// Echoes of a high top come before those of the foot; broad things that reach far up would lie over half the water column.
	over := w.logu(5, 40) * p.slantPx
	topM := min(topFor(p.g, p.h, p.s+p.shadowPx*p.slantPx), p.h-math.Sqrt(max(0, (p.s-over)*(p.s-over)-p.g*p.g)))
	s := &solid{
		x: p.g, y: p.y, lenM: p.lenPx * p.mA, widM: p.wiPx * p.mR, rot: w.uni(-0.6, 0.6), topM: topM, ragged: w.uni(0.02, 0.35),
		opacity: 1.1, db: p.db, topDB: w.uni(-25, -8), spiky: w.uni(0.2, 1.5), profile: round,
	}
	switch kind {
	case 0, 1:
		w.buildWall(t, p)
		return t
	case 2:
		t.kind = "wreck"
		w.hull(s, p)
	case 3:
		t.kind = "pillar"
		s.topM = p.h * w.uni(0.5, 1.5)
		if w.chance(0.5) {
			s.profile = func(_, _ float64) float64 { return 1 }
		}
	case 4:
		t.kind = "tree"
		t.heightM = topM
		w.growTree(t, p, topM, w.uni(-1.2, 1.2), w.uni(0, 0.2))
		return t
	case 5:
		t.kind = "hump"
		s.lenM, s.widM = s.lenM*1.5, s.widM*1.5
		s.db, s.topDB, s.ragged = w.uni(2, 10), w.uni(-12, -2), w.uni(0.1, 0.4)
		s.profile = func(a, b float64) float64 { return max(0, 1-a*a-b*b) }
	case 6:
		t.kind = "piles"
		w.drivePiles(t, s, p)
		return t
	}
	t.heightM = s.topM
	w.build(t, s)
	return t
}

// hull gives a solid the shape of a boat: a raised rim round a lower deck, a wheelhouse, ribs in some.
func (w *world) hull(s *solid, p *spot) {
	s.widM = min(s.lenM/p.mA*p.mR*w.uni(0.2, 0.5), 3*s.widM)
	s.ragged = w.uni(0.1, 0.7)
	s.rot = w.uni(-1.2, 1.2)
	blunt, deck, house := w.uni(1.5, 4), w.uni(0.1, 0.6), w.uni(-0.6, 0.6)
	ribs := 0.0
	if w.chance(0.5) {
		ribs = w.uni(8, 25)
	}
	s.profile = func(a, b float64) float64 {
		edge := 1 - math.Pow(math.Abs(a), blunt)
		if math.Abs(b) > edge {
			return 0
		}
		v := deck
		if math.Abs(b) > edge-0.25 {
			v = 0.8
		}
		if ribs > 0 && math.Sin(a*ribs) > 0.5 {
			v = max(v, 0.6)
		}
		if math.Abs(a-house) < 0.12 && math.Abs(b) < 0.5 {
			v = 1
		}
		return v
	}
}

// drivePiles sets a row of thin piles.
func (w *world) drivePiles(t *thing, s *solid, p *spot) {
	n := w.int(3, 9)
	dirX, dirY := w.uni(-1, 1)*p.mR, w.uni(0.5, 1)*p.mA
	gap := w.logu(6, 30)
	s.topM = p.h * w.uni(0.25, 1.2)
	s.lenM, s.widM, s.rot = w.logu(1.5, 5)*p.mA, w.logu(1.5, 5)*p.mR, 0
	t.heightM = s.topM
	for i := range n {
		one := *s
		k := (float64(i) - float64(n-1)/2) * gap * w.uni(0.92, 1.08)
		one.x, one.y = max(0.2, p.g+k*dirX), p.y+k*dirY
		one.topM *= w.uni(0.8, 1)
		w.build(t, &one)
	}
}

// buildWall runs a quay, a sheet wall or a dam along the track, sometimes along the whole picture.
func (w *world) buildWall(t *thing, p *spot) {
	t.kind = "wall"
	length := w.logu(40, 900) * p.mA
	y0, y1 := max(p.y-length/2, w.y[0]-1), min(p.y+length/2, w.y[w.pings-1]+1)
	h := p.h
	top := h * w.uni(0.5, 2)
	if w.chance(0.35) {
		top = topFor(p.g, h, p.s+w.logu(15, 120)*p.slantPx)
	}
	t.heightM = top
	lean := w.uni(-0.6, 0.6) * p.mR / p.mA
	bow := wander(w.dice, 400, w.logu(15, 200))
	bowM := w.logu(0.3, 20) * p.mR
	broken := wander(w.dice, 400, w.logu(4, 60))
	gone := w.uni(-4, -0.8)
	dy := w.rowM * 0.5
	unit := math.Sqrt(w.around(w.swaths[t.sw], p.s, p.y)) * math.Pow(10, p.db/20) * 0.8
	thick := w.logu(1, 9) * p.slantPx
	for y := y0; y <= y1; y += dy {
		k := int((y - y0) / (y1 - y0 + 1e-9) * 399)
		x := p.g + (y-p.y)*lean + bow[k]*bowM
		if x < 0.25*p.g || broken[k] < gone {
			continue
		}
		tt := top * (1 + 0.06*broken[k])
		t.posts = append(t.posts, newPost(x, y, 0, tt, dy, 1.1))
		// The face shows from its foot up to where it leaves the swath of the beam; its crest and the foot's corner are strongest.
		s0 := math.Hypot(x, h)
		for range 3 {
			s := s0 - w.Float64()*thick
			up := math.Sqrt(max(0, s*s-x*x))
			t.pts = append(t.pts, scatterer{
				x: float32(x), y: float32(y), z: float32(min(h-up, tt)), phase: float32(w.uni(0, 6.28)), drift: float32(w.uni(-0.3, 0.3)),
				amp: float32(unit * math.Pow(w.ExpFloat64(), 0.6)),
			})
		}
	}
}
