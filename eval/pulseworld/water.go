package pulseworld

import (
	"math"

	"shadowgap/detect"
)

// hang makes a fish, a school or something else that hangs in the water. A thing heard at the slant range s whose height is z above
// the bottom throws its shadow to s·h/(h-z) (similar triangles), so that its height follows from where the shadow shall begin.
func (w *world) hang(taken *[]claim) *thing {
	p := w.pick(taken, 0.0, 0.85, 1)
	if p == nil {
		return nil
	}
	shape := w.fishShape(p)
	end := w.slant(w.swaths[p.sw].nb - 1)
	clear := p.s + shape.halfM
	from := clear + w.logu(2, 11)*p.slantPx
	switch u := w.Float64(); {
	case u < 0.3:
		from = clear + w.logu(8, 120)*p.slantPx
	case u < 0.55 && p.h > w.near+12*p.slantPx: // in the water column: its shadow lies on the bottom or beyond the range
		from = p.s
		p.s = max(w.near, 0.05*p.h) + w.uni(0.05, 0.98)*(p.h-max(w.near, 0.05*p.h))
		if w.chance(0.25) {
			from = end * w.uni(1.05, 2)
		}
	}
	from = max(from, p.h*1.01, p.s*1.005)
	to := from + w.logu(2.5, 26)*p.slantPx
	base, top := p.h*(1-p.s/from), p.h*(1-p.s/to)
	if top-base < 0.002 || top > 0.98*p.h {
		return nil
	}
	c := claim{p.sw, from - 4*p.slantPx, to + 4*p.slantPx, p.y - (p.lenPx/2+4)*p.mA, p.y + (p.lenPx/2+4)*p.mA}
	if own := len(*taken) - 1; !c.free((*taken)[:own]) {
		return nil
	}
	*taken = append(*taken, c)
	mid := (base + top) / 2
	g := math.Sqrt(max(0.04*p.s*p.s, p.s*p.s-(p.h-mid)*(p.h-mid)))
	t := &thing{class: detect.SuspendedTarget, kind: "fish", sw: p.sw, x: g, y: p.y, hangs: true, heightM: top - base, offM: base}
	s := shape.solid
	s.x, s.y, s.topM, s.baseM = g, p.y, top-base, base
	s.widM *= min(3, p.s/g)
	if shape.school {
		t.kind = "school"
		w.gather(t, &s, p, shape.halfM)
		return t
	}
	w.build(t, &s)
	return t
}

// fish is the shape of one, or of a school, before its height is known.
type fish struct {
	solid
	halfM  float64 // half its extent along the slant range
	school bool
}

func (w *world) fishShape(p *spot) fish {
	f := fish{solid: solid{
		lenM: p.lenPx * p.mA, widM: w.logu(1.5, 6) * p.slantPx, rot: w.uni(-0.3, 0.3), hangs: true, ragged: w.uni(0, 0.4),
		opacity: w.uni(0.7, 1.4), db: w.uni(6, 21), spiky: w.uni(0.2, 1.6),
	}}
	if p.s < p.h {
		// Little comes back from the water, so a fish there stands out at a lower strength.
		f.db -= w.uni(0, 8)
	}
	tail := w.uni(0, 0.9)
	switch w.IntN(7) {
	case 0: // a dot
		f.lenM = w.logu(3, 7) * p.mA
	case 1: // a short arc
		f.bend = w.uni(-3, 3)
	case 2: // a comma
		f.bend, f.rot = w.uni(-2.5, 2.5), w.uni(-0.8, 0.8)
		tail = w.uni(0.6, 0.95)
	case 3: // a thin line
		f.widM, f.lenM = 1.5*p.slantPx, w.logu(8, 45)*p.mA
	case 4, 5:
		f.school = w.chance(0.55)
	}
	f.profile = func(a, b float64) float64 {
		edge := (1 - a*a) * (1 - tail*(a+1)/2)
		if math.Abs(b) > edge {
			return 0
		}
		return math.Sqrt(edge)
	}
	// The pattern turns in metres, so a slanting fish reaches farther along range where rows are long.
	f.halfM = f.widM/2*(1+0.6*math.Abs(f.bend)) + f.lenM/2*math.Abs(math.Sin(f.rot))
	if f.halfM > 14*p.slantPx {
		f.rot *= 0.2
		f.halfM = f.widM/2*(1+0.6*math.Abs(f.bend)) + f.lenM/2*math.Abs(math.Sin(f.rot))
	}
	if f.school {
		f.halfM = w.logu(3, 20) * p.slantPx
	}
	return f
}

// gather makes a school of many small fish out of one.
func (w *world) gather(t *thing, s *solid, p *spot, halfM float64) {
	n := w.int(6, 45)
	spanY := w.logu(10, 50) * p.mA
	each := *s
	each.bend = 0
	each.opacity = w.uni(0.3, 1)
	deep := s.topM
	for range n {
		one := each
		one.lenM = w.logu(1.5, 6) * p.mA
		one.widM = w.logu(1.2, 2.5) * p.slantPx
		a, b := max(-2, min(2, w.NormFloat64())), max(-2, min(2, w.NormFloat64()))
		one.x, one.y = max(0.1, s.x+b*halfM/2), s.y+a*spanY/2
		one.topM = deep * w.uni(0.3, 0.8)
		one.baseM = s.baseM + w.uni(0, 1)*(deep-one.topM)
		w.build(t, &one)
	}
}

// growWeeds sets soft stems: echoes with hardly a shadow, not labelled.
func (w *world) growWeeds() {
	if !w.chance(0.3) {
		return
	}
	for range w.int(1, 4) {
		var none []claim
		p := w.pick(&none, 0, 1, 1.5)
		if p == nil {
			return
		}
		t := &thing{silent: true, sw: p.sw}
		spanY, spanX := w.logu(10, 90)*p.mA, w.logu(8, 80)*p.mR
		unit := math.Sqrt(w.around(w.swaths[p.sw], p.s, p.y)) * math.Pow(10, w.uni(-5, 5)/20)
		for range w.int(20, 250) {
			x, y := p.g+w.NormFloat64()*spanX/2, p.y+w.NormFloat64()*spanY/2
			if x < 0.05 {
				continue
			}
			top := w.logu(0.5, 4) * p.slantPx * p.h / p.s
			t.posts = append(t.posts, newPost(x, y, 0, top, p.mA, w.uni(0.05, 0.35)))
			for range 3 {
				t.pts = append(t.pts, scatterer{
					x: float32(x), y: float32(y), z: float32(w.uni(0, top)), amp: float32(unit * w.ExpFloat64()), phase: float32(w.uni(0, 6)), drift: 0.7,
				})
			}
		}
		w.cast(t)
	}
}

// strewStones lays a field of stones too dense to tell apart: the field is labelled, and what stands out of it.
func (w *world) strewStones(taken *[]claim) {
	p := w.pick(taken, 0.05, 0.85, 3)
	if p == nil {
		return
	}
	spanY, spanX := w.logu(50, 160), w.logu(40, 140)
	all := &thing{sw: p.sw}
	for range w.int(40, 130) {
		s := &solid{
			x: max(0.1, p.g+w.uni(-0.5, 0.5)*spanX*p.mR), y: p.y + w.uni(-0.5, 0.5)*spanY*p.mA, lenM: w.logu(2, 6) * p.mA, widM: w.logu(2, 6) * p.mR,
			topM: topFor(p.g, p.h, p.s+w.logu(2, 8)*p.slantPx), ragged: 0.3, opacity: 1, db: w.uni(4, 14), topDB: -15, spiky: 0.8, profile: round,
		}
		w.build(all, s)
	}
	w.cast(all)
	if r := all.bright; !r.empty() {
		w.disp.stones = append(w.disp.stones, area{w.swaths[p.sw], r})
	}
	for range w.int(0, 2) {
		big := &solid{
			x: max(0.1, p.g+w.uni(-0.4, 0.4)*spanX*p.mR), y: p.y + w.uni(-0.4, 0.4)*spanY*p.mA,
			lenM: w.logu(9, 18) * p.mA, widM: w.logu(8, 14) * p.mR,
			topM: topFor(p.g, p.h, p.s+w.logu(14, 30)*p.slantPx), ragged: 0.3, opacity: 1, db: w.uni(12, 20), topDB: -15, spiky: 0.6, profile: round,
		}
		t := &thing{class: detect.BottomObject, kind: "rock", sw: p.sw, x: big.x, y: big.y, heightM: big.topM}
		w.build(t, big)
		w.cast(t)
		w.things = append(w.things, t)
	}
}

// area is a labelled stretch of one side.
type area struct {
	sw *swath
	reach
}

// region is the label of a field of stones.
func (w *world) region(a area) (detect.Region, bool) {
	box, ok := w.boxOf(a.sw, a.reach)
	return detect.Region{Kind: "rock-field", Box: box}, ok
}

// disturbWater adds what the water itself sends back: specks, clouds, bubbles, a line of the surface.
func (w *world) disturbWater() {
	level := w.sonar.water
	for _, sw := range w.swaths {
		if w.chance(0.4) { // plankton in clouds
			w.cloud(sw, level*w.logu(0.5, 12))
		}
		if w.chance(0.45) { // specks
			n := int(w.logu(3, 400))
			for range n {
				p := w.IntN(w.pings)
				w.speck(sw, p, w.uni(w.near, max(w.near, sw.h[p])), math.Sqrt(w.logu(0.05, 3)))
			}
		}
		if w.chance(0.2) { // the surface's echo, and now and then its double
			at := w.uni(0.1, 1.05)
			waves := wander(w.dice, w.pings, w.logu(5, 80))
			amp := w.logu(0.1, 1.5)
			for p := range w.pings {
				w.speck(sw, p, sw.h[w.pings/2]*at*(1+0.01*waves[p]), amp*w.uni(0.3, 1.2))
			}
		}
		if w.chance(0.12) { // bubbles of a wake, streaks along track
			for range w.int(2, 12) {
				p0, n := w.IntN(w.pings), int(w.logu(10, 150))
				s := w.uni(0.1, 0.9) * sw.h[p0]
				for p := p0; p < min(w.pings, p0+n); p++ {
					w.speck(sw, p, s+w.NormFloat64()*2*w.binM, w.uni(0.05, 0.7))
				}
			}
		}
	}
}

func (w *world) speck(sw *swath, p int, s, amp float64) {
	b := int(w.binAt(s))
	if b < 0 || b >= sw.nb {
		return
	}
	sin, cos := math.Sincos(w.uni(0, 6.28))
	sw.re[p*sw.nb+b] += float32(amp * cos)
	sw.im[p*sw.nb+b] += float32(amp * sin)
}

func (w *world) cloud(sw *swath, amp float64) {
	lat := w.disp.plan.broad
	f := newFrame(w.dice, w.logu(3, 40)*w.binM, 1, w.uni(0, 3))
	thr := float32(w.uni(-0.5, 1.5))
	for p := range w.pings {
		end := min(sw.nb, max(0, int(w.binAt(sw.h[p])-1)))
		for b := range end {
			u, v := f.at(float32(w.slant(b)), float32(w.y[p]))
			if t := lat.at(u, v) - thr; t > 0 {
				sw.power[p*sw.nb+b] += t * float32(amp)
			}
		}
	}
}
